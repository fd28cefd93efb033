"""Build error and uncertain inputs: a box of errors round a setup, the worst build in it, and how large a
box the setup stands.

Every wheel errs on its own in camber, spring and pressure; ride height errs by axle, for the floor line is
one straight line. What is uncertain about car and surface is the same all round.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import by_wheel
from setupopt.evaluation.result import Result
from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.project.consistency import refusals
from setupopt.project.model import (
    AXLES,
    WHEELS,
    AirElement,
    Axle,
    Car,
    Project,
    Setup,
    Spread,
    Tolerance,
    Tyre,
    WingSetting,
)  # fmt: skip
from setupopt.project.static_checks import unsprung_mass
from setupopt.robust.screening import LOST, ranked, suspects
from setupopt.units import PERCENT

# Build errors in this order, -1 to 1 times the tolerance.
NAMES = tuple(
    [f"camber {w}" for w in WHEELS]
    + [f"spring {w}" for w in WHEELS]
    + [f"pressure {w}" for w in WHEELS]
    + ["ride height front", "ride height rear"]
)
# Uncertain inputs by their field of Spread, -1 to 1 times its share.
INPUTS = {
    "surface_grip": "surface grip",
    "downforce": "downforce",
    "drag": "drag",
    "side_force": "side force",
    "mass": "mass",
    "tyre_friction": "tyre friction",
}
# However large a box is blown up, so much of a value is left, and a car is so much heavier than its wheels.
_LEFT, _SPRUNG = 0.1, 1.05
# What each error is tried at; the first wins where it makes no difference.
_LEVELS = np.array([0.0, -1.0, 1.0])
# Difference in margin that is worth an error; trims are exact to far less.
_NOTICE = 1e-8
# Cases whose own worst errors are tried together, how many of those are then exchanged one by one, and how
# many changes of an error are solved at a time.
_MOST_CASES = 24
_MOST_STARTS = 4
_MOST_TRIED = 4
# Boxes looked at first, by scale; what lies between the last that holds and the first that falls is halved.
SCALES = (1.0, 2.0, 3.5, 6.0, 10.0)
_HALVINGS = 8


# ---- what an error does ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BuildErrors:
    """One setup with the errors that its build and the inputs may have: a box, -1 to 1 in each of `names`.

    Without `tolerance` the build is exact, without `spread` the inputs are. `scale` blows up the whole box;
    where that would take a value away, a tenth of it is left, and a car stays heavier than its wheels.
    """

    car: Car
    setup: Setup
    tolerance: Tolerance | None
    spread: Spread | None = None
    scale: float = 1.0

    @cached_property
    def shares(self) -> dict[str, float]:
        """Shares of the inputs that the user called uncertain, by their field of Spread."""
        given = {field: getattr(self.spread, field, None) for field in INPUTS}
        return {
            field: share for field, share in given.items() if share is not None
        }

    @property
    def names(self) -> tuple[str, ...]:
        """The errors in their order: NAMES, then the uncertain inputs."""
        built = () if self.tolerance is None else NAMES
        return built + tuple(INPUTS[field] for field in self.shares)

    def build_alone(self) -> BuildErrors:
        """The same with exact inputs."""
        return replace(self, spread=None)

    def inputs_alone(self) -> BuildErrors:
        """The same with an exact build."""
        return replace(self, tolerance=None)

    def settings(self, built: Floats, model: Model | None = None) -> Records:
        """SETTING records of builds (builds, NAMES), or (builds, 0); `model` of a varied car."""
        own = model or Model(self.car)
        setups = np.repeat(by_wheel(self.setup), len(built))
        if self.tolerance is not None:
            _misbuild(setups, self.tolerance, self.scale * built)
        return own.settings(setups)

    def factors(self, inputs: Floats) -> dict[str, float]:
        """Value over exact value of each uncertain input, by its field of Spread; `inputs` (shares)."""
        pairs = zip(self.shares.items(), inputs, strict=True)
        return {
            field: max(_LEFT, 1.0 + self.scale * share * float(e))
            for (field, share), e in pairs
        }

    def result(
        self,
        errors: Floats,
        cases: CaseSet,
        starts: Records | None = None,
        by_slope: bool = False,
    ) -> Result:
        """Builds (builds, names), or one, in every case. `starts`, `by_slope`: as `Model.run` takes them.

        Builds with the same inputs are solved together; different inputs make a car of their own.
        """
        rows = np.atleast_2d(np.asarray(errors, dtype=float))
        built, inputs = np.hsplit(rows, [rows.shape[1] - len(self.shares)])
        kinds, kind = np.unique(inputs, axis=0, return_inverse=True)
        answers = np.zeros((len(rows), len(cases)), ANSWER)
        with ThreadPoolExecutor(sweep.workers()) as pool:
            for number, values in enumerate(kinds):
                alike = kind == number
                found = self._answers(
                    built[alike], values, cases, pool, starts, by_slope
                )
                answers[alike] = found.reshape(-1, len(cases))
        return Result(cases, answers, Model(self.car).packed[0][0])

    def of_setups(
        self,
        errors: Floats,
        cases: CaseSet,
        starts: Records | None = None,
        by_slope: bool = False,
    ) -> Records:
        """ANSWER records (setups x cases) of one build (names) of each of the setups that `setup` holds."""
        built, inputs = np.split(errors, [errors.size - len(self.shares)])
        with ThreadPoolExecutor(sweep.workers()) as pool:
            return self._answers(
                built[None, :], inputs, cases, pool, starts, by_slope
            )

    def _answers(
        self, built: Floats, inputs: Floats, cases: CaseSet, pool: Executor, starts: Records | None,
        by_slope: bool,
    ) -> Records:  # fmt: skip
        """ANSWER records (builds x cases) of builds with the same inputs."""
        factors = self.factors(inputs)
        model = Model(varied_car(self.car, factors))
        records = cases.records.copy()
        records["surface_grip"] *= factors.get("surface_grip", 1.0)
        settings = self.settings(built, model)
        return sweep.run(
            model.packed,
            settings,
            records,
            starts,
            pool=pool,
            by_slope=by_slope,
        )


def _misbuild(setups: Records, t: Tolerance, errors: Floats) -> None:
    """Put build errors (builds, NAMES) into SETUP records (builds)."""
    setups["camber"] += t.camber * errors[:, 0:4]
    setups["spring"] *= np.maximum(_LEFT, 1.0 + t.spring_share * errors[:, 4:8])
    pressure = setups["pressure"]
    setups["pressure"] = np.maximum(
        _LEFT * pressure, pressure + t.pressure * errors[:, 8:12]
    )
    setups["ride_height"] += t.ride_height * np.repeat(
        errors[:, 12:14], 2, axis=1
    )


def varied_car(car: Car, factors: dict[str, float]) -> Car:
    """The car with inputs multiplied, by their field of Spread; what is not named stays.

    Besides, `downforce_of(NAME)` of one air element and `foundation_of(NAME)` of one tyre. A lighter car
    keeps its wheels: no mass goes so low that the sprung part, or its CG, would be gone.
    """
    downforce, friction = (
        factors.get("downforce", 1.0),
        factors.get("tyre_friction", 1.0),
    )
    drag = factors.get("drag", 1.0)
    elements = tuple(
        replace(
            _scaled(element, own, drag),
            settings=tuple(_scaled(row, own, drag) for row in element.settings),
        )
        for element in car.air.elements
        for own in [downforce * factors.get(downforce_of(element.name), 1.0)]
    )
    air = replace(
        car.air,
        drag_area=drag * car.air.drag_area,
        side_area=factors.get("side_force", 1.0) * car.air.side_area,
        elements=elements,
    )
    front, rear = (
        _on_tyre(getattr(car, axle), friction, factors) for axle in AXLES
    )
    mass = max(
        factors.get("mass", 1.0) * car.mass,
        min(car.mass, _SPRUNG * _wheels_alone(car)),
    )
    return replace(car, mass=mass, air=air, front=front, rear=rear)


_Loads = TypeVar("_Loads", AirElement, WingSetting)


def _scaled(part: _Loads, downforce: float, drag: float) -> _Loads:
    """An air element, or one of its settings, with other loads."""
    own_drag = None if part.drag_area is None else drag * part.drag_area
    free = downforce * part.free_area
    return replace(
        part,
        free_area=free,
        ground_area=downforce * part.ground_area,
        drag_area=own_drag,
    )


def downforce_of(element: str) -> str:
    """The factor on the downforce of one air element."""
    return f"downforce of {element}"


def foundation_of(tyre: str) -> str:
    """The factor on the radial stiffness of one tyre, tread and carcass."""
    return f"foundation of {tyre}"


def _on_tyre(axle: Axle, friction: float, factors: dict[str, float]) -> Axle:
    """The axle on tyres whose friction and stiffness are multiplied."""
    left, right = (
        _tyre(tyre, friction, factors.get(foundation_of(tyre.name), 1.0))
        for tyre in axle.tyres
    )
    return replace(
        axle, tyre=left, tyre_right=None if axle.tyre_right is None else right
    )


def _tyre(tyre: Tyre, friction: float, stiffness: float) -> Tyre:
    stiffer = {name: stiffness * getattr(tyre, name) for name in STIFFNESS}
    return replace(tyre, friction=friction * tyre.friction, **stiffer)


# What makes a tyre stiff radially, of Tyre.
STIFFNESS = (
    "foundation",
    "foundation_per_pressure",
    "carcass",
    "carcass_per_pressure",
)


def _wheels_alone(car: Car) -> float:
    """Mass at which nothing sprung is left, or its CG lies on the road, kg."""
    moment = 2.0 * sum(
        a.unsprung_mass * a.unsprung_height for a in (car.front, car.rear)
    )
    return max(unsprung_mass(car), moment / car.cg_height)


def build_errors(
    project: Project, setup: Setup | None = None
) -> BuildErrors | None:
    """The errors that limits.toml allows a setup, today's unless given; None where it tells of none.

    Raises InputError where the mass is so uncertain that the lightest or heaviest car cannot be.
    """
    limits = project.limits
    if limits is None:
        return None
    build = BuildErrors(
        project.car, setup or project.setup, limits.tolerance, limits.spread
    )
    if "mass" in build.shares:
        _refuse_mass(project, build.setup, build.shares["mass"])
    return build if build.names else None


def _refuse_mass(project: Project, setup: Setup, share: float) -> None:
    """A car at either end of its mass must still be one."""
    for factor in (1.0 - share, 1.0 + share):
        car = replace(project.car, mass=factor * project.car.mass)
        found = refusals(car, project.venue, setup)
        if found:
            file, loc, expected = found[0]
            place = f"{'.'.join(str(part) for part in loc)} of {file}.toml"
            raise InputError(
                str(project.folder / "limits.toml"), None, "spread.mass_percent", f"{share / PERCENT:g}",
                f"less: a car of {car.mass:.4g} kg needs at {place} {expected}",
            )  # fmt: skip


# ---- the worst build ---------------------------------------------------------------------------------------


class Cost(NamedTuple):
    """What one error alone takes from the margin of a case; infinite where it alone loses contact."""

    name: str
    error: float
    loss: float


@dataclass(frozen=True)
class WorstBuild:
    """The build with the lowest worst margin that was found in the box.

    `errors` by name are -1, 0 or 1; `case` is the row of its worst case. `costs`: each error that this
    build has, alone in that case, the costliest first; none where contact is lost without any error.
    """

    margin: float  # minus infinity where contact is lost
    errors: dict[str, float]
    case: int
    costs: tuple[Cost, ...]


def _moves(errors: Floats) -> Floats:
    """One error after another at every level, the others as they are: (names x levels, names)."""
    own = np.eye(errors.size, dtype=bool)[:, None, :]
    return np.where(own, _LEVELS[:, None], errors).reshape(-1, errors.size)


class WorstMargin:
    """Worst margins of many builds: slopes say which cases may be the worst, and the model solves these.

    `starts` (cases): answers of the setup without errors, if they are known.
    """

    def __init__(
        self, build: BuildErrors, cases: CaseSet, starts: Records | None = None
    ) -> None:
        self.build = build
        self.cases = cases
        self.exact = np.zeros(len(build.names))
        found = build.result(self.exact, cases, starts)
        self.starts = found.answers[0]
        self.without_errors = ranked(found)[0]

    def pick(self, rows: np.ndarray) -> WorstMargin:
        """The same in some of the cases."""
        return WorstMargin(self.build, self.cases.pick(rows), self.starts[rows])

    def by_slope(self, errors: Floats, starts: Records | None = None) -> Floats:
        """Margins of builds (builds, cases), as `ranked`, by the slopes of a build nearby."""
        nearby = self.starts if starts is None else starts
        return ranked(
            self.build.result(errors, self.cases, nearby, by_slope=True)
        )

    def __call__(self, errors: Floats) -> Floats:
        """Worst margins (builds), as `ranked`."""
        builds = np.atleast_2d(errors)
        near = self.by_slope(builds)
        pairs = zip(builds, suspects(near, self.without_errors), strict=True)
        return np.array([self._solved(*pair) for pair in pairs])

    def _solved(self, errors: Floats, rows: np.ndarray) -> float:
        """Worst margin of one build in some of the cases."""
        found = self.build.result(
            errors, self.cases.pick(np.flatnonzero(rows)), self.starts[rows]
        )
        return float(ranked(found).min())


class _Search:
    """Coordinate exchange in a box of errors."""

    def __init__(
        self, build: BuildErrors, cases: CaseSet, starts: Records | None = None
    ) -> None:
        self.build = build
        self.worst = WorstMargin(build, cases, starts)

    def lowest(self, known: Floats) -> tuple[Floats, float]:
        """The worst errors that are found, and their margin. `known` (builds, names) are tried as well."""
        corners, low = self.alone()
        near = self.worst.pick(low)
        tried = np.vstack([near.exact, corners, known])
        first = np.argsort(near(tried), kind="stable")[:_MOST_STARTS]
        ends = np.array(
            [self._exchange(near, errors) for errors in tried[first]]
        )
        worst = self.worst(ends)
        return ends[worst.argmin()], float(worst.min())

    def alone(self) -> tuple[Floats, np.ndarray]:
        """The cases that are lowest if losses add up, and for each the worst level of every error alone."""
        exact = self.worst.exact
        each = self.worst.by_slope(_moves(exact)).reshape(
            exact.size, _LEVELS.size, -1
        )
        loss = each[:, :1] - each
        loss[loss < _NOTICE] = 0.0
        low = np.argsort(
            each[0, 0] - loss.max(axis=1).sum(axis=0), kind="stable"
        )[:_MOST_CASES]
        return np.unique(_LEVELS[loss.argmax(axis=1)[:, low]].T, axis=0), low

    def _exchange(self, near: WorstMargin, errors: Floats) -> Floats:
        """Change one error at a time, the one that lowers most, until none does or contact is lost.

        Slopes choose the few changes that the model solves.
        """
        worst = near(errors)[0]
        while worst > -0.5 * LOST:
            moves = _moves(errors)
            here = self.build.result(errors, near.cases, near.starts).answers[0]
            guessed = near.by_slope(moves, here).min(axis=1)
            tried = moves[np.argsort(guessed, kind="stable")[:_MOST_TRIED]]
            reached = near(tried)
            best = int(reached.argmin())
            if reached[best] >= worst - _NOTICE:
                break
            errors = tried[best]
            worst = reached[best]
        return errors


def candidate_corners(build: BuildErrors, cases: CaseSet) -> Floats:
    """Builds that may be the worst, (builds, names), each error -1, 0 or 1.

    For each of the cases that fall lowest if losses add up, the levels that it likes least of every error
    alone, all together.
    """
    return _Search(build, cases).alone()[0]


def worst_build(build: BuildErrors, cases: CaseSet) -> WorstBuild:
    """Search the box for the build with the lowest worst margin.

    Looked at are builds whose errors are each -1, 0 or 1: first, for each of the cases that may become the
    worst, the level that it likes least of every error alone, all together; then, from the lowest of these,
    one error at a time goes to another level until none lowers the worst margin of those cases further.
    0 is among the levels because a margin can be least inside, as for a ride height near the peak of the
    ground effect. The margin told is the worst of all cases. A search, no proof: nobody can ask 3^n builds.
    """
    errors, _ = _Search(build, cases).lowest(np.empty((0, len(build.names))))
    found = build.result(errors, cases)
    case = int(found.worst[0])
    costs = _costs(build, errors, cases.pick([case]))
    return WorstBuild(
        float(found.worst_margin[0]),
        dict(zip(build.names, errors.tolist(), strict=True)),
        case,
        costs,
    )


def _costs(
    build: BuildErrors, errors: Floats, case: CaseSet
) -> tuple[Cost, ...]:
    """Each of the errors alone in one case, the costliest first."""
    alone = np.diag(errors)[errors != 0.0]
    exact, *margins = build.result(
        np.vstack([np.zeros_like(errors), alone]), case
    ).worst_margin.tolist()
    if not np.isfinite(exact):
        return ()
    named = zip(np.flatnonzero(errors), margins, strict=True)
    costs = [
        Cost(build.names[i], float(errors[i]), exact - margin)
        for i, margin in named
    ]
    return tuple(sorted(costs, key=lambda cost: -cost.loss))


# ---- how large a box is stood ------------------------------------------------------------------------------


def stands(build: BuildErrors, cases: CaseSet, floor: float) -> float:
    """How many times the box of errors the setup stands before its worst margin falls under `floor`.

    0 where it is under the floor without any error; no more than the last of SCALES, which means: at least
    so many times. The worst build is searched anew in every box, from small to large, and all that were
    found before are tried in it too. Boxes nest, so that a box holds only where every smaller one did.
    """
    known: list[Floats] = [np.zeros(len(build.names))]
    exact = build.result(known[0], cases)
    if exact.worst_margin[0] < floor:
        return 0.0

    def falls(scale: float) -> bool:
        box = _Search(
            replace(build, scale=scale * build.scale), cases, exact.answers[0]
        )
        if box.worst(np.array(known)).min() < floor:
            return True
        errors, worst = box.lowest(np.array(known))
        known.append(errors)
        return worst < floor

    low = 0.0
    for high in SCALES:
        if falls(high):
            return _between(falls, low, high)
        low = high
    return low


def _between(falls: Callable[[float], bool], low: float, high: float) -> float:
    """The largest scale that holds, between one that does and one that does not."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if falls(middle) else (middle, high)
    return low
