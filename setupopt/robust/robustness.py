"""The proof of a setup: what it stands of bumps, wind, rough road and build error, each to its floor."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_at, sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.result import Result, html_table
from setupopt.jobs.chunk_ranges import Progress
from setupopt.jobs.fingerprint import fingerprint
from setupopt.jobs.pool import WorkerPool
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats, Records
from setupopt.physics.ride_run import TRACE
from setupopt.project.limits_model import Disturbed, disturbed
from setupopt.project.model import Project, Setup
from setupopt.project.needs import need
from setupopt.robust.best_single_step import SingleSteps
from setupopt.robust.builds.build_variation import BuildErrors, build_errors
from setupopt.robust.builds.study import BuildStudy, study_build
from setupopt.robust.bump import BumpAllowance, BumpRides, BumpSearch
from setupopt.robust.faults import FaultSearch, FaultStudy
from setupopt.robust.gust import GustLimit, GustRides, GustSearch
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.road.profile import fitted_road, without_hills
from setupopt.robust.road.spectrum import Road, Tracks
from setupopt.robust.road.study import RoadPlan, RoadStudy, study_road


@dataclass(frozen=True)
class RobustnessOptions:
    """What a proof is to look at, and what is asked of the setup; SI.

    `seconds`: of one run, at every roll angle and attitude alike. `chance`: share of runs on the road that
    need not be stood. `bump`, `seam`, `gust`, `wind`, `step`: what must be stood, None where nothing is
    asked; `faults`: whether faults must. `every`: places of the sweep from one that is looked at to the next,
    beside both ends and the worst place of each attitude.
    """

    floor: float = 0.0
    seconds: float = 10.0
    seeds: int = 40
    ride_cases: int = 2
    builds: int = 1024
    directions: int = 16
    seed: int = 0
    chance: float = 0.05
    bump: float | None = None
    seam: float | None = None
    gust: float | None = None
    wind: float | None = None
    step: float | None = None
    faults: bool = False
    profile: Tracks | None = None
    every: int = 1

    def road(self, project: Project) -> RoadPlan:
        """What is to be looked at on the road."""
        smooth = None if self.profile is None else without_hills(self.profile)
        road = (
            Road(project.venue.roughness or 0.0)
            if smooth is None
            else fitted_road(smooth)
        )
        return RoadPlan(
            road,
            smooth,
            self.seconds,
            self.seeds,
            self.ride_cases,
            self.seed,
            self.floor,
        )


@dataclass(frozen=True)
class BumpStudy:
    """Bump allowance of all cases, and the worst case's crossing at it and at one and a half times it.

    A trace is (looks, columns): TRACE of physics/ride_run.py.
    """

    allowance: BumpAllowance
    traces: tuple[Floats, ...]
    columns: tuple[str, ...] = TRACE


@dataclass(frozen=True)
class RobustnessReport:
    """All that was found about one setup."""

    project: Project
    setup: Setup
    plan: RobustnessOptions
    steady: Result
    bump: BumpStudy
    gust: GustLimit
    road: RoadStudy | None  # None where every case loses contact
    faults: FaultStudy
    build: BuildStudy

    @cached_property
    def steps(self) -> SingleSteps:
        """What may be changed."""
        return SingleSteps(self.project, self.setup)

    @property
    def allowed(self) -> Disturbed:
        """What the car may do and still stand a disturbance."""
        return disturbed(self.project.limits)

    def _repr_html_(self) -> str:
        """For notebooks: what was found of every disturbance, and whether that is what is asked."""
        from setupopt.robust.verdicts import verdicts

        names = ("what", "holds", "found", "asked", "unit", "how")
        rows = [
            {name: getattr(row, name) for name in names}
            for row in verdicts(self)
        ]
        return html_table(rows)


# Called with what is being done and in how many parts; gives a context that counts them.
Watch = Callable[[str, int], AbstractContextManager[Progress]]


def unwatched(_what: str, _parts: int) -> AbstractContextManager[Progress]:
    """Nobody looks."""
    return nullcontext(lambda added: None)


@dataclass(frozen=True)
class StudyRunner:
    """Where the studies are worked on: all cores or a crew, finished chunks kept for the next start."""

    store: Store
    watch: Watch
    crew: WorkerPool | None = None

    def chunks(
        self, name: str, what: str, do: Callable[..., Records], jobs: Sequence
    ) -> Iterator[Records]:
        """Results of all jobs in their order; `what` tells the user."""
        with self.watch(what, len(jobs)) as progress:
            yield from run_chunks(
                name,
                do,
                jobs,
                store=self.store,
                pool=self.crew,
                progress=progress,
            )


def prove(
    project: Project,
    plan: RobustnessOptions | None = None,
    watch: Watch = unwatched,
    crew: WorkerPool | None = None,
) -> RobustnessReport:
    """Everything about the project's setup. Raises InputError where an entry is missing that this needs.

    The chunks are worked on by `crew`, if one is given, to the same numbers.

    Stopped and started again with the same inputs, it goes on where it was and ends at the same numbers.
    """
    asked, setup = plan or RobustnessOptions(), project.setup
    cases = _cases(project, asked.every)
    errors = _required(project, asked)
    steady = evaluate(project, setup, cases)
    store = Store.open(
        fingerprint(
            "prove", project.car, project.venue, setup, project.limits, asked
        )
    )
    shop = StudyRunner(store, watch, crew)
    rides = BumpRides(project, setup, cases)
    bump = _bumps(rides, asked, shop)
    gust = _gusts(GustRides.about(rides), asked, shop)
    first = bump.allowance.worst
    likely = LikelyRides.about(rides)
    road = study_road(likely, asked.road(project), shop.chunks, first)
    search = FaultSearch(rides)
    faults = search.study(
        shop.chunks("faults", "faults", search, search.jobs())
    )
    build = study_build(
        errors, cases, asked.floor, asked.builds, asked.seed, shop.chunks
    )
    store.finish()
    return RobustnessReport(
        project, setup, asked, steady, bump, gust, road, faults, build
    )


def _cases(project: Project, every: int) -> CaseSet:
    """The venue's sweep; or every so many places of it, with both ends and the worst of each attitude."""
    whole = sweep_cases(project.venue)
    if every == 1:
        return whole
    result = evaluate(project, project.setup, whole)
    at = sweep_at(project.venue)
    worst = result.ranked[0].reshape(-1, at.size).argmin(axis=1)
    kept = np.unique(
        np.concatenate([np.arange(0, at.size, every), [at.size - 1], worst])
    )
    return sweep_cases(project.venue, at[kept])


