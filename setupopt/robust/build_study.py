"""All about build error and uncertain inputs: worst builds, how large a box is stood, and a cloud."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from setupopt.cases import CaseSet
from setupopt.physics.inputs import Floats
from setupopt.robust.build_cloud import BuildCloud, Cloud, cloud_jobs
from setupopt.robust.tolerance import BuildErrors, WorstBuild, stands, worst_build

# As the shop of `proving`: name, words for the user, work, its jobs; gives the results in order.
Chunks = Callable[[str, str, Callable[..., Floats], Sequence], Iterator[Floats]]


@dataclass(frozen=True)
class BoxStudy:
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
    cloud: Cloud


def study_build(
    errors: BuildErrors, cases: CaseSet, floor: float, samples: int, seed: int, chunks: Chunks
) -> BuildStudy:
    """Everything about one setup's errors. `errors` holds a tolerance; `seed` that of the cloud."""
    cloud, do = Cloud(), BuildCloud(errors, cases, seed)
    for margins in chunks("builds", "builds", do, cloud_jobs(samples)):
        cloud.add(margins)
    build = _box(errors.build_alone(), cases, floor)
    if not errors.shares:
        return BuildStudy(build, None, None, cloud)
    return BuildStudy(build, _box(errors.inputs_alone(), cases, floor), worst_build(errors, cases), cloud)


def _box(errors: BuildErrors, cases: CaseSet, floor: float) -> BoxStudy:
    return BoxStudy(errors, worst_build(errors, cases), stands(errors, cases, floor))
