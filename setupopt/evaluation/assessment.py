"""An assessment: the result of one setup with its losses and broken limits. `report.assess` makes it text."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

import numpy as np

from setupopt.evaluation.case_cautions import case_cautions, caution_counts
from setupopt.evaluation.case_file import CaseFile
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.kept import Kept
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.losses import LossBudget, loss_budget
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Field, Result, finite, html_table
from setupopt.evaluation.ride_modes import RideModes, ride_modes
from setupopt.evaluation.sensitivity import Sensitivity, sensitivities
from setupopt.evaluation.summary import by_angle, wheels_in_air
from setupopt.evaluation.would_hold import WouldHold, would_hold
from setupopt.physics import sweep
from setupopt.physics.inputs import Record
from setupopt.project.csv_write import columns_text
from setupopt.project.model import Project


@dataclass(frozen=True)
class Assessment:
    """One setup of a project in all its cases. `floor`: the required minimum margin, None without one.

    `result` has all cases, or those of a long file that anything is said of. `ride`: frequencies and damping;
    None where no case has a trim or car.toml lacks dampers or inertias. `counts`: in how many cases cautions
    hold. `cases`: all of them.
    """

    project: Project
    result: Result
    budget: LossBudget
    broken: tuple[Broken, ...]
    floor: float | None
    ride: RideModes | None
    counts: Mapping[str, int]
    cases: CaseSet | CaseFile

    @property
    def worst(self) -> int:
        """Row of the worst case; a lost one is worse than any other."""
        return int(self.result.worst[0])

    @cached_property
    def worst_fields(self) -> Field:
        """The worst case's row of the case table."""
        return self.result.fields(self.worst)

    @property
    def worst_answer(self) -> Record:
        """The worst case's ANSWER record."""
        return self.result.answers[0][self.worst]

    @property
    def margin(self) -> float | None:
        """Worst margin; None where contact is lost in any case."""
        return finite(self.result.worst_margin[0])

    @property
    def is_under_floor(self) -> bool:
        """Whether a minimum margin is required and not reached; a lost case reaches none."""
        return self.floor is not None and (
            self.margin is None or self.margin < self.floor
        )

    @property
    def holds(self) -> bool:
        """Whether no case slides or loses contact, every limit is kept and any minimum margin is reached."""
        is_held = self.margin is not None and self.margin >= 0.0
        return is_held and not self.broken and not self.is_under_floor

    @cached_property
    def sensitivities(self) -> tuple[Sensitivity, ...]:
        """What each uncertain input of the car does to the worst margin, the one that matters most first."""
        return sensitivities(self.project, self.result)

    def _repr_html_(self) -> str:
        """For notebooks: the worst attitude at every roll angle."""
        return html_table(by_angle(self.result))

    @cached_property
    def would_hold(self) -> WouldHold | None:
        """What would hold a setup that slides or loses contact; None for one that holds."""
        return would_hold(self.project, self.result, self.cases)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """Those of the project's files, then those that only the solved cases show."""
        solved = case_cautions(self.project.car, self.result, self.counts)
        ride = () if self.ride is None else self.ride.cautions
        return (*self.project.cautions, *solved, *ride)

    def as_dict(self) -> Field:
        """For scripts; plain Python values, None for what has no answer."""
        return {
            "worst": self.worst_fields,
            "by_angle": by_angle(self.result),
            "cases": self.result.count,
            "contact_lost": self.result.lost(),
            "slides": self.result.sliding(),
            "wheels_in_air": [
                asdict(row) for row in wheels_in_air(self.result)
            ],
            "limits_broken": [asdict(limit) for limit in self.broken],
            "would_hold": self.would_hold and asdict(self.would_hold),
            "cautions": list(self.cautions),
            "assumed": list(self.project.assumed),
            "losses": _losses(self.budget),
            "ride_modes": None if self.ride is None else self.ride.rows,
            "floor": self.floor,
        }


def _losses(budget: LossBudget) -> list[dict[str, Any]]:
    return [asdict(loss) for loss in budget.losses]


def assess(
    project: Project,
    cases: CaseSet | CaseFile | None = None,
    floor: float | None = None,
    progress: Callable[[int], object] | None = None,
    take: Callable[[Result], object] | None = None,
) -> Assessment:
    """The project's setup in `cases`, or in the venue's sweep. Raises UserError for impossible cases.

    Those of a file are solved and forgotten in pieces; `take` gets the result of each, in a thread of its own
    while the next is solved.
    """
    model = Model(project.car)
    settings = model.settings(project.setup)
    chosen = sweep_cases(project.venue) if cases is None else cases
    kept = Kept(project)
    if isinstance(chosen, CaseFile):
        with ThreadPoolExecutor(1) as aside:
            taking: Future[object] | None = None
            for piece in chosen.pieces(sweep.at_a_time()):
                found = model.run(
                    settings, piece, progress=progress, growth=True
                )
                if taking is not None:
                    taking.result()
                if take is not None:
                    taking = aside.submit(take, found)
                kept.add(found)
            if taking is not None:
                taking.result()
        result = kept.result
        ride = kept.ride(result)
        counts = kept.cautions
    else:
        result = model.run(settings, chosen, progress=progress, growth=True)
        ride = ride_modes(project, result)
        counts = caution_counts(project.car, result)
        if take is not None:
            take(result)
    return Assessment(
        project,
        result,
        loss_budget(model, settings, result.cases, int(result.worst[0])),
        broken(project, project.setup, result),
        floor,
        ride,
        counts,
        chosen,
    )


def csv_text(result: Result, head: bool = True) -> str:
    """The case table as CSV: numbers in full, true or false, nothing where there is no answer.

    `head`: with the line of names.
    """
    columns = result.shown_columns()
    contact = np.where(columns["contact"], "true", "false")
    return columns_text({**columns, "contact": contact}, head)
