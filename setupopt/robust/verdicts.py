"""Every requirement of a proof: how much is stood, what breaks first and what to change."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from setupopt.physics.jit import workers
from setupopt.project.model import Setup
from setupopt.robust.builds.study import BoxStudy
from setupopt.robust.builds.worst_build import SCALES
from setupopt.robust.robustness import RobustnessReport
from setupopt.robust.verdict import (
    Verdict,
    change_for,
    first_axle,
    grazing,
    steadily,
)
from setupopt.robust.verdict_in_motion import IN_MOTION, faults


def verdicts(proof: RobustnessReport) -> tuple[Verdict, ...]:
    """Every row, the broken ones first."""
    if proof.steps.steps:
        proof.steps.steady  # noqa: B018 - known to all threads before they ask
    makers = (_as_set, _build, _inputs, *IN_MOTION)
    with ThreadPoolExecutor(workers()) as pool:
        found = list(pool.map(lambda make: make(proof), makers))
    found += faults(proof)
    rows = [
        replace(verdict, how=verdict.how + grazing(proof, verdict.row))
        for verdict in found
        if verdict is not None
    ]
    return tuple(sorted(rows, key=lambda verdict: verdict.holds is not False))


def _as_set(proof: RobustnessReport) -> Verdict:
    row = int(proof.steady.worst[0])
    floor = proof.plan.floor
    margin = float(proof.steady.worst_margin[0])
    stands = margin if np.isfinite(margin) else None
    return Verdict(
        "margin as set", "margin", stands, floor, margin >= floor, row, first_axle(proof, row),
        change_for(proof, steadily(proof, row)),
    )  # fmt: skip


def _build(proof: RobustnessReport) -> Verdict:
    return _box(proof, "build error", "times", proof.build.build)


def _inputs(proof: RobustnessReport) -> Verdict | None:
    study = proof.build.inputs
    return (
        None
        if study is None
        else _box(proof, "uncertain inputs", "times", study)
    )


def _box(
    proof: RobustnessReport, what: str, unit: str, study: BoxStudy
) -> Verdict:
    """A box of errors; its worst corner must keep the floor."""
    worst, case = study.worst, proof.steady.cases.pick([study.worst.case])

    def measure(setup: Setup) -> float:
        errors = np.array(list(worst.errors.values()))
        return float(
            replace(study.errors, setup=setup)
            .result(errors, case)
            .safe_margin[0, 0]
        )

    costly = ", ".join(
        f"{cost.name} {cost.error:+g}" for cost in worst.costs[:2]
    )
    how = (
        f"worst margin {worst.margin:.3f}"
        if np.isfinite(worst.margin)
        else "contact is lost"
    )
    return Verdict(
        what, unit, study.stands if study.stands < SCALES[-1] else None, 1.0,
        worst.margin >= proof.plan.floor, worst.case, f"{how}; costliest: {costly}" if costly else how,
        change_for(proof, measure),
    )  # fmt: skip
