"""What may be driven next: margins of the runs of a test programme with what is left uncertain after the log.

The margin of a case is taken as normal about that of the corrected car, its error from the slopes by every
uncertain value; the chance of a margin under the minimum is that of the worst case of a run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import norm

from setupopt.evaluation.cases import CaseSet, join, placed_cases, sweep_at
from setupopt.evaluation.result import Result
from setupopt.learn.model import car_of, differences
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.units import DEG

STEP = 15.0 * DEG  # between the runs of a project without [route]
_DRIVEN = (2.0 * DEG, 0.97)  # a run counts as driven with that much less angle, and that share of its speed


@dataclass(frozen=True)
class Uncertain:
    """What is left uncertain: names, and the covariance of their deviations from the corrected car, shares.

    `surface_grip` and `tyre_friction` are among them where [spread] has them.
    """

    names: list[str]
    covariance: Floats


@dataclass(frozen=True)
class TestRun:
    """A run of the programme, SI: the case with the highest chance of a margin under the minimum.

    `margin` is minus infinity where contact is lost; `error`: its standard error.
    """

    roll_angle: float
    speed: float
    attitude: str
    margin: float
    error: float
    chance: float
    driven: bool


@dataclass(frozen=True)
class Next:
    """Runs in order, and which is next: None where the first one that was not driven is not safe enough.

    `reach`: the highest roll angle up to which every run keeps the chance; None where none does.
    """

    runs: list[TestRun]
    run: TestRun | None
    reach: float | None


def margins(project: Project, cases: CaseSet, left: Uncertain) -> tuple[Result, Floats]:
    """Answers of the project's car in cases, and the standard error of each margin, (cases)."""
    model, settings = car_of(project, {})
    result = model.run(settings, cases)
    grip = [left.names.index(name) for name in ("surface_grip",) if name in left.names]

    def margin(theta: Floats) -> Floats:
        values = dict(zip(left.names, theta.tolist(), strict=True))
        moved, own = car_of(project, values)
        records = cases.records.copy()
        records["surface_grip"] *= 1.0 + sum(theta[row] for row in grip)
        near = moved.run(own, replace(cases, records=records), result.answers[0], by_slope=True)
        return near.search_margin[0]

    errors = np.sqrt(np.diag(left.covariance))
    slopes = differences(margin, np.zeros(errors.size), result.search_margin[0], errors)
    return result, np.sqrt(np.einsum("ci,ij,cj->c", slopes, left.covariance, slopes))


def plain_runs(project: Project) -> list[tuple[float, float, CaseSet]]:
    """Roll angle, speed and cases of runs straight up the sweep, each in every attitude of the venue."""
    venue = project.venue
    at = sweep_at(venue)
    count = np.arange(len(venue.attitudes))
    angles = placed_cases(venue, np.zeros(at.size, dtype=int), at).records["roll_angle"]
    chosen = [int(np.abs(angles - angle).argmin()) for angle in np.arange(0.0, np.abs(angles).max() + 1e-6, STEP)]
    rows = sorted(set(chosen), key=lambda row: abs(angles[row]))
    return [
        (float(angles[row]), venue.sweep.speed, placed_cases(venue, count, np.full(count.size, at[row])))
        for row in rows
    ]


def next_step(
    project: Project, left: Uncertain, driven: Sequence[tuple[float, float]], floor: float, chance: float,
    runs: Sequence[tuple[float, float, CaseSet]] | None = None,
) -> Next:  # fmt: skip
    """The runs of the programme on the corrected project, and the next one.

    `driven`: roll angles and speeds of the log's steady seconds. `chance`: most of a margin under `floor`.
    """
    steps = plain_runs(project) if runs is None else runs
    whole = steps[0][2]
    for _, _, cases in steps[1:]:
        whole = join(whole, cases)
    result, errors = margins(project, whole, left)
    margin = result.safe_margin[0]
    risk = np.where(np.isfinite(margin), norm.cdf((floor - margin) / np.maximum(errors, 1e-6)), 1.0)
    found: list[TestRun] = []
    first = 0
    for angle, speed, cases in steps:
        worst = first + int(risk[first : first + len(cases)].argmax())
        first += len(cases)
        was = any(abs(a) > abs(angle) - _DRIVEN[0] and v > _DRIVEN[1] * speed for a, v in driven)
        numbers = (float(margin[worst]), float(errors[worst]), float(risk[worst]))
        found.append(TestRun(angle, speed, whole.attitude[worst], *numbers, was))
    safe = [run.chance <= chance for run in found]
    count = safe.index(False) if False in safe else len(safe)
    later = [run for run in found[:count] if not run.driven]
    return Next(found, later[0] if later else None, found[count - 1].roll_angle if count else None)
