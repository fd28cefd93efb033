"""Logs beside the model, the model corrected, and the next run: the whole of `setupopt learn`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.learn.channels import read_map
from setupopt.learn.corrected import Correction, corrected, known_before
from setupopt.learn.estimate import LeftOut, Posterior, estimate, leave_out
from setupopt.learn.explain import Residual, residuals
from setupopt.learn.grip import Grip, grip_of
from setupopt.learn.log import Finding, read_log
from setupopt.learn.model import Predictor, Stretches, car_of, correlations, parameters, stretches
from setupopt.learn.next_step import Next, Uncertain, next_step
from setupopt.learn.suspects import refuse_clocks, refuse_suspects
from setupopt.learn.way import Way, way
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project

STEPS = 6  # of progress
_FEWEST = 5  # quasi-steady seconds
_PARTS = 4  # of a single log, left out in turn
_POOR = 2.0  # rms of a part that is predicted by the others


@dataclass(frozen=True)
class LearnOptions:
    """Options of `learn`. `channels`: a map file. `chance`: most of a margin under `floor` in the next run."""

    channels: str | None = None
    chance: float = 0.01
    floor: float = 0.0
    runs: Sequence[tuple[float, float, CaseSet]] | None = None


@dataclass(frozen=True)
class Learned:
    """What logs show.

    `unheld`: steady seconds in which the model's car does not hold; `worst`: lowest margin of the venue's own
    sweep with the project's car and with the corrected one, minus infinity where contact is lost.
    """

    project: Project
    options: LearnOptions
    ways: list[Way]
    findings: list[Finding]
    rows: Stretches
    unheld: int
    found: Posterior
    residuals: list[Residual]
    left_out: list[LeftOut]
    grip: Grip
    correction: Correction
    next: Next
    worst: tuple[float, float]

    @property
    def holds(self) -> bool:
        """Whether a next run is safe enough, today's setup keeps the minimum, and the logs agree."""
        return self.next.run is not None and self.agrees and self.worst[1] >= self.options.floor

    @property
    def starts(self) -> Floats:
        """Way of all runs before each one, (runs), m."""
        return np.cumsum([0.0, *(way.driven[-1] for way in self.ways[:-1])])

    @property
    def agrees(self) -> bool:
        """Whether every part of the logs is predicted by the others."""
        return all(part.rms < _POOR for part in self.left_out)


def learn(
    project: Project, logs: Sequence[str | Path], options: LearnOptions | None = None,
    progress: Callable[[int], object] | None = None,
) -> Learned:  # fmt: skip
    """Logs beside the project's car on its setup. Raises UserError for logs that cannot be used."""
    options = options or LearnOptions()
    tell = progress or (lambda _: None)
    mapped = read_map(options.channels)
    runs = [read_log(Path(path), mapped) for path in logs]
    ways = [way(run, project.venue) for run in runs]
    for run, own in zip(runs, ways, strict=True):
        refuse_clocks(run, own)
    tell(1)
    those = parameters(project, ways)
    errors = np.array([one.error for one in those])
    before = known_before(project, those, correlations(those) * np.outer(errors, errors))
    rows, unheld = _held(project, ways)
    predict = Predictor(project, those, rows)
    tell(1)
    found = estimate(predict, those, before, lambda first: refuse_suspects(first, rows, ways))
    tell(1)
    change = corrected(project, found)
    grip = grip_of(change.project, project, predict, found)
    left = _uncertain(project, change, grip)
    tell(1)
    driven = _driven(predict)
    step = next_step(change.project, left, driven, options.floor, options.chance, options.runs)
    tell(1)
    worst = (_worst(project), _worst(change.project))
    tell(1)
    findings = [one for run in runs for one in run.findings]
    return Learned(
        project, options, ways, findings, rows, unheld, found, residuals(found, rows),
        _left_out(found, rows, ways), grip, change, step, worst,
    )  # fmt: skip


def _held(project: Project, ways: list[Way]) -> tuple[Stretches, int]:
    """Steady seconds in which the model's car holds, and how many others there are."""
    rows = stretches(ways)
    is_held = Predictor(project, [], rows).is_held
    if is_held.sum() < _FEWEST:
        found = f"{is_held.sum()} quasi-steady seconds in which the model's car holds"
        raise UserError(f"{ways[0].run.path}: found {found}, expected at least {_FEWEST}")
    return rows.pick(np.flatnonzero(is_held)), int((~is_held).sum())


def _worst(project: Project) -> float:
    """The lowest margin of the venue's own sweep; minus infinity where contact is lost."""
    model, settings = car_of(project, {})
    return float(model.run(settings, sweep_cases(project.venue)).worst_margin[0])


def _driven(predict: Predictor) -> list[tuple[float, float]]:
    cases = predict.cases({}).records
    return list(zip(cases["roll_angle"].tolist(), cases["speed"].tolist(), strict=True))


def _left_out(found: Posterior, rows: Stretches, ways: list[Way]) -> list[LeftOut]:
    """Runs left out in turn; of a single one its parts."""
    if len(ways) > 1:
        return leave_out(found, rows.run, [way.run.path.name for way in ways])
    group = np.arange(rows.run.size) * _PARTS // rows.run.size
    return leave_out(found, group, [f"part {part + 1} of {_PARTS}" for part in range(_PARTS)])


def _uncertain(project: Project, change: Correction, grip: Grip) -> Uncertain:
    """What the margins of the next runs hang on: the car's values, and friction as [spread] has it."""
    spread = project.limits.spread if project.limits else None
    friction = {name: getattr(spread, name, None) for name in ("surface_grip", "tyre_friction")}
    if grip.error is not None:
        friction["surface_grip"] = 2.0 * grip.error
    known = {name: 0.5 * share for name, share in friction.items() if share}
    names = [*change.values, *known]
    covariance: Floats = np.zeros((len(names),) * 2)
    count = len(change.values)
    covariance[:count, :count] = change.covariance
    covariance[range(count, len(names)), range(count, len(names))] = np.array(list(known.values())) ** 2
    return Uncertain(names, covariance)