def _required(project: Project, plan: RobustnessOptions) -> BuildErrors:
    """The errors of a build; refused is what lacks an entry that only this command needs."""
    if plan.profile is None:
        purpose = (
            "prove needs it for the random road; or give a measured profile"
        )
        need(
            project.venue.roughness,
            project.folder / "venue.toml",
            "venue.roughness",
            purpose,
        )
    BumpRides(
        project, project.setup, sweep_cases(project.venue).pick([0])
    )  # refuses missing dampers
    limits, purpose = (
        project.folder / "limits.toml",
        "prove needs it for the build error",
    )
    need(
        project.limits and project.limits.tolerance,
        limits,
        "tolerance",
        purpose,
    )
    return need(build_errors(project), limits, "tolerance", purpose)


def _bumps(
    rides: BumpRides, plan: RobustnessOptions, shop: StudyRunner
) -> BumpStudy:
    search = BumpSearch(rides, plan.floor)
    allowance = search.allowance(
        shop.chunks("bumps", "bumps", search, search.jobs())
    )
    return BumpStudy(allowance, tuple(_traces(rides, allowance)))


def _traces(rides: BumpRides, allowance: BumpAllowance) -> Iterator[Floats]:
    """The worst case's crossing, at its allowance and beyond; none where it has no worst bump."""
    row = allowance.worst
    if np.isfinite(allowance.length[row]):
        for share in (1.0, 1.5):
            yield rides.trace(row, allowance.obstacle(row, share))


def _gusts(
    rides: GustRides, plan: RobustnessOptions, shop: StudyRunner
) -> GustLimit:
    search = GustSearch(rides, plan.floor, plan.directions)
    linear = shop.chunks(
        "wind", "wind, linear answer", search.linear, search.linear_jobs()
    )
    peaks = np.concatenate(list(linear))
    ride = partial(search, peaks=peaks)
    jobs = range(plan.directions)
    return search.limit(shop.chunks("gusts", "wind, by direction", ride, jobs))
