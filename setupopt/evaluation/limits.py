"""The table of limits: what the user asks of a setup at rest and in every case.

Search, check and read-back of a setup all read this table. A new limit is one more entry in `_on_pad` or
`_in_cases`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Literal

import numpy as np

from setupopt import units
from setupopt.evaluation import pack
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limit import AT_LEAST, AT_MOST, Evaluated, Limit
from setupopt.evaluation.pack import per_wheel
from setupopt.physics.inputs import STEER, Floats, Records
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.consistency import TWIST, floor_twist
from setupopt.project.limits_model import Arch, Packaging
from setupopt.project.model import AXLES, WHEELS, Car
from setupopt.project.static_checks import tyre_groups
from setupopt.project.underbody import static_gap, undersides

# Of the order of what a light car's suspension has in warp, N/m.
_LIFT_STIFFNESS = 1e5
_NO_PACKAGING = Packaging(None, None, None, ())
_NONE = np.empty(0, dtype=int)


@dataclass(frozen=True)
class LimitRows:
    """Rows (setups, rows) over their scales; the limit and the case each belongs to, (rows).

    The case is -1 for a limit of the car at rest.
    """

    rows: Floats
    owner: np.ndarray
    case: np.ndarray


class PackagingLimits:
    """The limits of a car and of its packaging, evaluated for many setups; `limits` in a fixed order.

    `four_heights`: ride heights differ by corner, and must lie under one rigid floor. `cars`: the table that
    SETTING records given to `rows` know their cars by.
    """

    def __init__(
        self,
        car: Car,
        packaging: Packaging | None,
        four_heights: bool = False,
        cars: pack.CarTable | None = None,
    ) -> None:
        stated = packaging or _NO_PACKAGING
        twist = _of_twist(car) if four_heights else ()
        self.limits = (*_on_pad(car, stated), *twist, *_in_cases(car, stated))
        self.car = car
        self._cars = cars or pack.CarTable(car)
        self._slack = np.zeros(len(self.limits))
        self._of_cases = lru_cache(1)(self._chosen)

    def widened(self, number: int, by: float) -> PackagingLimits:
        """The same limits with limit `number` looser by `by`, in SI: its price can be tried out."""
        other = copy(self)
        other._slack = self._slack.copy()
        other._slack[number] += by
        return other

    def evaluated(
        self,
        setups: Records,
        cases: Records,
        answers: Records,
        settings: Records | None = None,
    ) -> Evaluated:
        """What the limits ask: SETUP records (setups), answers (setups, cases); SETTING records (setups) if
        they are known."""
        if settings is None:
            settings = pack.settings(self._cars, setups)
        return Evaluated(
            setups,
            answers,
            point_gaps(self._cars.packed, settings, cases, answers),
            pack.growth(self.car, cases["speed"]),
        )

    def rows(
        self,
        setups: Records,
        cases: CaseSet,
        answers: Records,
        settings: Records | None = None,
    ) -> LimitRows:
        """All limits of setups in cases; the arguments are those of `evaluated`.

        Cases that slide or lose contact have rows too, so that a search knows the way out of them.
        """
        evaluated = self.evaluated(setups, cases.records, answers, settings)
        count = answers.shape[0]
        chosen, owner, case = self._of_cases(cases)
        pieces = [np.empty((count, 0))]
        for limit, slack, some in zip(
            self.limits, self._slack, chosen, strict=True
        ):
            room = limit.search_room(evaluated)[:, some]
            pieces.append((room.reshape(count, -1) + slack) / limit.scale)
        return LimitRows(np.concatenate(pieces, axis=1), owner, case)

    def _chosen(
        self, cases: CaseSet
    ) -> tuple[list[np.ndarray | slice], np.ndarray, np.ndarray]:
        """The cases that each limit is of, all for one at rest; the limit and the case of every row."""
        chosen = list[np.ndarray | slice]()
        owner = [_NONE]
        case = [_NONE]
        for number, limit in enumerate(self.limits):
            own = np.array([-1]) if limit.is_at_rest else limit.cases_of(cases)
            is_all = limit.is_at_rest or limit.attitude is None
            chosen.append(slice(None) if is_all else own)
            rows = np.repeat(own, len(limit.places))
            owner.append(np.full(rows.size, number))
            case.append(rows)
        return chosen, np.concatenate(owner), np.concatenate(case)


def is_judged(answers: Records) -> np.ndarray:
    """Whether limits of cases are judged: only where there is a trim at full friction.

    A case that slides has the numbers of the trim at lambda above 1, on more friction than there is. Those of
    a lost case are no answers. Neither passes: its margin is below zero, or there is none.
    """
    return np.asarray(answers["contact"] & ~answers["slides"])


# ---- on the pad --------------------------------------------------------------------------------------------


def _on_pad(car: Car, packaging: Packaging) -> Iterator[Limit]:
    """Limits of the car at rest: rake, every underside, each named point with a static gap."""
    at_rest = partial(Limit, is_at_rest=True)
    if packaging.rake is not None:
        least, most = packaging.rake
        yield at_rest("packaging.rake_mm", AT_LEAST, least, _rake, end=".from")
        yield at_rest("packaging.rake_mm", AT_MOST, most, _rake, end=".to")
    if packaging.ground_clearance_least is not None:
        parts = undersides(car)
        yield at_rest(
            "packaging.ground_clearance_least_mm",
            AT_LEAST,
            packaging.ground_clearance_least,
            partial(_static_gaps, car, parts),
            where=tuple(part.name for part in parts),
        )
    for point in car.clearance:
        if point.least_static_gap is not None:
            gap = partial(_static_gaps, car, (point,))
            key = "clearance.least_static_gap_mm"
            yield at_rest(
                key, AT_LEAST, point.least_static_gap, gap, part=point.name
            )


def _of_twist(car: Car) -> Iterator[Limit]:
    """Limits of the floor's twist to either side, as the check of a setup has them."""

    def twist(evaluated: Evaluated) -> Floats:
        heights = evaluated.setups["ride_height"]
        return np.asarray(floor_twist(car, heights.T)[:, None, None])

    key = "setup.ride_height_mm"
    yield Limit(key, AT_MOST, TWIST, twist, "twist", end=".to", is_at_rest=True)
    yield Limit(
        key, AT_LEAST, -TWIST, twist, "twist", end=".from", is_at_rest=True
    )


