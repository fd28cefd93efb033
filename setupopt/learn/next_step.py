"""What may be driven next: margins of the runs of a test programme with what is left uncertain after the log.

The margin of a case is taken as normal about that of the corrected car, its error from the slopes by every
uncertain value; the chance of a margin under the minimum is that of the worst case of a run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import norm

from setupopt.evaluation.cases import CaseSet, join, placed_cases, sweep_at
from setupopt.learn.model import car_of, differences
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.units import DEG

STEP = 15.0 * DEG  # between runs straight up the sweep
_DRIVEN = (
    2.0 * DEG,
    0.97,
)  # a run counts as driven with that much less angle, and that share of its speed


class Planned(NamedTuple):
    """A run of a test programme: its highest roll angle, rad, entry speed, m/s, and cases."""

    roll_angle: float
    speed: float
    cases: CaseSet


@dataclass(frozen=True)
class Next:
    """The runs of a programme: a frame in their order, SI, with the case that has the highest `chance` of a
    margin under the minimum, its `margin` (minus infinity where contact is lost) and that one's `error`.

    `run`: the row of the next one, None where no run that is not driven yet keeps the chance with all before
    it. `reach`: the highest roll angle up to which every run keeps it; None where none does.
    """

    runs: Any
    run: int | None
    reach: float | None


def _errors(
    project: Project, cases: CaseSet, answers: Any, left: Any
) -> Floats:
    """Standard error of each margin, (cases), from `left`, a covariance with names."""
    base = answers.search_margin[0]

    def margin(theta: Floats) -> Floats:
        values = dict(zip(left.index, theta.tolist(), strict=True))
        model, settings = car_of(project, values)
        records = cases.records.copy()
        records["surface_grip"] *= 1.0 + values.get("surface_grip", 0.0)
        near = replace(cases, source=records)
        return model.run(
            settings, near, answers.answers[0], by_slope=True
        ).search_margin[0]

    slopes = differences(
        margin, np.zeros(len(left)), base, np.sqrt(np.diag(left))
    )
    return np.sqrt(np.einsum("ci,ij,cj->c", slopes, left.to_numpy(), slopes))


def plain_runs(project: Project) -> list[Planned]:
    """Runs straight up the sweep at its speed, in every attitude of the venue."""
    venue = project.venue
    at = sweep_at(venue)
    angles = placed_cases(venue, np.zeros(at.size, dtype=int), at).records[
        "roll_angle"
    ]
    steps = np.arange(0.0, np.abs(angles).max() + 1e-6, STEP)
    rows = dict.fromkeys(
        int(np.abs(np.abs(angles) - step).argmin()) for step in steps
    )
    every = np.arange(len(venue.attitudes))
    cases = [
        placed_cases(venue, every, np.full(every.size, at[row])) for row in rows
    ]
    return [
        Planned(float(angles[row]), venue.sweep.speed, some)
        for row, some in zip(rows, cases, strict=True)
    ]


def _is_driven(run: Planned, driven: Any) -> bool:
    """Whether a log has been as high as a run, as fast as that is there."""
    least = abs(run.roll_angle) - _DRIVEN[0]
    speed = run.cases.records["speed"][
        np.abs(run.cases.records["roll_angle"]) > least
    ].min(initial=run.speed)
    there = driven[np.abs(driven["roll_angle"]) > least]
    return bool((there["speed"] > _DRIVEN[1] * speed).any())


def route_runs(project: Project) -> list[Planned]:
    """The test programme that leads to the goal of [route], each run on its own best route.

    It takes minutes; finished routes are kept, and a run that was stopped goes on from there.
    """
    from setupopt.jobs.store import Store
    from setupopt.route.goal import RouteOptions
    from setupopt.route.programme import programme
    from setupopt.search.study_name import study_name

    store = Store.open(study_name(project, "learn"))
    runs = programme(project, RouteOptions(), lambda _: None, store).runs
    store.finish()
    return [
        Planned(run.roll_angle, run.speed, run.study.judged.result.cases)
        for run in runs
    ]


def next_step(
    project: Project,
    left: Any,
    driven: Any,
    floor: float,
    chance: float,
    runs: Sequence[Planned],
) -> Next:
    """The runs on the corrected project, and the next one.

    `left`: covariance of what is uncertain, a frame by name. `driven`: records of cases that the log has.
    `chance`: most of a margin under `floor`.
    """
    cases = reduce(join, (run.cases for run in runs))
    model, settings = car_of(project, {})
    result = model.run(settings, cases)
    table = pd.DataFrame(
        {"attitude": cases.attitude, "margin": result.safe_margin[0]}
    )
    table["error"] = np.maximum(_errors(project, cases, result, left), 1e-6)
    table["chance"] = norm.cdf((floor - table["margin"]) / table["error"])
    table["run"] = np.repeat(
        np.arange(len(runs)), [len(run.cases) for run in runs]
    )
    found = (
        table.loc[table.groupby("run")["chance"].idxmax()]
        .reset_index(drop=True)
        .drop(columns="run")
    )
    found["roll_angle"], found["speed"] = np.array(
        [(run.roll_angle, run.speed) for run in runs]
    ).T
    found["driven"] = [_is_driven(run, driven) for run in runs]
    safe = found[(found["chance"] <= chance).cummin()]
    later = safe.index[~safe["driven"]]
    reach = None if safe.empty else float(safe["roll_angle"].iloc[-1])
    return Next(found, int(later[0]) if later.size else None, reach)
