"""Loss of drive: how long a car that coasts where it is keeps the floor of the margin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats
from setupopt.robust.speeds.at_speed import STEP, AtSpeed
from setupopt.robust.speeds.motion import Path, stretch

_CLOSE = 0.01  # m/s


@dataclass(frozen=True)
class Coasting:
    """Every case of the sweep from its own speed without drive; (cases) each, SI.

    `driven`: the case asks for drive, so that there is some to lose. `seconds`, `metres` until the margin
    goes under the floor at the same roll angle and attitude, and the `speed` then: infinite (the speed
    not a number) where it never does, not a number where nothing is lost.
    """

    cases: CaseSet
    driven: np.ndarray
    seconds: Floats
    metres: Floats
    speed: Floats

    @property
    def worst(self) -> int | None:
        """The case that has least time; None where no case is driven or all stand it."""
        timed = np.where(self.driven, self.seconds, np.inf)
        row = int(timed.argmin())
        return row if np.isfinite(timed[row]) else None

    def least_by_angle(self) -> list[int]:
        """Of each roll angle the driven case with least time, in the order of the angles."""
        timed = np.where(self.driven, self.seconds, np.inf)
        angles, rows = self.cases.records["roll_angle"], np.flatnonzero(self.driven)
        groups = [rows[angles[rows] == one] for one in np.unique(angles[rows])]
        return [int(group[timed[group].argmin()]) for group in groups]


def coast(search: AtSpeed, floor: float) -> Coasting:
    """Let every driven case coast, by drag and by gravity along its path, at the angle and attitude it has.

    Speeds are looked at in steps of 1 m/s, and the first that breaks the floor to 0.01 m/s.
    """
    cases = search.cases
    coaster = _Coaster(search, floor)
    start = cases.records["speed"].astype(float)
    driven = coaster.path.slowing(start) + cases.records["acceleration"] > 0.0
    seconds, metres = (np.where(driven, np.inf, np.nan) for _ in range(2))
    speed = np.full(start.size, np.nan)
    rows, held = coaster.until_broken(np.flatnonzero(driven), start)
    speed[rows] = held
    metres[rows], seconds[rows] = coaster.stretch(rows, start[rows], held)
    return Coasting(cases, driven, seconds, metres, speed)


class _Coaster:
    """Cases without drive, by their rows in the sweep."""

    def __init__(self, search: AtSpeed, floor: float) -> None:
        self.search, self.floor = search, floor
        self.path = Path(search.project.car, search.cases.records)

    def slowing(self, rows: np.ndarray, speed: Floats) -> Floats:
        """Deceleration, m/s2, (rows)."""
        return Path(self.search.project.car, self.search.cases.records[rows]).slowing(speed)

    def holds(self, rows: np.ndarray, speed: Floats) -> np.ndarray:
        """Whether rows coasting at speeds keep contact and floor."""
        cases = self.search.cases.pick(rows)
        cases.records["speed"], cases.records["acceleration"] = speed, -self.slowing(rows, speed)
        answers = self.search.model.run(self.search.settings, cases).answers[0]
        return np.asarray(answers["contact"] & (answers["margin"] >= self.floor))

    def until_broken(self, rows: np.ndarray, start: Floats) -> tuple[np.ndarray, Floats]:
        """Rows of those given that break the floor, and the last speed of each at which it is kept."""
        broken_at_once = rows[~self.holds(rows, start[rows])]
        going = np.setdiff1d(rows, broken_at_once)
        held, found = start.copy(), [broken_at_once]
        towards = np.where(self.path.slowing(start) > 0.0, -STEP, STEP)
        while going.size:
            trial = np.maximum(held[going] + towards[going], 0.0)
            # A car that stands, or goes as fast as gravity lets it, changes no more.
            settles = (held[going] == 0.0) | (towards[going] * self.slowing(going, trial) >= 0.0)
            going, trial = going[~settles], trial[~settles]
            kept = self.holds(going, trial)
            self._close_in(going[~kept], trial[~kept], held)
            found.append(going[~kept])
            going = going[kept]
            held[going] = trial[kept]
        every = np.sort(np.concatenate(found))
        return every, held[every]

    def _close_in(self, rows: np.ndarray, lost: Floats, held: Floats) -> None:
        """Bring the speeds `held` of rows next to where the floor breaks, between there and `lost`."""
        for _ in range(int(np.ceil(np.log2(STEP / _CLOSE)))):
            middle = 0.5 * (held[rows] + lost)
            kept = self.holds(rows, middle)
            held[rows], lost = np.where(kept, middle, held[rows]), np.where(kept, lost, middle)

    def stretch(self, rows: np.ndarray, first: Floats, last: Floats) -> tuple[Floats, Floats]:
        """Metres and seconds between two speeds, (rows) each."""
        if rows.size == 0:
            return np.empty(0), np.empty(0)
        path = Path(self.search.project.car, self.search.cases.records[rows])
        metres, seconds = stretch(lambda speed: -path.slowing(speed), first, last)
        return metres[0], seconds[0]
