"""Logs beside the model, the model corrected, and the next run: the whole of `setupopt learn`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from setupopt.errors import UserError
from setupopt.evaluation.cases import sweep_cases
from setupopt.jobs.chunk_ranges import Progress
from setupopt.learn.channels import read_map
from setupopt.learn.corrected import Correction, corrected, known_before
from setupopt.learn.estimate import Posterior, estimate, leave_out, residuals
from setupopt.learn.grip import Grip, grip_of
from setupopt.learn.log import Log, read_log
from setupopt.learn.model import (
    Predictor,
    car_of,
    given,
    parameters,
    prior,
    stretches,
)
from setupopt.learn.next_step import Next, Planned, next_step, plain_runs
from setupopt.learn.suspects import refuse_clocks, refuse_suspects
from setupopt.learn.way import Way, way
from setupopt.project.model import Project

STEPS = 4  # of progress
_FEWEST = 5  # quasi-steady seconds
_FAR = 2.0  # times the fastest speed of the venue: mostly km/h as m/s
_PARTS = 4  # of a single log, left out in turn
_POOR = 2.0  # rms of a part that is predicted by the others


@dataclass(frozen=True)
class LearnOptions:
    """Options of `learn`. `channels`: a map file. `chance`: most of a margin under `floor` in the next run.

    `runs`: the test programme on the corrected project; None for runs straight up the sweep.
    """

    channels: str | None = None
    chance: float = 0.01
    floor: float = 0.0
    runs: Callable[[Project], Sequence[Planned]] = plain_runs


@dataclass(frozen=True)
class Learned:
    """What logs show.

    `rows`: the compared seconds, as `model.stretches` has them; `unheld`: steady seconds in which the model's
    car does not hold. `residuals` and `left_out`: frames of `estimate`. `before`: the runs as they looked
    before the logs. `worst`: lowest margin of the venue's own sweep with the project's car and with the
    corrected one.
    """

    project: Project
    options: LearnOptions
    ways: list[Way]
    rows: Any
    unheld: int
    found: Posterior
    residuals: Any
    left_out: Any
    grip: Grip
    correction: Correction
    before: Next
    next: Next
    worst: list[float]

    @property
    def agrees(self) -> bool:
        """Whether every part of the logs is predicted by the others."""
        return bool((self.left_out["rms"] < _POOR).all())

    @property
    def holds(self) -> bool:
        """Whether a next run is safe enough, today's setup keeps the minimum, and the logs agree."""
        return (
            self.next.run is not None
            and self.agrees
            and self.worst[1] >= self.options.floor
        )


def _enter_odd_speed(project: Project, run: Log) -> None:
    """Enter a speed far over all that the venue is driven at: mostly one in another unit."""
    if "speed" not in run.used:
        return
    venue = project.venue
    own = (attitude.speed or 0.0 for attitude in venue.attitudes)
    fastest = max(venue.sweep.speed, *own)
    usual = float(run.mean["speed"].median())
    if usual > _FAR * fastest:
        found = f"{usual:.0f} m/s most of the time, venue.toml has up to {fastest:.0f} m/s"
        run.enter("speed", [2], found, "taken as it is; is the unit right?")


def learn(
    project: Project, logs: Sequence[str | Path], options: LearnOptions | None = None,
    progress: Progress | None = None,
) -> Learned:  # fmt: skip
    """Logs beside the project's car on its setup. Raises UserError for logs that cannot be used."""
    options = options or LearnOptions()
    tell = progress or (lambda _: None)
    mapped = read_map(options.channels)
    ways = [way(read_log(Path(path), mapped), project.venue) for path in logs]
    those = parameters(project, ways)
    for own in ways:
        _enter_odd_speed(project, own.run)
        refuse_clocks(project, those, own)
    tell(1)
    predict = Predictor(project, those, stretches(ways))
    log = predict.rows["log"].to_numpy()
    if len(log) < _FEWEST:
        found_words = (
            f"{len(log)} quasi-steady seconds in which the model's car holds"
        )
        raise UserError(
            f"{', '.join(map(str, logs))}: found {found_words}, expected {_FEWEST} and more"
        )
    known = known_before(project, those, prior(those))
    those["prior"] = np.sqrt(np.diag(known))
    found = estimate(
        predict,
        those,
        known,
        lambda first: refuse_suspects(first, ways, predict.rows),
    )
    tell(1)
    change = corrected(project, found)
    grip = grip_of(change.project, predict, found)
    runs = options.runs(change.project)
    if not runs:
        raise UserError(
            "the test programme of the corrected car has no run that keeps its limits"
        )
    asked = (predict.cases({}).records, options.floor, options.chance, runs)
    names = list(change.values)
    first = pd.DataFrame(known[: len(names), : len(names)], names, names)
    before = next_step(project, _uncertain(project, first, None), *asked)
    step = next_step(
        change.project,
        _uncertain(project, change.covariance, grip.error),
        *asked,
    )
    tell(1)
    worst = [_worst(project), _worst(change.project)]
    tell(1)
    group = predict.rows.index.get_level_values("run").to_numpy()
    names = [Path(path).name for path in logs]
    if len(ways) == 1:
        group = np.arange(len(log)) * _PARTS // len(log)
        names = [f"part {part + 1} of {_PARTS}" for part in range(_PARTS)]
    return Learned(
        project, options, ways, predict.rows, predict.unheld, found, residuals(found, predict.channels),
        leave_out(found, group, names), grip, change, before, step, worst,
    )  # fmt: skip


def _worst(project: Project) -> float:
    """The lowest margin of the venue's own sweep; minus infinity where contact is lost."""
    model, settings = car_of(project, {})
    return float(
        model.run(settings, sweep_cases(project.venue)).worst_margin[0]
    )


def _uncertain(project: Project, car: Any, grip: float | None) -> Any:
    """Covariance of what margins hang on: the car, and friction; `grip`: error of that where it is known."""
    errors = {
        name: 0.5 * (given(project, name) or 0.0)
        for name in ("surface_grip", "tyre_friction")
    }
    errors["surface_grip"] = errors["surface_grip"] if grip is None else grip
    friction = pd.Series(errors)[lambda one: one > 0.0]
    both = pd.concat(
        [
            car,
            pd.DataFrame(np.diag(friction**2), friction.index, friction.index),
        ]
    )
    return both.fillna(0.0)
