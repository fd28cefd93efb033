"""All about build error and uncertain inputs: worst builds, how large a box is stood, and a cloud."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import Chunks, chunk_ranges
from setupopt.physics.jit import workers
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.builds.quasi_monte_carlo import (
    BuildCloud,
    MarginDistribution,
)
from setupopt.robust.builds.worst_build import WorstBuild, stands, worst_build

_BUILDS_A_CHUNK = 256


class BoxStudy(NamedTuple):
    """One box of errors: the worst build found in it, and how many times the box the setup stands."""

    errors: BuildErrors
    worst: WorstBuild
    stands: float


@dataclass(frozen=True)
class BuildStudy:
    """What the mechanics can hold, what is uncertain, and both together as a cloud of builds.

    `inputs` and `both` are None where limits.toml calls no input uncertain.
    """

    build: BoxStudy
    inputs: BoxStudy | None
    both: WorstBuild | None
    cloud: MarginDistribution


def study_build(
    errors: BuildErrors,
    cases: CaseSet,
    floor: float,
    samples: int,
    seed: int,
    chunks: Chunks,
) -> BuildStudy:
    """Everything about one setup's errors. `errors` holds a tolerance; `seed` that of the cloud."""
    cloud, do = MarginDistribution(), BuildCloud(errors, cases, seed)
    for margins in chunks(
        "builds", "builds", do, chunk_ranges(samples, _BUILDS_A_CHUNK)
    ):
        cloud.add(margins)
    with ThreadPoolExecutor(workers()) as pool:
        build = pool.submit(_box, errors.build_alone(), cases, floor)
        if not errors.shares:
            return BuildStudy(build.result(), None, None, cloud)
        inputs = pool.submit(_box, errors.inputs_alone(), cases, floor)
        both = pool.submit(worst_build, errors, cases)
        return BuildStudy(build.result(), inputs.result(), both.result(), cloud)


def _box(errors: BuildErrors, cases: CaseSet, floor: float) -> BoxStudy:
    worst = worst_build(errors, cases)
    return BoxStudy(errors, worst, stands(errors, cases, floor, worst))
