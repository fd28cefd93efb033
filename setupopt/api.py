"""The commands as functions: each takes what it works on and a frozen dataclass of options.

Angles are in rad, lengths in m, forces in N and speeds in m/s; margins have no unit. Every function raises
UserError (of `setupopt.errors`) for input that the user can put right. The equations and their sources stand
in docs/model.md. Examples use `project`, a project folder read by `setupopt.load`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

# Solvers and compilers take seconds to import: every function imports its own.
if TYPE_CHECKING:
    from setupopt.evaluation.assessment import Assessment
    from setupopt.evaluation.case_file import CaseFile
    from setupopt.evaluation.cases import CaseSet
    from setupopt.evaluation.report_data import Report
    from setupopt.evaluation.result import Result
    from setupopt.fit.air.fits import AirFits
    from setupopt.fit.tyre import TyreFit
    from setupopt.fit.tyre_table import Rig
    from setupopt.learn.study import Learned, LearnOptions
    from setupopt.project.model import Project, Setup
    from setupopt.report.sheet.fields import Sheet
    from setupopt.robust.robustness import RobustnessOptions, RobustnessReport
    from setupopt.robust.speeds.study import SpeedOptions, SpeedStudy
    from setupopt.route.complete import Route
    from setupopt.route.goal import RouteOptions
    from setupopt.search import Proposal, ProposalOptions
    from setupopt.search.comparison import Comparison, ComparisonOptions
    from setupopt.sheet.readback import ReadBack


@dataclass(frozen=True)
class AssessOptions:
    """Options of `assess`. `cases`: instead of the venue's sweep. `floor`: minimum margin, None for none."""

    cases: CaseSet | CaseFile | None = None
    floor: float | None = None


@dataclass(frozen=True)
class AirFitOptions:
    """Options of `fit_air`.

    `air_density`: kg/m3, where the table gives none. `noise`: share of a force, one standard deviation, where
    too few rows show it.
    """

    air_density: float = 1.2
    noise: float = 0.02


@dataclass(frozen=True)
class SheetOptions:
    """Options of `sheet`.

    `today`: what the car stands on, None for setup.toml of the project. `floor`: minimum margin. `date` as
    YYYY-MM-DD, empty for today's. `made_by`: a name for the sheet. `route`: the JSON of a route of the same
    setup, for the route card.
    """

    today: Setup | None = None
    floor: float = 0.0
    date: str = ""
    made_by: str = ""
    route: str | Path | None = None


@dataclass(frozen=True)
class ReadbackOptions:
    """Options of `readback`. `floor`: minimum margin, None for what the tolerance allows."""

    floor: float | None = None


@dataclass(frozen=True)
class ReportOptions:
    """Options of `report`.

    `proposed`: the project on its proposed setup, if there is one. `floor`: minimum margin, None for none.
    `date` as YYYY-MM-DD, empty for today's.
    """

    proposed: Project | None = None
    floor: float | None = None
    date: str = ""


def assess(
    project: Project, options: AssessOptions | None = None
) -> Assessment:
    """The grip margin of the project's setup in every case, the limits it breaks, and what costs the grip.

    `margin` is the worst one, None where contact is lost in any case; `result` has arrays by
    (setups, cases) and by (setups, cases, wheels), here of one setup.

    >>> found = setupopt.assess(project)
    >>> found.result.margin.shape == (1, len(found.result.cases))
    True
    >>> bool(found.margin == found.result.margin.min())
    True
    """
    from setupopt.evaluation.assessment import assess

    options = options or AssessOptions()
    return assess(project, options.cases, options.floor)


def evaluate(
    project: Project,
    setups: Setup | Sequence[Setup] | None = None,
    cases: CaseSet | None = None,
    progress: Callable[[int], object] | None = None,
) -> Result:
    """Grip margin and everything else of an answer, the car wearing the body of the setups.

    `setups`: one, several of one body, or None for the one the car stands on today. `cases`: None for the
    venue's own sweep. `progress` is called with how many answers were added. Takes 0.5 kB a case and setup.
    Raises UserError where a section is too tight for this car, or there is no such body.

    >>> softer = replace(project.setup, front=replace(project.setup.front, spring=70e3))
    >>> found = setupopt.evaluate(project, [project.setup, softer])
    >>> found.margin.shape == (2, len(found.cases))
    True
    """
    from setupopt.evaluation.model import asked

    model, settings, chosen = asked(project, setups, cases)
    return model.shown(settings, chosen, progress)


def propose(
    project: Project, options: ProposalOptions | None = None
) -> Proposal:
    """The setup inside limits.toml whose worst margin is highest, checked on a denser sweep.

    `setup` is the proposed one, `margin` its worst margin, `evidence` says how far to trust it. The max-min
    problem is solved by an exchange method with trust regions (docs/model.md). Raises UserError also where
    limits.toml is missing or leaves no setting free.

    >>> options = setupopt.ProposalOptions(starts=1, loss=0.0, keep=["spring_N_per_mm", "anti_roll_N_per_mm"])
    >>> found = setupopt.propose(project, options)
    >>> bool(found.margin > found.start_margin)
    True
    >>> found.setup.front.spring == project.setup.front.spring
    True
    """
    from setupopt.search import propose

    return propose(project, options)


def prove(
    project: Project, options: RobustnessOptions | None = None
) -> RobustnessReport:
    """How much bump, gust, steady wind, rough road and build error the project's setup stands.

    The road is the random one of ISO 8608 or a measured profile. Raises UserError also where an entry is
    missing that only this study needs.

    >>> options = setupopt.ProveOptions(seconds=1.0, seeds=2, ride_cases=1, builds=2, directions=4)
    >>> found = setupopt.prove(project, options)
    >>> float(found.steady.worst_margin[0]) == setupopt.assess(project).margin
    True
    """
    from setupopt.robust.robustness import prove

    return prove(project, options)


