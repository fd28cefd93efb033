"""Project, setups and cases in; a Result out. The one place where the physics meets the project."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation import pack, setup_record
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.result import Result
from setupopt.evaluation.two_positions import Solve, keep_lower
from setupopt.physics import stability, sweep
from setupopt.physics.inputs import ANSWER, Floats, Record, Records
from setupopt.project.bodies import with_body
from setupopt.project.car_as_set import wing_names
from setupopt.project.model import Car, Project, Setup
from setupopt.project.toml_positions import key_text, quoted

# What another answer may start from, which is not kept of the answers that are shown.
_ENDS = ("fold", "null")
_SHOWN = [name for name in ANSWER.names if name not in _ENDS]
SHOWN = np.dtype(
    (
        np.record,
        np.dtype([(name, ANSWER[name]) for name in _SHOWN], align=True),
    )
)


class Model:
    """A car made ready once, for many evaluations."""

    def __init__(self, car: Car) -> None:
        self.car = car
        self.cars = pack.CarTable(car)
        self._fits: CaseSet | None = None  # the last cases that were checked

    @property
    def packed(self) -> tuple[Records, Records, Records]:
        """VEHICLE (kinds), ELEMENT (kinds, elements), POINT (kinds, points): the cars that setups make."""
        return self.cars.packed

    @cached_property
    def _plan(self) -> Floats:
        """Wheels, floor points and corners of the air elements' strips, (places, 2) from the CG, m."""
        vehicle, elements, points = (part[0] for part in self.packed)
        corners = [
            (e["x"] + i * e["along"], j * e["across"])
            for e in elements
            for i in (-1.0, 1.0)
            for j in (-2.0, 2.0)
        ]
        wheels = np.stack([vehicle["x"], vehicle["y"]], axis=1)
        listed = points[["x", "y"]].tolist()
        return np.unique([*wheels, *listed, *corners], axis=0)

    def packed_for(self, setting: Record) -> tuple[Records, Records, Records]:
        """VEHICLE (1), ELEMENT (elements), POINT (points) of the car as one SETTING record has it."""
        vehicles, elements, points = self.packed
        row = int(setting["car"])
        return vehicles[row : row + 1], elements[row], points[row]

    def settings(self, setups: Setup | Sequence[Setup] | Records) -> Records:
        """SETTING records (setups), of setups of a file or of SETUP records."""
        self._check_wings(setups)
        return pack.settings(self.cars, setup_record.by_wheel(setups))

    def _check_wings(self, setups: Setup | Sequence[Setup] | Records) -> None:
        """Setups of files must give the angles of this car's wings."""
        if isinstance(setups, np.ndarray):
            return
        wanted = wing_names(self.car.air)
        for setup in [setups] if isinstance(setups, Setup) else setups:
            found = tuple(name for name, _ in setup.wings)
            if found != wanted:
                angles = ", ".join(map(quoted, found)) or "no wing"
                expected = (
                    ", ".join(map(quoted, wanted))
                    or "none, no air element has settings"
                )
                raise UserError(
                    f"setup {quoted(setup.name)}: found angles of {angles}, expected {expected}"
                )

    def run(
        self,
        settings: Records,
        cases: CaseSet,
        starts: Records | None = None,
        progress: Callable[[int], object] | None = None,
        by_slope: bool = False,
        growth: bool = False,
        quick: bool = False,
    ) -> Result:
        """Every setup in every case. `starts` (cases), `by_slope` and `quick`: see `physics.sweep.run`.

        `growth`: find how fast the car leaves each trim too. In a sweep that starts from nothing, a case with
        two positions has the answer of the lower margin.
        """
        self._refuse(cases)
        answers = sweep.run(
            self.packed,
            settings,
            cases.records,
            starts,
            progress,
            None,
            by_slope,
            quick,
        )
        shape = (settings.size, len(cases))
        higher = None
        if starts is None:
            higher = self._keep_lower(settings, cases, answers.reshape(shape))
        answers["growth"] = np.nan
        if growth:
            answers["growth"] = stability.growth(
                self.packed, settings, cases.records, answers
            )
        return Result(cases, answers.reshape(shape), self.packed[0][0], higher)

    def shown(
        self,
        settings: Records,
        cases: CaseSet,
        progress: Callable[[int], object] | None = None,
    ) -> Result:
        """As `run` with `growth`, in 0.5 kB a case and setup: answers without what only a search goes on from."""
        answers = np.zeros((settings.size, len(cases)), SHOWN)
        for piece in cases.pieces(sweep.at_a_time()):
            self._refuse(piece)
        last = 0
        for piece in cases.pieces(sweep.at_a_time()):
            rows = slice(last, last + len(piece))
            last = rows.stop
            found = self.run(settings, piece, progress=progress, growth=True)
            for name in _SHOWN:
                answers[name][:, rows] = found.answers[name]
        higher = self._keep_lower(settings, cases, answers, growth=True)
        return Result(cases, answers, self.packed[0][0], higher)

    def _keep_lower(
        self,
        settings: Records,
        cases: CaseSet,
        answers: Records,
        growth: bool = False,
    ) -> Floats | None:
        """The lower margin where a case of a sweep has two positions, in place; returns the higher one, else NaN.

        None where the cases are no whole sweep. `growth`: that of an answer put in place too.
        """
        if not 0 < len(cases) == len(cases.attitudes) * cases.angles.size:
            return None

        def solve(setting: Records) -> Solve:
            return lambda some, starts=None, by_slope=False: self.run(
                setting, some, starts, by_slope=by_slope, growth=growth
            ).answers[0]

        rows = range(settings.size)
        return np.array(
            [
                keep_lower(answers[row], cases, solve(settings[row : row + 1]))
                for row in rows
            ]
        )

    def _refuse(self, cases: CaseSet) -> None:
        """Raises UserError for cases that this car cannot be in."""
        if cases is self._fits:
            return
        _refuse_beyond_section(self._plan, cases)
        refuse_beyond_growth(self.car, cases)
        self._fits = cases


