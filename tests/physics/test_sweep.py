"""Many setups and cases at once: the answer to one depends on nothing but itself."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from cars import CAR, SETUP, load_cases, set_both, starts_of, venue, with_downforce

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics import sweep
from setupopt.physics.inputs import Records

MODEL = Model(CAR)
SETUPS = [set_both(SETUP, camber=c, spring=s) for c in (-0.06, -0.02) for s in (9e4, 2e5)]
SETTINGS = MODEL.settings(SETUPS)


def mixed_cases() -> CaseSet:
    """Easy ones, some with lifted wheels, and some that lose contact."""
    rng = np.random.default_rng(5)
    return load_cases(
        venue(1.0 / 8.0),
        roll_angle=rng.uniform(-np.pi, np.pi, 90),
        speed=rng.uniform(10.0, 80.0, 90),
        heading=rng.choice([0.0, 0.15, -0.1], 90),
        bump=rng.uniform(-0.01, 0.01, (90, 4)),
    )


CASES = mixed_cases()


def answers() -> Records:
    """The whole batch."""
    return sweep.run(MODEL.packed, SETTINGS, CASES.records)


@pytest.fixture(scope="module")
def whole() -> Records:
    """The batch, solved once: (setups, cases)."""
    got = answers().reshape(len(SETUPS), len(CASES))
    lost = ~got["contact"]
    assert 20 < lost.sum() < lost.size - 20, "the batch must hold lost and held cases"
    return got


def test_order_of_the_cases_does_not_matter(whole: Records) -> None:
    """Shuffled in, shuffled out, bit for bit."""
    order = np.random.default_rng(1).permutation(len(CASES))
    shuffled = sweep.run(MODEL.packed, SETTINGS, CASES.records[order]).reshape(whole.shape)
    assert shuffled.tobytes() == whole[:, order].tobytes()


def test_order_of_the_setups_does_not_matter(whole: Records) -> None:
    """The same for setups."""
    order = [2, 0, 3, 1]
    shuffled = sweep.run(MODEL.packed, SETTINGS[order], CASES.records).reshape(whole.shape)
    assert shuffled.tobytes() == whole[order].tobytes()


def test_angles_of_a_sweep_may_come_in_any_order() -> None:
    """Cases that differ by the roll angle alone share their preparation: backwards, shuffled, alone.

    On the way round lie lost cases and cases found by a path, which leave other things behind. Bit for bit.
    """
    angles = np.radians(np.arange(-180.0, 181.0, 4.0))
    sweep_round = load_cases(
        venue(1.0 / 8.0),
        roll_angle=angles,
        speed=38.0,
        heading=0.1,
        crosswind=3.0,
        bump=(0.01, 0.0, 0.0, 0.0),
    ).records
    forward = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round)
    assert 5 < (~forward["contact"]).sum() < 80
    for order in (np.arange(angles.size)[::-1], np.random.default_rng(4).permutation(angles.size)):
        other = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round[order])
        assert other.tobytes() == forward[order].tobytes()
    for i in range(0, angles.size, 9):
        alone = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round[i : i + 1])
        assert alone[0].tobytes() == forward[i].tobytes()


@pytest.mark.parametrize("name", [n for n in CASES.records.dtype.names if n not in ("roll_angle", "along")])
def test_neighbours_that_differ_in_anything_share_nothing(name: str) -> None:
    """Two cases alike but for one entry, whichever: each as if it stood alone."""
    records = np.repeat(load_cases(venue(1.0 / 8.0), roll_angle=1.0, speed=60.0).records, 2)
    if name in (
        "joints",
        "floor_joints",
        "joint",
        "beyond",
    ):  # half a metre to each side the section is tighter
        records["joints"] = records["floor_joints"] = 1.0
        records["joint"][..., 0], records["beyond"][..., 0] = (0.5, -0.5), 0.2
    if name == "bump":
        records[name][1] = (0.0, 0.0, 0.0, 0.004)
    else:
        records[name][1] = records[name][1] * 0.9 + 0.003
    together = sweep.run(MODEL.packed, SETTINGS[:1], records)
    alone = sweep.run(MODEL.packed, SETTINGS[:1], records[1:])
    assert together[1].tobytes() == alone[0].tobytes()
    assert together[1].tobytes() != together[0].tobytes()


def test_one_by_one_is_the_same_as_all_at_once(whole: Records) -> None:
    """Every case alone with every setup alone, bit for bit: no memory from one to the next."""
    for s in range(len(SETUPS)):
        for i in range(0, len(CASES), 7):
            alone = sweep.run(MODEL.packed, SETTINGS[s : s + 1], CASES.records[i : i + 1])
            assert alone[0].tobytes() == whole[s, i].tobytes()


@pytest.mark.parametrize("threads", ["1", "2", "3"])
def test_number_of_threads_does_not_matter(
    whole: Records, threads: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SETUPOPT_THREADS changes how a batch is cut, and nothing in the answer."""
    monkeypatch.setenv("SETUPOPT_THREADS", threads)
    assert sweep.workers() == int(threads)
    assert answers().tobytes() == whole.tobytes()