def compare(
    project: Project,
    setups: Sequence[Setup] = (),
    options: ComparisonOptions | None = None,
) -> Comparison:
    """The bodies of a project, and `setups` as they are, ranked by worst margin, and why each loses.

    `contenders` has the best first. Raises UserError also where there is only one contender.

    >>> softer = replace(project.setup, name="softer", front=replace(project.setup.front, spring=70e3))
    >>> options = setupopt.ComparisonOptions(as_is=True)
    >>> ranked = setupopt.compare(project, [project.setup, softer], options).contenders
    >>> len(ranked), ranked[0].margin >= ranked[1].margin
    (2, True)
    """
    from setupopt.search.comparison import compare

    return compare(project, setups, options)


def speeds(project: Project, options: SpeedOptions | None = None) -> SpeedStudy:
    """Between which speeds the project's setup is safe, the run-up, and the time a loss of drive leaves.

    `speeds` has shape (speeds,), in m/s; `margin` and `angle` have shape (speeds, attitudes), the angle in
    rad.

    >>> found = setupopt.speeds(project)
    >>> found.margin.shape == (len(found.speeds), len(found.attitudes))
    True
    >>> bool(found.window.low.speed <= project.venue.sweep.speed <= found.window.high.speed)
    True
    """
    from setupopt.robust.speeds.study import study_speeds

    return study_speeds(project, options)


def route(project: Project, options: RouteOptions | None = None) -> Route:
    """The best way of the project's setup from the floor to the highest angle of [route], and back.

    `study.margin` has shape (points,), `study.judged` everything else of the points; `place` is what it needs
    in m and s. The first path is found by dynamic programming, the best one by max-min search
    (docs/model.md). Raises UserError also where limits.toml has no [route], or no way keeps contact.
    """
    from setupopt.route.complete import route

    return route(project, options)


def learn(
    project: Project,
    logs: Sequence[str | Path],
    options: LearnOptions | None = None,
) -> Learned:
    """Logs of runs beside the model: residuals, the car corrected with errors, and the next safe run.

    `found.those` has a row for every uncertain value, `correction.project` is the corrected project. Robust
    least squares with [spread] as what was known before (docs/model.md). Raises UserError for logs that
    cannot be used, by file, line and channel.
    """
    from setupopt.learn.study import learn

    return learn(project, logs, options)


def fit_tyre(table: str | Path, options: Rig | None = None) -> TyreFit:
    """The parameters of a tyre from a table of measurements, with errors and what it does not identify.

    `table`: a CSV file, as `setupopt fit tyre` reads it. Weighted least squares; the contact patch is that of
    docs/model.md.
    """
    from setupopt.fit.tyre import fit_tyre
    from setupopt.fit.tyre_table import Rig, read_tyre_table

    rig = options or Rig()
    return fit_tyre(read_tyre_table(str(table), rig), rig)


def fit_air(
    table: str | Path, project: Project, options: AirFitOptions | None = None
) -> AirFits:
    """A body for every configuration of a table of measured air loads, with the parts of the project's car.

    `table`: a CSV file, as `setupopt fit air` reads it. Weighted least squares; how many numbers are free is
    chosen by cross-validation.
    """
    from setupopt.fit.air.fits import fit_air
    from setupopt.fit.air.table import read_air
    from setupopt.project.bodies import own_body, with_bodywork

    options = options or AirFitOptions()
    read = read_air(
        str(table),
        with_bodywork(project.car, own_body(project)),
        options.air_density,
    )
    return fit_air(read, project, options.noise)


def sheet(project: Project, options: SheetOptions | None = None) -> Sheet:
    """Change list and run card that bring the car from today's setup to the project's.

    A new setup is entered in revisions.csv of the project, as the command does; raises OutputError where that
    cannot be written.
    """
    from setupopt.project import load
    from setupopt.report.shared.route_file import read_route
    from setupopt.report.sheet.fields import Sheet, revision
    from setupopt.sheet.card import run_card
    from setupopt.sheet.change_list import change_list
    from setupopt.sheet.revisions import reserve

    options = options or SheetOptions()
    changes = change_list(
        project, options.today or load(project.folder).setup, project.setup
    )
    card = run_card(project, project.setup, options.floor)
    route = (
        None if options.route is None else read_route(options.route, project)
    )
    draft = Sheet(
        project,
        changes,
        card,
        0,
        options.date or _today(),
        options.made_by,
        route,
    )
    # The number is in the log before any file is written
    return replace(
        draft, revision=reserve(project.folder, revision(draft)).revision
    )


def readback(
    project: Project,
    measured: str | Path,
    options: ReadbackOptions | None = None,
) -> ReadBack:
    """The margin of the car as it was built, what each deviation costs, and the fewest corrections.

    `measured`: the filled-in CSV of the sheet, or a TOML file; the target is the project's setup.
    """
    from setupopt.project.measured_file import read_measured
    from setupopt.sheet.readback import read_back

    options = options or ReadbackOptions()
    return read_back(
        project, project.setup, read_measured(str(measured)), options.floor
    )


def report(project: Project, options: ReportOptions | None = None) -> Report:
    """Today's setup, that of the project, and the proposed one, assessed side by side.

    `setupopt.report.page.html.html` makes the page of it.
    """
    from setupopt.evaluation.report_data import report
    from setupopt.report.page.prices import with_prices

    options = options or ReportOptions()
    made = report(
        project, options.proposed, options.floor, options.date or _today()
    )
    return with_prices(made)


def _today() -> str:
    return date.today().isoformat()
