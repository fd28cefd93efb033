"""Rides over drawn and measured roads: their sums, their doubt, their roads, nothing from the cutting."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import bootstrap

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.jobs.chunk_ranges import ChunkRange, chunk_ranges
from setupopt.physics.ride_run import DRIFTED, FLEW, STOOD
from setupopt.physics.ride_time import RIDE
from setupopt.project import Project, load
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.spectrum import CLASSES, Road, Tracks
from setupopt.robust.road.time_domain_road import (
    QUANTITIES,
    DrawnRoads,
    MeasuredRoads,
    RideSums,
    RoadRides,
    profile_seconds,
    ride_length,
)

from .conftest import SPEED

ROAD = Road(CLASSES["A"].mean)
SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="module")
def case(bore: Project) -> CaseSet:
    """Straight, a third of the way up."""
    return sweep_cases(bore.venue, np.radians([60.0])).pick([0])


Rides = Callable[..., RoadRides]


@pytest.fixture(scope="module")
def rides(bore: Project, case: CaseSet) -> Rides:
    """Short rides over drawn roads."""

    def drawn(seeds: int, seconds: float = 1.0, seed: int = 0) -> RoadRides:
        length = ride_length(SPEED, seconds)
        roads = DrawnRoads(ROAD, bore.car.front.track, length, seeds, seed)
        return RoadRides(RideModel(bore, bore.setup, case), roads, seconds)

    return drawn


def test_cutting_into_chunks_changes_nothing(rides: Rides) -> None:
    """Four roads in one piece, in two and in four: the very same records; seeds go by their number."""
    do = rides(4)
    whole = do(ChunkRange(0, 4))
    for size in (1, 2):
        assert (
            np.concatenate([do(span) for span in chunk_ranges(4, size)])
            == whole
        ).all()
    assert rides(1, seed=3)(ChunkRange(0, 1)) == whole[3:]
    assert len(np.unique(whole["margin"])) == 4


def test_seconds_are_what_counts(rides: Rides) -> None:
    """As many looks as the seconds asked for hold; the run-in is not among them; a smooth road is stood."""
    do = rides(2, 1.5)
    sums = RideSums(step=do.model.step)
    sums.add(do(ChunkRange(0, 2)))
    assert sums.seconds == pytest.approx(3.0, abs=0.02)
    assert (sums.rides, sums.lost) == (2, 0)
    assert sums.chance_fallen()[0] == 0.0


def test_chunks_bound_the_memory(rides: Rides) -> None:
    """However long a run is, a chunk holds a minute of road, or a single road."""
    for seconds in (1.0, 10.0, 100.0):
        do = rides(500, seconds)
        size = max(job.size for job in do.jobs())
        assert size == 1 or size * (seconds + 1.5) <= 60.0
        assert sum(job.size for job in do.jobs()) == 500


def made_up(
    rng: np.random.Generator, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """RIDE records of invented margins (rides, samples), and these; other quantities stay zero."""
    margins = (
        0.5
        + 0.02 * rng.normal(size=(count, 1))
        + 0.1 * rng.normal(size=(count, 400))
    )
    records = np.zeros(count, RIDE)
    records["samples"], records["margin"] = 400, margins.sum(axis=1)
    records["margin_square"], records["least_margin"] = (
        (margins**2).sum(axis=1),
        margins.min(axis=1),
    )
    return records, margins


def test_mean_and_rms_are_those_of_all_samples() -> None:
    """However the rides come in, against numpy on all samples together, to rounding."""
    records, margins = made_up(np.random.default_rng(1), 30)
    sums = RideSums()
    for part in np.array_split(records, [4, 5, 17]):
        sums.add(part)
    found = sums.spread("margin")
    assert (found.mean, found.rms) == (
        pytest.approx(margins.mean()),
        pytest.approx(margins.std()),
    )
    assert sums.least_margin == margins.min()


def test_interval_is_that_of_resampled_rides() -> None:
    """Half the width at 95 % against a bootstrap over whole rides, within a tenth."""
    records, margins = made_up(np.random.default_rng(2), 80)
    sums = RideSums()
    sums.add(records)
    found = sums.spread("margin")
    other = bootstrap(
        (np.arange(80),), lambda rows: margins[rows].std(), n_resamples=2000, method="percentile",
        vectorized=False, rng=np.random.default_rng(3),
    ).confidence_interval  # fmt: skip
    assert found.high - found.low == pytest.approx(
        other.high - other.low, rel=0.1
    )
    assert found.low < found.rms < found.high


def test_lost_rides_count_as_lost_alone() -> None:
    """They are under the floor, but no part of any rms; with nothing else left there is none."""
    records, margins = made_up(np.random.default_rng(4), 6)
    records["lost"][:2] = 0.7
    sums = RideSums(floor=-9.0)
    sums.add(records)
    assert (sums.rides, sums.lost, sums.under) == (4, 2, 2)
    assert sums.spread("margin").rms == pytest.approx(margins[2:].std())
    records["lost"] = 1.0
    alone = RideSums()
    alone.add(records)
    assert np.isnan(alone.spread("margin").rms)
    assert alone.chance_under()[0] == 1.0


def test_sums_keep_their_size() -> None:
    """Ten times the rides take no more room."""
    records, _ = made_up(np.random.default_rng(5), 10)
    one, many = RideSums(), RideSums()
    one.add(records)
    for _ in range(50):
        many.add(records)
    assert many.sums.nbytes == one.sums.nbytes == 5 * len(QUANTITIES) * 8
    assert many.rides == 500


def test_measured_profile_is_driven_both_ways() -> None:
    """Forwards, backwards with the sides exchanged as a car turned round meets them, both again mirrored."""
    left, right = np.arange(5.0), np.arange(10.0, 15.0)
    roads = MeasuredRoads(Tracks(0.25, np.array([left, right])))
    as_is, back, mirrored, both = (
        track.heights for track in roads.tracks(ChunkRange(0, 4))
    )
    assert len(roads) == 4
    assert (as_is == [left, right]).all()
    assert (back == [right[::-1], left[::-1]]).all()
    assert (mirrored == as_is[::-1]).all()
    assert (both == back[::-1]).all()
    assert len(MeasuredRoads(Tracks(0.25, left[None]))) == 2


def test_profile_lasts_as_long_as_it_is() -> None:
    """500 m at 50 m/s: ten seconds, less the run-in of a second and a half."""
    assert profile_seconds(
        Tracks(0.25, np.zeros((1, 2001))), 50.0
    ) == pytest.approx(8.5)


def test_nothing_happens_on_a_smooth_road(bore: Project, case: CaseSet) -> None:
    """A profile without height: the steady margin all the way, no deviation, nothing under the floor."""
    smooth = MeasuredRoads(Tracks(0.25, np.zeros((1, 801))))
    do, sums = (
        RoadRides(RideModel(bore, bore.setup, case), smooth, 2.0),
        RideSums(),
    )
    sums.add(do(ChunkRange(0, 2)))
    assert sums.spread("margin").mean == pytest.approx(
        do.model.margin[0], abs=1e-7
    )
    assert sums.spread("load fl").rms == pytest.approx(0.0, abs=1e-3)
    assert sums.under == 0
    assert sums.drift < 1e-5, "a hundredth of a millimetre; 300 are allowed"


@pytest.mark.parametrize(
    ("name", "letter", "is_stood"), [("oval", "A", True), ("hill", "C", False)]
)
def test_a_sound_car_stands_class_a_and_the_hill_no_class_c(
    name: str, letter: str, is_stood: bool
) -> None:
    """Six runs of 5 s in the case with the least margin: all are stood, or none is, for two wheels fly or the
    path is left. Class A is a very good road, C an average one that nobody races on (ISO 8608).
    """
    project = load(SETUPS / name)
    cases = sweep_cases(project.venue)
    worst = int(evaluate(project, cases=cases).margin[0].argmin())
    worst_case = cases.pick([worst])
    speed = float(worst_case.records["speed"][0])
    road = Road(CLASSES[letter].mean)
    roads = DrawnRoads(
        road, project.car.front.track, ride_length(speed, 5.0), 6
    )
    do = RoadRides(RideModel(project, project.setup, worst_case), roads, 5.0)
    sums = RideSums(step=do.model.step)
    for job in do.jobs():
        sums.add(do(job))
    assert sums.reasons[STOOD] == (6 if is_stood else 0)
    assert sums.reasons[[DRIFTED, FLEW]].sum() == 6 - sums.reasons[STOOD]
