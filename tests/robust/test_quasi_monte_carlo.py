"""The cloud of builds: the same however it is cut, even over the box, and what is kept of it."""

from __future__ import annotations

from dataclasses import replace
from multiprocessing.reduction import ForkingPickler

import numpy as np
import pytest
from scipy.stats import binomtest

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.jobs.chunk_ranges import chunk_ranges
from setupopt.project import Project
from setupopt.robust.builds.build_variation import build_errors
from setupopt.robust.builds.quasi_monte_carlo import (
    BuildCloud,
    MarginDistribution,
)

BIN = 1e-4


@pytest.fixture(scope="module")
def cloud(bore: Project) -> BuildCloud:
    """Today's setup with all its errors, in few cases."""
    build = build_errors(bore)
    assert build is not None
    return BuildCloud(
        build, sweep_cases(bore.venue, np.radians([90.0, 180.0])), seed=7
    )


def drawn(count: int) -> np.ndarray:
    """Margins of every kind: most above -2, some far below, some lost, some on an edge of a bin."""
    draw = np.random.default_rng(count)
    margins = draw.normal(0.1, 0.3, count).clip(None, 1.0)
    margins[::17], margins[::29], margins[::41] = (
        -np.inf,
        -2.0 - draw.exponential(5.0),
        0.25,
    )
    return margins


def kept(margins: np.ndarray) -> MarginDistribution:
    """A cloud of these margins, added in pieces."""
    cloud = MarginDistribution()
    for piece in np.array_split(margins, 5):
        cloud.add(piece)
    return cloud


# ---- the samples -------------------------------------------------------------------------------------------


def test_cutting_does_not_change_the_cloud(cloud: BuildCloud) -> None:
    """One chunk or seven, some larger than what is solved at a time: the same array to the last bit."""
    jobs = [(0, 1), (1, 2), (3, 13), (16, 80), (96, 4), (100, 31), (131, 19)]
    assert np.array_equal(
        cloud((0, 150)), np.concatenate([cloud(job) for job in jobs])
    )


def test_build_alone_is_cut_alike(cloud: BuildCloud) -> None:
    """So is a cloud whose builds share one car and are solved together."""
    built = BuildCloud(cloud.build.build_alone(), cloud.cases)
    assert np.array_equal(
        built((0, 70)),
        np.concatenate([built(job) for job in chunk_ranges(70, 9)]),
    )


def test_samples_are_the_margins_of_their_errors(
    bore: Project, cloud: BuildCloud
) -> None:
    """A margin of the cloud is the worst of its build; with a box of no size it is the setup's own."""
    errors = cloud.errors((40, 3))
    plain = cloud.build.result(errors, cloud.cases).worst_margin
    assert cloud((40, 3)) == pytest.approx(
        plain, abs=2e-6
    )  # the least friction factor is found to 1e-6
    point = BuildCloud(replace(cloud.build, scale=0.0), cloud.cases)
    exact = float(setupopt.evaluate(bore, cases=cloud.cases).worst_margin[0])
    assert point((0, 4)) == pytest.approx(np.full(4, exact), abs=2e-6)


def test_samples_spread_evenly(cloud: BuildCloud) -> None:
    """Of 2^m scrambled Sobol points one lies in each 2^-m of every axis (Owen, J. Complexity 14, 1998)."""
    errors = cloud.errors((0, 64))
    cells = np.sort(np.floor((errors + 1.0) / 2.0 * 64).astype(int), axis=0)
    assert (cells == np.arange(64)[:, None]).all()


def test_another_seed_is_another_cloud(cloud: BuildCloud) -> None:
    """A cloud can be drawn again, and drawn anew."""
    again, anew = (
        BuildCloud(cloud.build, cloud.cases, seed).errors((5, 8))
        for seed in (7, 8)
    )
    assert np.array_equal(again, cloud.errors((5, 8)))
    assert not np.isclose(again, anew).any()


def test_cloud_can_be_sent_to_another_process(cloud: BuildCloud) -> None:
    """Sent and unpacked, after it was used here, it draws the same."""
    first = cloud((0, 4))
    sent = ForkingPickler.loads(bytes(ForkingPickler.dumps(cloud)))
    assert np.array_equal(sent((0, 4)), first)


# ---- what is kept of them ----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 2, 100, 9973])
def test_percentiles_are_those_of_the_margins(count: int) -> None:
    """NumPy's order statistic, or up to a bin lower; lost ones and those below -2 to the last digit."""
    margins = drawn(count)
    cloud = kept(margins)
    for share in (0.0, 0.001, 0.01, 0.05, 0.1, 0.5, 0.9, 1.0):
        exact = np.quantile(margins, share, method="lower")
        found = cloud.percentile(share)
        held_below = margins[np.isfinite(margins) & (margins < -2.0)]
        if exact < -2.0:
            assert found == (-np.inf if np.isinf(exact) else held_below.min())
        else:
            assert exact - BIN - 1e-12 <= found <= exact


def test_counts_are_exact() -> None:
    """Samples, lost ones, and the least of all; nothing depends on how they were added."""
    margins = drawn(1000)
    cloud, held = kept(margins), MarginDistribution()
    assert (cloud.count, cloud.lost, cloud.least) == (
        1000,
        np.isinf(margins).sum(),
        -np.inf,
    )
    held.add(margins[np.isfinite(margins)])
    assert (held.lost, held.least) == (0, margins[np.isfinite(margins)].min())
    below = (margins[np.isfinite(margins)] < -2.0).sum()
    assert held.share_under(-2.0).share == below / np.isfinite(margins).sum()


@pytest.mark.parametrize("floor", [-2.0, 0.0, 0.05, 0.25, 1.0])
def test_share_under_a_floor(floor: float) -> None:
    """Counted by hand; the interval by scipy's exact test, which is another program."""
    margins = drawn(2000)
    under = int((margins < floor).sum())
    exact = binomtest(under, 2000).proportion_ci(0.95, method="exact")
    found = kept(margins).share_under(floor)
    assert found == pytest.approx(
        (under / 2000, exact.low, exact.high), abs=1e-12
    )


def test_floor_inside_a_bin_counts_it_whole() -> None:
    """What may be under the floor is told as under it."""
    cloud = kept(np.array([0.10002, 0.10007, 0.2]))
    assert cloud.share_under(0.10005).share == pytest.approx(2 / 3)
    assert cloud.share_under(0.1).share == 0.0


def test_memory_does_not_grow() -> None:
    """A hundred times as many samples take the same room."""

    def room(cloud: MarginDistribution) -> int:
        return sum(np.asarray(part).nbytes for part in vars(cloud).values())

    assert room(kept(drawn(1000))) == room(kept(drawn(100_000))) < 1e6


def test_empty_cloud_says_nothing() -> None:
    """No sample: no percentile, and a share that may be anything."""
    cloud = MarginDistribution()
    cloud.add(np.empty(0))
    assert np.isnan(cloud.percentile(0.05))
    assert cloud.share_under(0.0)[1:] == (0.0, 1.0)