def _rake(evaluated: Evaluated) -> Floats:
    """Rear minus front ride height."""
    front, rear = _heights(evaluated).T
    return np.asarray((rear - front)[:, None, None])


def _heights(evaluated: Evaluated) -> Floats:
    """Ride heights on the centre line, (setups, axles)."""
    return np.asarray(
        evaluated.setups["ride_height"].reshape(-1, 2, 2).mean(axis=2)
    )


def _static_gaps(
    car: Car, parts: Sequence[Any], evaluated: Evaluated
) -> Floats:
    """Gaps of parts of the floor, of the lower side of what reaches to both."""
    front, rear = _heights(evaluated).T
    sides = evaluated.setups["ride_height"].reshape(-1, 2, 2)
    roll = (
        (sides[:, :, 0] - sides[:, :, 1]) / (car.front.track, car.rear.track)
    ).mean(axis=1)
    gaps = [static_gap(car, (front, rear), part, roll) for part in parts]
    return np.stack(gaps, axis=-1)[:, None, :]


# ---- in every case -----------------------------------------------------------------------------------------


def _least_loads(
    packaging: Packaging, load: Callable[..., Limit]
) -> Iterator[Limit]:
    """Least wheel loads that are asked for, of all cases or of those of one attitude."""
    least = partial(load, sense=AT_LEAST, reported_for="")
    asked: list[tuple[Callable[..., Limit], float]] = []
    if packaging.wheel_load_least is not None:
        key = "packaging.wheel_load_least_N"
        asked.append((partial(least, key), packaging.wheel_load_least))
    for number, stated in enumerate(packaging.wheel_loads, start=1):
        key = f"packaging.wheel_load[{number}]"
        one = partial(least, key, end=".least_N", attitude=stated.attitude)
        asked.append((one, stated.least))
    for limit, required in asked:
        for w, wheel in enumerate(WHEELS):
            own = slice(w, w + 1)
            yield limit(
                required=required,
                values=partial(_of_wheels, "load", own),
                past=partial(_lifted, own),
                part=wheel,
            )


