"""Limits that hold in every case or on the pad, as rows that must not be negative."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import dataclass
from math import prod
from typing import Literal

import numpy as np

from setupopt import units
from setupopt.evaluation import pack
from setupopt.evaluation.pack import per_wheel
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.model import AXLES, WHEELS, Arch, Car, ClearancePoint, Packaging, Setup
from setupopt.project.underbody import static_gap, undersides
from setupopt.units import GRAVITY


@dataclass(frozen=True)
class Limit:
    """One limit. `key`: where the user types it; `sense`: +1 where a larger number there loosens it, else -1.

    `factor` is the unit of the files in SI, `scale` the size in SI that counts as one in the search.
    """

    name: str
    key: str
    sense: int
    unit: str
    factor: float
    scale: float


@dataclass(frozen=True)
class LimitRows:
    """Rows (setups, rows) over their scales; the limit and the case each belongs to, (rows).

    The case is -1 for a limit of the car at rest.
    """

    rows: Floats
    owner: np.ndarray
    case: np.ndarray


@dataclass(frozen=True)
class _Asked:
    """Setups (arrays), their answers (setups, cases), and the gaps of the named points there."""

    setup: Setup
    answers: Records
    gaps: Floats  # (setups, cases, points)


# Room left in SI: (setups, cases, ...); of a limit at rest (setups, 1, ...).
Room = Callable[[_Asked], Floats]
_Stated = tuple[Limit, Room]

_LENGTH_SCALE = 0.01  # m
_NONE = np.empty(0, dtype=int)


class PackagingLimits:
    """The limits of a project that its user stated, asked of answers; `limits` in a fixed order."""

    def __init__(self, car: Car, packaging: Packaging) -> None:
        at_rest = [*_rake(packaging), *_ground_clearance(car, packaging), *_static_gaps(car)]
        driven = [*_wheel_loads(car, packaging), *_travel(car, packaging), *_arches(packaging)]
        stated = [*at_rest, *driven, *_gaps(car), *_tyre_loads(car)]
        self.limits = tuple(limit for limit, _ in stated)
        self._rooms = tuple(room for _, room in stated)
        self._at_rest = len(at_rest)
        self._vehicle = pack.vehicle(car)
        self._slack = np.zeros(len(stated))

    def widened(self, place: int, by: float) -> PackagingLimits:
        """The same limits with number `place` looser by `by`, in SI: its price can be tried out."""
        other = copy(self)
        other._slack = self._slack.copy()
        other._slack[place] += by
        return other

    def rows(self, setup: Setup, settings: Records, cases: Records, answers: Records) -> LimitRows:
        """All limits of setups (arrays) in cases: `settings` (setups), answers (setups, cases)."""
        asked = _Asked(setup, answers, point_gaps(self._vehicle, settings, cases, answers))
        count, every_case = answers.shape[0], np.arange(answers.shape[1])
        pieces, owner, case = [np.empty((count, 0))], [_NONE], [_NONE]
        for place, (limit, room_of) in enumerate(zip(self.limits, self._rooms, strict=True)):
            room = (room_of(asked) + self._slack[place]) / limit.scale
            cases_of = np.repeat(every_case if place >= self._at_rest else [-1], prod(room.shape[2:]))
            pieces.append(room.reshape(count, cases_of.size))
            owner.append(np.full(cases_of.size, place))
            case.append(cases_of)
        return LimitRows(np.concatenate(pieces, axis=1), np.concatenate(owner), np.concatenate(case))


def _length(name: str, key: str, sense: int) -> Limit:
    return Limit(name, key, sense, "mm", units.MM, _LENGTH_SCALE)


def _load(car: Car, name: str, key: str, sense: int) -> Limit:
    return Limit(name, key, sense, "N", 1.0, car.mass * GRAVITY / 4)


# ---- on the pad --------------------------------------------------------------------------------------------


def _rake(packaging: Packaging) -> Iterator[_Stated]:
    """Rear minus front ride height, from and to."""
    if packaging.rake is None:
        return
    least, most = packaging.rake
    yield _length("rake, least", "limits.toml packaging.rake_mm.from", -1), lambda a: _raked(a) - least
    yield _length("rake, most", "limits.toml packaging.rake_mm.to", 1), lambda a: most - _raked(a)


def _raked(asked: _Asked) -> Floats:
    rear, front = np.asarray(asked.setup.rear.ride_height), np.asarray(asked.setup.front.ride_height)
    return (rear - front)[:, None]


def _ground_clearance(car: Car, packaging: Packaging) -> Iterator[_Stated]:
    """Every underside of the car over the pad."""
    least = packaging.ground_clearance_least
    if least is None:
        return
    parts = undersides(car)

    def room(a: _Asked) -> Floats:
        return np.stack([static_gap(car, a.setup, part) for part in parts], axis=-1)[:, None] - least

    key = "limits.toml packaging.ground_clearance_least_mm"
    yield _length("ground clearance at rest, least", key, -1), room


def _static_gaps(car: Car) -> Iterator[_Stated]:
    """Each named point over the pad."""
    for point in car.clearance:
        if point.least_static_gap is not None:
            limit = _length(
                f"static gap of {point.name}", f"car.toml clearance '{point.name}' least_static_gap_mm", -1
            )
            yield limit, _static_room(car, point, point.least_static_gap)


def _static_room(car: Car, point: ClearancePoint, least: float) -> Room:
    return lambda a: np.asarray(static_gap(car, a.setup, point))[:, None] - least


# ---- in every case -----------------------------------------------------------------------------------------


def _wheel_loads(car: Car, packaging: Packaging) -> Iterator[_Stated]:
    """Load of each wheel above the least."""
    least = packaging.wheel_load_least
    if least is None:
        return
    key = "limits.toml packaging.wheel_load_least_N"
    for wheel, name in enumerate(WHEELS):
        yield _load(car, f"least wheel load, {name}", key, -1), _load_room(wheel, least)


def _load_room(wheel: int, least: float) -> Room:
    return lambda a: a.answers["load"][:, :, wheel] - least


def _travel(car: Car, packaging: Packaging) -> Iterator[_Stated]:
    """Travel to the bump and to the droop stops above the least, all wheels."""
    least = packaging.travel_left_least
    if least is None:
        return
    bump, droop = per_wheel(car, lambda a: a.bump_travel), per_wheel(car, lambda a: a.droop_travel)

    def room(a: _Asked) -> Floats:
        travel = a.answers["travel"]
        return np.concatenate([bump - travel, droop + travel], axis=-1) - least

    yield _length("travel left to a stop", "limits.toml packaging.travel_left_least_mm", -1), room


def _arches(packaging: Packaging) -> Iterator[_Stated]:
    """Bump travel left under each wheel arch, both wheels."""
    for number, arch in enumerate(packaging.arches, start=1):
        key = f"limits.toml packaging.arch[{number}].room_mm"
        yield _length(f"room in the {arch.axle} wheel arch", key, 1), _arch_room(arch)


def _arch_room(arch: Arch) -> Room:
    at = 2 * AXLES.index(arch.axle)

    def room(a: _Asked) -> Floats:
        allowed = arch.room + arch.room_per_camber * np.asarray(getattr(a.setup, arch.axle).camber)
        return np.asarray(allowed[:, None, None] - a.answers["travel"][:, :, at : at + 2])

    return room


def _gaps(car: Car) -> Iterator[_Stated]:
    """Each named point over the surface."""
    for place, point in enumerate(car.clearance):
        key = f"car.toml clearance '{point.name}' least_gap_mm"
        yield _length(f"clearance of {point.name}", key, -1), _gap_room(place, point.least_gap)


def _gap_room(place: int, least: float) -> Room:
    return lambda a: a.gaps[:, :, place] - least


def _tyre_loads(car: Car) -> Iterator[_Stated]:
    """Both wheels of each axle under what their tyre may carry."""
    for name, axle in zip(AXLES, (car.front, car.rear), strict=True):
        if axle.tyre.load_limit is not None:
            key = f"car.toml tyre.{axle.tyre.name}.load_limit_N"
            yield _load(car, f"tyre load limit, {name}", key, 1), _tyre_room(name, axle.tyre.load_limit)


def _tyre_room(axle: Literal["front", "rear"], most: float) -> Room:
    at = 2 * AXLES.index(axle)
    return lambda a: most - a.answers["load"][:, :, at : at + 2]
