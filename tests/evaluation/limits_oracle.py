"""A second statement of the limits, written apart from `evaluation.limits`: the oracle of its tests.

Cases that slide or lose contact count for none of them: their numbers are of no trim at full friction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setupopt.evaluation.limits_check import Broken, Sense
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import STEER, Floats
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.limits_model import Arch
from setupopt.project.model import AXLES, WHEELS, Project, Setup
from setupopt.project.underbody import static_gap, undersides
from setupopt.units import DEG, MM

# Relative, and in SI: the conversion from file units leaves noise
_SLACK = 1e-9


def broken(
    project: Project, setup: Setup, result: Result, row: int = 0
) -> tuple[Broken, ...]:
    """Every limit that `setup` breaks; `row` is its place among the setups of `result`."""
    check = _Check(project, setup, result, row)
    at_rest = (*check.rake(), *check.ground_clearance(), *check.static_gaps())
    springs = (
        *check.wheel_load(),
        *check.attitude_loads(),
        *check.travel(),
        *check.arches(),
    )
    return (*at_rest, *springs, *check.tyres(), *check.steer(), *check.gaps())


class _Check:
    """One setup of a result against the limits of its project."""

    def __init__(
        self, project: Project, setup: Setup, result: Result, row: int
    ) -> None:
        self.car = project.car
        self.packaging = project.limits.packaging if project.limits else None
        self.setup = setup
        self.result = result
        self.row = row
        self.answers = result.answers[row]
        self.held = np.asarray(
            self.answers["friction_factor"] <= 1.0
        ) & np.isfinite(self.answers["margin"])

    def rake(self) -> Iterator[Broken]:
        allowed = self.packaging.rake if self.packaging else None
        if allowed is None:
            return
        rake = self.setup.rear.ride_height - self.setup.front.ride_height
        senses: tuple[Sense, Sense] = ("at least", "at most")
        for sense, required in zip(senses, allowed, strict=True):
            yield from self.at_rest(
                "packaging.rake_mm", "", rake, sense, required
            )

    def ground_clearance(self) -> Iterator[Broken]:
        """The part of the car that stands lowest on the pad."""
        least = (
            self.packaging.ground_clearance_least if self.packaging else None
        )
        if least is None:
            return
        parts = undersides(self.car)
        gap, name = min(
            (static_gap(self.car, self.setup.ride_heights, part), part.name)
            for part in parts
        )
        yield from self.at_rest(
            "packaging.ground_clearance_least_mm", name, gap, "at least", least
        )

    def static_gaps(self) -> Iterator[Broken]:
        """Every floor point that stands too low on the pad."""
        limit = "clearance.least_static_gap_mm"
        for point in self.car.clearance:
            if point.least_static_gap is not None:
                gap = static_gap(self.car, self.setup.ride_heights, point)
                yield from self.at_rest(
                    limit, point.name, gap, "at least", point.least_static_gap
                )

    def wheel_load(self) -> Iterator[Broken]:
        least = self.packaging.wheel_load_least if self.packaging else None
        if least is not None:
            limit = "packaging.wheel_load_least_N"
            yield from self.worst(
                limit, WHEELS, self.answers["load"], "at least", least, "N", 1.0
            )

    def attitude_loads(self) -> Iterator[Broken]:
        every = self.held
        names = np.array(self.result.cases.attitude)
        for number, load in enumerate(
            self.packaging.wheel_loads if self.packaging else (), start=1
        ):
            self.held = every & (names == load.attitude)
            limit = f"packaging.wheel_load[{number}]"
            yield from self.worst(
                limit,
                WHEELS,
                self.answers["load"],
                "at least",
                load.least,
                "N",
                1.0,
            )
        self.held = every

    def travel(self) -> Iterator[Broken]:
        least = self.packaging.travel_left_least if self.packaging else None
        if least is not None:
            left = self.result.travel_left[self.row][:, None]
            yield from self.worst(
                "packaging.travel_left_least_mm",
                [""],
                left,
                "at least",
                least,
                "mm",
                MM,
            )

    def arches(self) -> Iterator[Broken]:
        for number, arch in enumerate(
            self.packaging.arches if self.packaging else (), start=1
        ):
            yield from self.arch(f"packaging.arch[{number}]", arch)

    def arch(self, limit: str, arch: Arch) -> Iterator[Broken]:
        first = 2 * AXLES.index(arch.axle)
        room = (
            arch.room
            + arch.room_per_camber * getattr(self.setup, arch.axle).camber
        )
        travel = self.answers["travel"][:, first : first + 2]
        yield from self.worst(
            limit, WHEELS[first : first + 2], travel, "at most", room, "mm", MM
        )

    def tyres(self) -> Iterator[Broken]:
        for first, axle in ((0, self.car.front), (2, self.car.rear)):
            if axle.tyre.load_limit is not None:
                limit, wheels = (
                    f"tyre.{axle.tyre.name}.load_limit_N",
                    WHEELS[first : first + 2],
                )
                loads = self.answers["load"][:, first : first + 2]
                yield from self.worst(
                    limit,
                    wheels,
                    loads,
                    "at most",
                    axle.tyre.load_limit,
                    "N",
                    1.0,
                )

    def gaps(self) -> Iterator[Broken]:
        """Every floor point that comes too close, by its own gap."""
        if not (self.held & (self.answers["spare_clearance"] < -_SLACK)).any():
            return
        limit, gaps = "clearance.least_gap_mm", self.point_gaps()
        for point, gap in zip(self.car.clearance, gaps.T, strict=True):
            yield from self.worst(
                limit,
                [point.name],
                gap[:, None],
                "at least",
                point.least_gap,
                "mm",
                MM,
            )

    def steer(self) -> Iterator[Broken]:
        """The front wheels turned too far, to either side."""
        most = self.car.steer_limit
        if most is not None:
            turned = np.abs(self.answers["state"][:, [STEER]])
            yield from self.worst(
                "car.steer_limit_deg",
                ("",),
                turned,
                "at most",
                most,
                "deg",
                DEG,
            )

    def point_gaps(self) -> Floats:
        """Gap of each floor point, (cases, points), m: an answer tells the least only."""
        model = Model(self.car)
        settings, cases = model.settings(self.setup), self.result.cases.records
        return point_gaps(model.packed, settings, cases, self.answers[None, :])[
            0
        ]

    def at_rest(
        self,
        limit: str,
        where: str,
        value: float,
        sense: Sense,
        required: float,
    ) -> Iterator[Broken]:
        """A length in SI of the car on the pad, if it breaks the limit."""
        if _excess(np.array(value), sense, required) > 0.0:
            found, asked = _plain(value / MM), _plain(required / MM)
            yield Broken(
                limit, where, found, sense, asked, "mm", None, None, None
            )

    def worst(
        self, limit: str, where: Sequence[str], values: Floats, sense: Sense, required: float,
        unit: str, factor: float,
    ) -> Iterator[Broken]:  # fmt: skip
        """The entry of `values` (cases, places) in SI that breaks the limit most, if one does."""
        excess = np.where(
            self.held[:, None], _excess(values, sense, required), -np.inf
        )
        case, place = divmod(int(excess.argmax()), excess.shape[1])
        if excess[case, place] > 0.0:
            cases, value = (
                self.result.cases,
                _plain(float(values[case, place]) / factor),
            )
            angle = _plain(float(cases.records["roll_angle"][case]) / DEG)
            yield Broken(
                limit, where[place], value, sense, _plain(required / factor), unit, case + 1, angle,
                cases.attitude[case], **cases.along(case),
            )  # fmt: skip


def _excess(values: Floats, sense: Sense, required: float) -> Floats:
    """By how much values lie beyond the limit, and the noise of conversion; positive: broken."""
    over = values - required if sense == "at most" else required - values
    return over - _SLACK * max(1.0, abs(required))


def _plain(value: float) -> float:
    """Without the noise of the conversion from SI (rounded to 1e-9)."""
    return round(value, 9) + 0.0