@pytest.mark.parametrize("wrong", ["", "0", "-2", "two"])
def test_threads_fall_back_to_the_cores_at_hand(wrong: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A setting that is no count is left aside."""
    monkeypatch.setenv("SETUPOPT_THREADS", wrong)
    assert sweep.workers() >= 1


@pytest.mark.parametrize("chunk", [1, 7, 10_000])
def test_size_of_the_pieces_does_not_matter(
    whole: Records, chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut into single answers, into odd pieces that straddle setups, or not at all."""
    monkeypatch.setattr(sweep, "CHUNK", chunk)
    assert answers().tobytes() == whole.tobytes()


def test_a_pool_of_the_callers_own(whole: Records) -> None:
    """Used as it is, and left open afterwards."""
    with ThreadPoolExecutor(2) as pool:
        got = sweep.run(MODEL.packed, SETTINGS, CASES.records, pool=pool)
        assert pool.submit(int).result() == 0
    assert got.tobytes() == whole.tobytes()


@pytest.mark.parametrize(("count", "threads"), [(0, 2), (1, 4), (9, 2), (10_000, 3), (4096 * 5 + 1, 2)])
def test_pieces_cover_every_answer_once(count: int, threads: int) -> None:
    """End to end without gap or overlap, none longer than a chunk."""
    spans = sweep._spans(count, threads)
    assert [row for first, last in spans for row in range(first, last)] == list(range(count))
    assert all(last - first <= sweep.CHUNK for first, last in spans)


def test_progress_adds_up() -> None:
    """What progress is told sums to the number of answers, in several reports."""
    told: list[int] = []
    sweep.run(MODEL.packed, SETTINGS, CASES.records, progress=told.append)
    assert sum(told) == len(SETUPS) * len(CASES)


def test_good_starts_change_the_effort_not_the_answer(whole: Records) -> None:
    """Held cases started from their own trim: at most two Newton steps, the same margin to 1e-9."""
    starts = np.column_stack([whole[0]["state"], whole[0]["press"]])
    again = sweep.run(MODEL.packed, SETTINGS[:1], CASES.records, starts)
    held = whole[0]["contact"]
    assert again["contact"][held].all()
    assert again["effort"][held].max() <= 2
    assert again["margin"][held] == pytest.approx(whole[0]["margin"][held], abs=1e-9)
    assert whole[0]["effort"][held].max() > 2


@pytest.mark.parametrize("seed", range(4))
def test_starts_of_a_setup_nearby_change_no_verdict(seed: int) -> None:
    """Near the end of contact: held is held and lost is lost, with or without starts; margins to 1e-6.

    A car that rocks on a diagonal may have two trims, one on either of the other wheels, and a start
    leads to the nearer one: up to one case in a thousand may have another margin.
    """
    rng = np.random.default_rng(seed)
    model, count = Model(with_downforce(CAR, rng.uniform(0.3, 0.7))), 500
    cases = load_cases(
        venue(1.0 / rng.uniform(6.0, 20.0)),
        roll_angle=rng.uniform(0.0, np.pi, count),
        speed=60.0,
        heading=rng.choice([0.0, 0.1, -0.15], count),
        acceleration=rng.choice([0.0, -6.0, 3.0], count),
        bump=rng.choice([0.0, 0.01], (count, 4)),
    )
    nearby = model.run(model.settings([set_both(SETUP, spring=1.7e5)]), cases)
    plain = model.run(model.settings([SETUP]), cases)
    warm = model.run(model.settings([SETUP]), cases, starts=starts_of(nearby))
    assert np.array_equal(warm.contact, plain.contact)
    assert 20 < plain.lost() < count - 20
    held = plain.contact[0]
    apart = np.abs(warm.margin[0] - plain.margin[0])[held] / np.maximum(1.0, np.abs(plain.margin[0][held]))
    assert (apart > 1e-6).sum() <= 1
    assert warm.answers["effort"].sum() < plain.answers["effort"].sum()
