"""Limits that hold in every case, as rows that must not be negative, each with its name and scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from setupopt import units
from setupopt.pack import per_wheel
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.place import GRAVITY
from setupopt.project.model import AXLES, WHEELS, Arch, Car, Packaging, Setup


@dataclass(frozen=True)
class Limit:
    """A kind of limit. `scale` is the size in SI that counts as one in the search."""

    name: str
    unit: str
    factor: float  # file unit in SI
    scale: float


@dataclass(frozen=True)
class LimitRows:
    """Rows (setups, rows) over their scales; the limit and the case each belongs to, (rows).

    The case is -1 for a limit of the car at rest.
    """

    rows: Floats
    owner: np.ndarray
    case: np.ndarray


_LENGTH_SCALE = 0.01  # m

# Room left in SI for setups (arrays) and answers (setups, cases): (setups, cases, ...); at rest (setups, 1).
Room = Callable[[Setup, Records], Floats]


def _rake(setup: Setup) -> Floats:
    """Rear minus front ride height, (setups, 1)."""
    return (np.asarray(setup.rear.ride_height) - np.asarray(setup.front.ride_height))[:, None]


def _arch_room(arch: Arch) -> Room:
    """Bump travel left under one wheel arch, both wheels."""
    at = 2 * AXLES.index(arch.axle)

    def room(setup: Setup, a: Records) -> Floats:
        allowed = arch.room + arch.room_per_camber * np.asarray(getattr(setup, arch.axle).camber)
        return np.asarray(allowed[:, None, None] - a["travel"][:, :, at : at + 2])

    return room


def _wheel_room(wheel: int, least: float) -> Room:
    """Load of one wheel above the least."""
    return lambda setup, a: a["load"][:, :, wheel] - least


class PackagingLimits:
    """The limits of a project that its user stated, asked of answers; `limits` in a fixed order."""

    def __init__(self, car: Car, packaging: Packaging) -> None:
        stated = [*_at_rest(packaging), *_in_every_case(car, packaging)]
        self.limits = tuple(limit for limit, _ in stated)
        self._rooms = tuple(room for _, room in stated)
        self._at_rest = len(_at_rest(packaging))

    def rows(self, setup: Setup, answers: Records) -> LimitRows:
        """All limits of setups (arrays) over answers (setups, cases)."""
        pieces = [np.empty((answers.shape[0], 0))]
        owner, case = [np.empty(0, dtype=int)], [np.empty(0, dtype=int)]
        for place, (limit, room_of) in enumerate(zip(self.limits, self._rooms, strict=True)):
            room = room_of(setup, answers)
            flat = np.asarray(room).reshape(room.shape[0], -1) / limit.scale
            pieces.append(flat)
            owner.append(np.full(flat.shape[1], place))
            places = np.arange(room.shape[1]) if place >= self._at_rest else np.array([-1])
            case.append(np.repeat(places, flat.shape[1] // places.size))
        return LimitRows(np.concatenate(pieces, axis=1), np.concatenate(owner), np.concatenate(case))


def _at_rest(packaging: Packaging) -> list[tuple[Limit, Room]]:
    """Limits of the car on the pad."""
    if packaging.rake is None:
        return []
    (least, most), length = packaging.rake, ("mm", units.MM, _LENGTH_SCALE)
    return [
        (Limit("rake, least", *length), lambda setup, a: _rake(setup) - least),
        (Limit("rake, most", *length), lambda setup, a: most - _rake(setup)),
    ]


def _in_every_case(car: Car, packaging: Packaging) -> list[tuple[Limit, Room]]:
    """Limits that hold wherever the car is driven."""
    length, load = ("mm", units.MM, _LENGTH_SCALE), ("N", 1.0, car.mass * GRAVITY / 4)
    found: list[tuple[Limit, Room]] = []
    if packaging.wheel_load_least is not None:
        least = packaging.wheel_load_least
        found += [
            (Limit(f"least wheel load, {n}", *load), _wheel_room(w, least)) for w, n in enumerate(WHEELS)
        ]
    if packaging.travel_left_least is not None:
        found.append(
            (Limit("travel left to a stop", *length), _travel_room(car, packaging.travel_left_least))
        )
    for arch in packaging.arches:
        found.append((Limit(f"room in the {arch.axle} wheel arch", *length), _arch_room(arch)))
    if car.clearance:
        found.append((Limit("clearance of the floor", *length), lambda setup, a: a["spare_clearance"]))
    most = per_wheel(car, lambda axle: axle.tyre.load_limit or np.inf)
    if np.isfinite(most).any():
        limited = np.isfinite(most)
        tyre_room: Room = lambda setup, a: most[limited] - a["load"][:, :, limited]  # noqa: E731
        found.append((Limit("tyre load limit", *load), tyre_room))
    return found


def _travel_room(car: Car, least: float) -> Room:
    """Travel to the bump and to the droop stops above the least, all wheels."""
    bump, droop = per_wheel(car, lambda a: a.bump_travel), per_wheel(car, lambda a: a.droop_travel)
    return lambda setup, a: np.concatenate([bump - a["travel"], droop + a["travel"]], axis=-1) - least