def _refuse_beyond_section(plan: Floats, cases: CaseSet) -> None:
    """Refuse cases whose section is too tight: wheels, floor and floor points must fit into it."""
    sine = np.sin(cases.records["heading"])
    cosine = np.cos(cases.records["heading"])
    reach = np.zeros(len(cases))
    for x, y in plan:
        np.maximum(reach, np.abs(x * sine + y * cosine), out=reach)
    curvature = np.abs(cases.records["curvature"])
    tight = np.flatnonzero(curvature * reach >= 0.95)
    if tight.size:
        raise UserError(
            f"case {cases.numbers[tight[0]]}: a section of {1.0 / curvature[tight[0]]:.3f} m radius is too tight for a "
            f"car that reaches {reach[tight[0]]:.3f} m round it from its middle"
        )


def refuse_beyond_growth(car: Car, cases: CaseSet) -> None:
    """Refuse cases faster than the tables say how tyres grow: nothing is extrapolated."""
    fastest = cases.records["speed"].max(initial=0.0)
    for tyre in (*car.front.tyres, *car.rear.tyres):
        rows = tyre.radius_growth_speed
        if rows and rows[-1] < fastest:
            key = key_text(("tyre", tyre.name, "radius_growth_speed_m_s"))
            raise UserError(
                f"car.toml, {key}: found speeds up to {rows[-1]:g} m/s, "
                f"expected up to {fastest:g} m/s, as there is a case so fast"
            )


def asked(
    project: Project,
    setups: Setup | Sequence[Setup] | None,
    cases: CaseSet | None,
) -> tuple[Model, Records, CaseSet]:
    """What `evaluate` is given: the car in the body of the setups, the setups, the cases."""
    wanted = (
        [project.setup]
        if setups is None
        else [setups]
        if isinstance(setups, Setup)
        else list(setups)
    )
    model = Model(with_body(project, wanted[0].body).car)
    chosen = sweep_cases(project.venue) if cases is None else cases
    return model, model.settings(wanted), chosen


def evaluate(
    project: Project,
    setups: Setup | Sequence[Setup] | None = None,
    cases: CaseSet | None = None,
) -> Result:
    """As `setupopt.evaluate`, with all that other answers can start from."""
    model, settings, chosen = asked(project, setups, cases)
    return model.run(settings, chosen, growth=True)
