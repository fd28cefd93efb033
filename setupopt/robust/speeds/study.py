"""At which speeds a setup is safe: windows, margin against speed, run-up, and loss of drive."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.limits_check import Broken
from setupopt.evaluation.result import Result, html_table
from setupopt.jobs.chunk_ranges import Progress
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.robust.speeds.at_speed import scanned_speeds
from setupopt.robust.speeds.coast import Coasting, coast
from setupopt.robust.speeds.motion import RunUp, run_up
from setupopt.robust.speeds.window import SafeWindow, WindowSearch

# Every case is solved at every so many speeds of the scan.
_STRIDE = 4


@dataclass(frozen=True)
class SpeedOptions:
    """Options of `speeds`. `floor`: minimum margin that a safe speed must keep."""

    floor: float = 0.0


@dataclass(frozen=True)
class SpeedStudy:
    """The project's setup at all speeds of the scan, m/s; attitudes with a speed of their own keep it.

    `margin` (speeds, attitudes) is the least over the roll angles, minus infinity where contact is lost;
    `angle` (speeds, attitudes), rad, is where. `broken` (speeds): what each speed breaks. `at_rest`:
    limits that the car breaks on the pad, at any speed. `missing`: the entry that power and `run_up` need
    and that is not given; empty where it is.
    """

    project: Project
    options: SpeedOptions
    speeds: Floats
    attitudes: tuple[str, ...]
    margin: Floats
    angle: Floats
    broken: tuple[tuple[Broken, ...], ...]
    at_rest: tuple[Broken, ...]
    windows: tuple[SafeWindow, ...]
    run_up: RunUp | None
    missing: str
    coasting: Coasting

    def _repr_html_(self) -> str:
        """For notebooks: the worst margin at every speed, and what it breaks."""
        rows = [
            {
                "speed_m_s": float(speed),
                "margin": float(margin.min()),
                "attitude": self.attitudes[int(margin.argmin())],
                "broken": ", ".join(dict.fromkeys(x.limit for x in broken)),
            }
            for speed, margin, broken in zip(
                self.speeds, self.margin, self.broken, strict=True
            )
        ]
        return html_table(rows)

    @property
    def setup(self) -> Setup:
        """The setup of the study."""
        return self.project.setup

    @property
    def floor(self) -> float:
        """Minimum margin."""
        return self.options.floor

    @property
    def driven(self) -> float:
        """The sweep's own speed, m/s."""
        return self.project.venue.sweep.speed

    @property
    def window(self) -> SafeWindow | None:
        """The window with the sweep's own speed in it."""
        inside = (
            w
            for w in self.windows
            if w.low.speed <= self.driven <= w.high.speed
        )
        return next(inside, None)

    @property
    def at_driven(self) -> tuple[Broken, ...]:
        """What breaks at the sweep's own speed."""
        return self.broken[int(np.abs(self.speeds - self.driven).argmin())]

    @property
    def holds(self) -> bool:
        """Whether the sweep's own speed is safe."""
        return self.window is not None and not self.at_rest

    @property
    def cases(self) -> int:
        """The number of cases (roll angles and attitudes) at each speed."""
        return len(self.coasting.cases)


def study_speeds(
    project: Project,
    options: SpeedOptions | None = None,
    progress: Progress | None = None,
) -> SpeedStudy:
    """Safe windows, run-up and loss of drive of the project's setup.

    `progress` is called with the number of `scanned_speeds` just finished. Raises UserError where the setup
    names a body that does not exist. A missing power is reported in the study, not raised.
    """
    options = options or SpeedOptions()
    project = with_body(project, project.setup.body)
    search = WindowSearch(project, options.floor)
    speeds = scanned_speeds(project.venue.sweep.speed)
    margin, angle, found = _scan(search, speeds, progress)
    driven = tuple(
        tuple(limit for limit in limits if limit.case is not None)
        for limits in found
    )
    at_rest = tuple(limit for limit in found[0] if limit.case is None)
    found_run_up, missing = _run_up(project)
    return SpeedStudy(
        project, options, speeds, search.cases.attitudes, margin, angle, driven, at_rest,
        search.windows(speeds, driven), found_run_up, missing, coast(search, options.floor),
    )  # fmt: skip


def _run_up(project: Project) -> tuple[RunUp | None, str]:
    """The run-up, or the entry that it needs."""
    try:
        return run_up(project), ""
    except InputError as missing:
        return None, str(missing)


def _scan(
    search: WindowSearch,
    speeds: Floats,
    progress: Progress | None,
) -> tuple[Floats, Floats, list[tuple[Broken, ...]]]:
    """Least margin and its angle (speeds, attitudes), and what breaks (speeds)."""
    shape = len(search.cases.attitudes), search.cases.angles.size
    margin = np.zeros((speeds.size, shape[0]))
    worst = np.zeros((speeds.size, shape[0]), dtype=int)
    found: list[tuple[Broken, ...]] = [()] * speeds.size
    for row, result in _outwards(search, speeds):
        margin[row] = result.safe_margin.reshape(shape).min(axis=1)
        worst[row] = result.ranked.reshape(shape).argmin(axis=1)
        found[row] = search.broken_in(result)
        if progress is not None:
            progress(1)
    return margin, search.cases.angles[worst], found


def _outwards(
    search: WindowSearch, speeds: Floats
) -> Iterator[tuple[int, Result]]:
    """Each row of the speeds with its result, from the sweep's own speed down and up.

    Every case is solved at one speed of `_STRIDE`; in between slopes choose what is solved.
    """
    driven = int(np.abs(speeds - search.project.venue.sweep.speed).argmin())
    first = search.result(float(speeds[driven]))
    yield driven, first
    for rows in (range(driven - 1, -1, -1), range(driven + 1, speeds.size)):
        start = first
        for count, row in enumerate(rows, 1):
            speed = float(speeds[row])
            if count % _STRIDE:
                yield row, search.near(speed, start)
            else:
                start = search.result(speed)
                yield row, start
