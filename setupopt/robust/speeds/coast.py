"""Loss of drive: how long a coasting car keeps the minimum margin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats
from setupopt.robust.bisection import bisect
from setupopt.robust.speeds.at_speed import STEP, AtSpeed
from setupopt.robust.speeds.motion import PathForces, distance_and_time

_SPEED_TOLERANCE = 0.01  # m/s
# A margin by slope is off by less than this and so much of its change from the start.
_SLACK = 0.02
_SHARE = 0.5
_HALVINGS = int(np.ceil(np.log2(STEP / _SPEED_TOLERANCE)))


@dataclass(frozen=True)
class Coasting:
    """Every case of the sweep from its own speed without drive; (cases) each, SI.

    `driven`: the case needs drive, so that drive can be lost. `seconds`, `metres` until the margin falls
    below its minimum at the same roll angle and attitude, and the `speed` then: infinite (the speed not a
    number) where it never does, not a number where the case needs no drive.
    """

    cases: CaseSet
    driven: np.ndarray
    seconds: Floats
    metres: Floats
    speed: Floats

    @property
    def worst(self) -> int | None:
        """The case with the least time; None where no case is driven or all keep their margin."""
        timed = np.where(self.driven, self.seconds, np.inf)
        row = int(timed.argmin())
        return row if np.isfinite(timed[row]) else None

    def least_by_angle(self) -> list[int]:
        """The driven case with the least time at each roll angle, in the order of the angles."""
        timed = np.where(self.driven, self.seconds, np.inf)
        angles = self.cases.records["roll_angle"]
        rows = np.flatnonzero(self.driven)
        groups = [rows[angles[rows] == one] for one in np.unique(angles[rows])]
        return [int(group[timed[group].argmin()]) for group in groups]


def coast(search: AtSpeed, floor: float) -> Coasting:
    """Every driven case coasts, slowed by drag and by gravity along its path, at its own angle and attitude.

    Speeds change in steps of 1 m/s; the first that falls below `floor`, the minimum margin, is found to
    0.01 m/s.
    """
    cases = search.cases
    coaster = _Coaster(search, floor)
    start = cases.records["speed"].astype(float)
    driven = (
        coaster.path.deceleration(start) + cases.records["acceleration"] > 0.0
    )
    seconds = np.where(driven, np.inf, np.nan)
    metres = seconds.copy()
    speed = np.full(start.size, np.nan)
    rows, kept = coaster.until_broken(np.flatnonzero(driven), start)
    speed[rows] = kept
    if rows.size:
        path = coaster.path_of(rows)
        distance, time = distance_and_time(
            lambda v: -path.deceleration(v), start[rows], kept
        )
        metres[rows] = distance[0]
        seconds[rows] = time[0]
    return Coasting(cases, driven, seconds, metres, speed)


class _Coaster:
    """Cases without drive, by their rows in the sweep."""

    def __init__(self, search: AtSpeed, floor: float) -> None:
        self.search = search
        self.floor = floor
        self.path = PathForces(search.project, search.cases.records)
        # Answers (cases) at the last speed that was solved and kept the margin; at first the driven ones.
        self.kept = search.model.run(search.settings, search.cases).answers[0]

    def path_of(self, rows: np.ndarray) -> PathForces:
        """What acts along the path of some cases."""
        return PathForces(self.search.project, self.search.cases.records[rows])

    def keeps(self, rows: np.ndarray, speed: Floats) -> np.ndarray:
        """Whether rows that coast at speeds keep contact and the minimum margin.

        By the slopes of the last answers that kept it where that leaves no doubt, else by the model.
        """
        cases = self.search.cases.pick(rows)
        cases.records["speed"] = speed
        cases.records["acceleration"] = -self.path_of(rows).deceleration(speed)
        starts = self.kept[rows]
        near = self.search.model.run(
            self.search.settings, cases, starts, by_slope=True
        ).safe_margin[0]
        kept = (
            near - _SLACK - _SHARE * np.abs(near - starts["margin"])
            > self.floor
        )
        unsure = np.flatnonzero(~kept)
        if unsure.size:
            solved = self.search.model.run(
                self.search.settings, cases.pick(unsure), starts[unsure]
            )
            answers = solved.answers[0]
            passed = answers["contact"] & (answers["margin"] >= self.floor)
            kept[unsure] = passed
            self.kept[rows[unsure[passed]]] = answers[passed]
        return np.asarray(kept)

    def until_broken(
        self, rows: np.ndarray, start: Floats
    ) -> tuple[np.ndarray, Floats]:
        """The rows whose margin falls below its minimum, and the last speed at which each keeps it."""
        broken_at_once = rows[~self.keeps(rows, start[rows])]
        going = np.setdiff1d(rows, broken_at_once)
        last = start.copy()
        found = [broken_at_once]
        step = np.where(self.path.deceleration(start) > 0.0, -STEP, STEP)
        while going.size:
            trial = np.maximum(last[going] + step[going], 0.0)
            # A car that stands, or goes as fast as gravity lets it, changes no more.
            slowing = self.path_of(going).deceleration(trial)
            settles = (last[going] == 0.0) | (step[going] * slowing >= 0.0)
            going = going[~settles]
            trial = trial[~settles]
            kept = self.keeps(going, trial)
            self._refine(going[~kept], trial[~kept], last)
            found.append(going[~kept])
            going = going[kept]
            last[going] = trial[kept]
        every = np.sort(np.concatenate(found))
        return every, last[every]

    def _refine(self, rows: np.ndarray, lost: Floats, last: Floats) -> None:
        """Move the speeds `last` of rows next to where the margin falls, between there and `lost`."""
        last[rows], _ = bisect(
            lambda speed: self.keeps(rows, speed), last[rows], lost, _HALVINGS
        )