def _in_cases(car: Car, packaging: Packaging) -> Iterator[Limit]:
    """Limits of every case: wheel loads, travel, arches, tyre loads, steer angle, gaps of the named points."""
    load = partial(Limit, unit="N", scale=car.mass * units.GRAVITY / 4)
    yield from _least_loads(packaging, load)
    if packaging.travel_left_least is not None:
        values = partial(_travel_left, car)
        key = "packaging.travel_left_least_mm"
        least = packaging.travel_left_least
        yield Limit(key, AT_LEAST, least, values, where=("",) * 8)
    for number, arch in enumerate(packaging.arches, start=1):
        wheels = _wheels(arch.axle)
        values = partial(_in_arch, wheels)
        room = partial(_arch_room, arch)
        key = f"packaging.arch[{number}]"
        on = WHEELS[wheels]
        yield Limit(key, AT_MOST, room, values, where=on, end=".room_mm")
    for wheels, name, tyre in tyre_groups(car):
        if tyre.load_limit is not None:
            values = partial(_of_wheels, "load", wheels)
            key = f"tyre.{tyre.name}.load_limit_N"
            on = WHEELS[wheels]
            yield load(
                key, AT_MOST, tyre.load_limit, values, part=name, where=on
            )
    if car.steer_limit is not None:
        yield Limit(
            "car.steer_limit_deg",
            AT_MOST,
            car.steer_limit,
            _steer,
            unit="deg",
            scale=units.DEG,
        )
    for number, point in enumerate(car.clearance):
        values = partial(_gap, number)
        key = "clearance.least_gap_mm"
        yield Limit(key, AT_LEAST, point.least_gap, values, part=point.name)


def _wheels(axle: Literal["front", "rear"]) -> slice:
    first = 2 * AXLES.index(axle)
    return slice(first, first + 2)


def _of_wheels(field: str, wheels: slice, evaluated: Evaluated) -> Floats:
    """A field of the answers at some wheels."""
    return np.asarray(evaluated.answers[field][:, :, wheels])


def _lifted(wheels: slice, evaluated: Evaluated) -> Floats:
    """How far wheels are off the surface, as a force: a load of 0 does not tell a search the way back."""
    return _of_wheels("lift", wheels, evaluated) * _LIFT_STIFFNESS


def _travel_left(car: Car, evaluated: Evaluated) -> Floats:
    """Travel to the bump stops, then to the droop stops, of all wheels."""
    travel = evaluated.answers["travel"]
    to_bump = per_wheel(car, lambda a: a.bump_travel) - travel
    to_droop = per_wheel(car, lambda a: a.droop_travel) + travel
    return np.concatenate([to_bump, to_droop], axis=-1)


def _arch_room(arch: Arch, evaluated: Evaluated) -> Floats:
    """Bump travel that a wheel arch has room for, by the camber of each wheel."""
    camber = evaluated.setups["camber"][:, None, _wheels(arch.axle)]
    return np.asarray(arch.room + arch.room_per_camber * camber)


def _in_arch(wheels: slice, evaluated: Evaluated) -> Floats:
    """Bump travel, and what the tyre grows at the speed of the case: it takes as much of the room."""
    travel = _of_wheels("travel", wheels, evaluated)
    return np.asarray(travel + evaluated.growth[:, wheels])


def _steer(evaluated: Evaluated) -> Floats:
    """How far the front wheels are turned to either side."""
    return np.abs(evaluated.answers["state"][:, :, STEER, None])


def _gap(number: int, evaluated: Evaluated) -> Floats:
    """Gap of one named point."""
    return evaluated.gaps[:, :, number : number + 1]
