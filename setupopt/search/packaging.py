"""Limits that hold in every case, as rows that must not be negative, each with its name and scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt import units
from setupopt.physics.inputs import Floats, Records
from setupopt.project.model import AXLES, WHEELS, Car, Packaging, Setup


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


def _flat(rows: Floats) -> Floats:
    """(setups, ...) as (setups, rows)."""
    return np.asarray(rows).reshape(rows.shape[0], -1)


class PackagingLimits:
    """The limits of a project that its user stated, asked of answers."""

    def __init__(self, car: Car, packaging: Packaging) -> None:
        self.car, self.packaging = car, packaging
        self.bump = np.array([car.front.bump_travel] * 2 + [car.rear.bump_travel] * 2)
        self.droop = np.array([car.front.droop_travel] * 2 + [car.rear.droop_travel] * 2)
        self.tyre_limit = np.array(
            [car.front.tyre.load_limit or np.inf] * 2 + [car.rear.tyre.load_limit or np.inf] * 2
        )
        self.limits = tuple(self._limits())
        self._place = {limit.name: i for i, limit in enumerate(self.limits)}

    def _limits(self) -> list[Limit]:
        """What was stated, in a fixed order."""
        stated, length = self.packaging, ("mm", units.MM, _LENGTH_SCALE)
        load_scale = self.car.mass * 9.80665 / 4
        found = []
        if stated.rake is not None:
            found += [Limit("rake, least", *length), Limit("rake, most", *length)]
        if stated.wheel_load_least is not None:
            found += [Limit(f"least wheel load, {wheel}", "N", 1.0, load_scale) for wheel in WHEELS]
        if stated.travel_left_least is not None:
            found += [Limit("travel left to a stop", *length)]
        found += [Limit(f"room in the {arch.axle} wheel arch", *length) for arch in stated.arches]
        found += [Limit("clearance of the floor", *length)] if self.car.clearance else []
        if np.isfinite(self.tyre_limit).any():
            found += [Limit("tyre load limit", "N", 1.0, load_scale)]
        return found

    def _stated(self, setup: Setup, a: Records) -> dict[str, Floats]:
        """Room left in SI by limit name, (setups, rows); `setup` holds arrays."""
        stated, rooms = self.packaging, {}
        if stated.rake is not None:
            rake = np.asarray(setup.rear.ride_height) - np.asarray(setup.front.ride_height)
            rooms["rake, least"], rooms["rake, most"] = (
                rake[:, None] - stated.rake[0],
                stated.rake[1] - rake[:, None],
            )
        if stated.wheel_load_least is not None:
            for w, wheel in enumerate(WHEELS):
                rooms[f"least wheel load, {wheel}"] = a["load"][:, :, w] - stated.wheel_load_least
        if stated.travel_left_least is not None:
            left = np.concatenate([self.bump - a["travel"], self.droop + a["travel"]], axis=-1)
            rooms["travel left to a stop"] = left - stated.travel_left_least
        for arch in stated.arches:
            at = 2 * AXLES.index(arch.axle)
            room = arch.room + arch.room_per_camber * np.asarray(getattr(setup, arch.axle).camber)
            rooms[f"room in the {arch.axle} wheel arch"] = (
                room[:, None, None] - a["travel"][:, :, at : at + 2]
            )
        if self.car.clearance:
            rooms["clearance of the floor"] = a["spare_clearance"]
        if "tyre load limit" in self._place:
            rooms["tyre load limit"] = (
                self.tyre_limit[np.isfinite(self.tyre_limit)] - a["load"][:, :, np.isfinite(self.tyre_limit)]
            )
        return rooms

    def rows(self, setup: Setup, answers: Records) -> LimitRows:
        """All limits of setups (arrays) over answers (setups, cases)."""
        pieces = [np.empty((answers.shape[0], 0))]
        owner, case = [np.empty(0, dtype=int)], [np.empty(0, dtype=int)]
        for name, room in self._stated(setup, answers).items():
            place = self._place[name]
            flat = _flat(room) / self.limits[place].scale
            pieces.append(flat)
            owner.append(np.full(flat.shape[1], place))
            cases = room.shape[1]
            at_rest = name.startswith("rake")
            case.append(np.full(1, -1) if at_rest else np.repeat(np.arange(cases), flat.shape[1] // cases))
        return LimitRows(np.concatenate(pieces, axis=1), np.concatenate(owner), np.concatenate(case))
