"""Many setups and cases at once: the answer to one depends on nothing but itself."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from cars import (
    CAR,
    SETUP,
    load_cases,
    set_both,
    starts_of,
    venue,
    with_downforce,
)

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics import jit, sweep
from setupopt.physics.inputs import Records

HEAVY = {"yaw_inertia": 900.0, "pitch_inertia": 800.0, "roll_inertia": 200.0}
MODEL = Model(replace(CAR, **HEAVY))
SETUPS = [
    set_both(SETUP, camber=c, spring=s)
    for c in (-0.06, -0.02)
    for s in (9e4, 2e5)
]
SETTINGS = MODEL.settings(SETUPS)


def same(one: Records, other: Records) -> bool:
    """Every field bit for bit. Between the fields of a record there is room, in which anything may lie."""
    return all(
        np.ascontiguousarray(one[name]).tobytes()
        == np.ascontiguousarray(other[name]).tobytes()
        for name in one.dtype.names
    )


COUNT = 40


def mixed_cases() -> CaseSet:
    """Easy ones, some with lifted wheels, some that slide and some that lose contact."""
    rng = np.random.default_rng(5)
    return load_cases(
        venue(1.0 / 8.0),
        roll_angle=rng.uniform(-np.pi, np.pi, COUNT),
        speed=rng.uniform(10.0, 80.0, COUNT),
        heading=rng.choice([0.0, 0.15, -0.1], COUNT),
        bump=rng.uniform(-0.01, 0.01, (COUNT, 4)),
    )


CASES = mixed_cases()


def answers() -> Records:
    """The whole batch."""
    return sweep.run(MODEL.packed, SETTINGS, CASES.records)


@pytest.fixture(scope="module")
def whole() -> Records:
    """The batch, solved once: (setups, cases)."""
    got = answers().reshape(len(SETUPS), len(CASES))
    held = got["contact"] & ~got["slides"]
    for kind in (held, got["slides"], ~got["contact"]):
        assert kind.sum() >= 4, (
            "the batch must hold held, sliding and lost cases"
        )
    return got


def test_order_of_the_cases_does_not_matter(whole: Records) -> None:
    """Shuffled in, shuffled out, bit for bit."""
    order = np.random.default_rng(1).permutation(len(CASES))
    shuffled = sweep.run(MODEL.packed, SETTINGS, CASES.records[order]).reshape(
        whole.shape
    )
    assert same(shuffled, whole[:, order])


def test_order_of_the_setups_does_not_matter(whole: Records) -> None:
    """The same for setups."""
    order = [2, 0, 3, 1]
    shuffled = sweep.run(MODEL.packed, SETTINGS[order], CASES.records).reshape(
        whole.shape
    )
    assert same(shuffled, whole[order])


def test_angles_of_a_sweep_may_come_in_any_order() -> None:
    """Cases that differ by the roll angle alone share their preparation: backwards, shuffled, alone.

    On the way round lie lost cases and cases found by a path, which leave other things behind. Bit for bit.
    """
    angles = np.radians(np.arange(-180.0, 181.0, 15.0))
    sweep_round = load_cases(
        venue(1.0 / 8.0),
        roll_angle=angles,
        speed=30.0,
        heading=0.1,
        crosswind=3.0,
        bump=(0.01, 0.0, 0.0, 0.0),
    ).records
    forward = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round)
    assert 2 < (~forward["contact"]).sum() < angles.size - 2
    for order in (
        np.arange(angles.size)[::-1],
        np.random.default_rng(4).permutation(angles.size),
    ):
        other = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round[order])
        assert same(other, forward[order])
    for i in range(0, angles.size, 5):
        alone = sweep.run(MODEL.packed, SETTINGS[:1], sweep_round[i : i + 1])
        assert same(alone[0], forward[i])


@pytest.mark.parametrize(
    "name",
    [n for n in CASES.records.dtype.names if n not in ("roll_angle", "along")],
)
def test_neighbours_that_differ_in_anything_share_nothing(name: str) -> None:
    """Two cases alike but for one entry, whichever: each as if it stood alone."""
    records = np.repeat(
        load_cases(venue(1.0 / 8.0), roll_angle=1.0, speed=60.0).records, 2
    )
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
    assert same(together[1], alone[0])
    assert not same(together[1], together[0])


def test_one_by_one_is_the_same_as_all_at_once(whole: Records) -> None:
    """Every case alone with every setup alone, bit for bit: no memory from one to the next."""
    for s in range(len(SETUPS)):
        for i in range(0, len(CASES), 7):
            alone = sweep.run(
                MODEL.packed, SETTINGS[s : s + 1], CASES.records[i : i + 1]
            )
            assert same(alone[0], whole[s, i])


@pytest.mark.parametrize("threads", ["1", "2", "3"])
def test_number_of_threads_does_not_matter(
    whole: Records, threads: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SETUPOPT_THREADS changes how a batch is cut, and nothing in the answer."""
    monkeypatch.setenv("SETUPOPT_THREADS", threads)
    assert jit.workers() == int(threads)
    assert same(answers().reshape(whole.shape), whole)


@pytest.mark.parametrize("wrong", ["", "0", "-2", "two"])
def test_threads_fall_back_to_the_cores_at_hand(
    wrong: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A setting that is no count is left aside."""
    monkeypatch.setenv("SETUPOPT_THREADS", wrong)
    assert jit.workers() >= 1


@pytest.mark.parametrize("chunk", [1, 7, 10_000])
def test_size_of_the_pieces_does_not_matter(
    whole: Records, chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut into single answers, into odd pieces that straddle setups, or not at all."""
    monkeypatch.setattr(sweep, "CHUNK", chunk)
    assert same(answers().reshape(whole.shape), whole)


def test_a_pool_of_the_callers_own(whole: Records) -> None:
    """Used as it is, and left open afterwards."""
    with ThreadPoolExecutor(2) as pool:
        got = sweep.run(MODEL.packed, SETTINGS, CASES.records, pool=pool)
        assert pool.submit(int).result() == 0
    assert same(got.reshape(whole.shape), whole)


@pytest.mark.parametrize(
    ("count", "threads"),
    [(0, 2), (1, 4), (9, 2), (10_000, 3), (4096 * 5 + 1, 2)],
)
def test_pieces_cover_every_answer_once(count: int, threads: int) -> None:
    """End to end without gap or overlap, none longer than a chunk."""
    spans = sweep._spans(count, threads, 1)
    assert [row for first, last in spans for row in range(first, last)] == list(
        range(count)
    )
    assert all(last - first <= sweep.CHUNK for first, last in spans)


def test_progress_adds_up() -> None:
    """What progress is told sums to the number of answers, in several reports."""
    told: list[int] = []
    sweep.run(MODEL.packed, SETTINGS, CASES.records, progress=told.append)
    assert sum(told) == len(SETUPS) * len(CASES)


def test_good_starts_change_the_effort_not_the_answer(whole: Records) -> None:
    """Cases started from their own answers: the same verdict, less effort, the same margin to 1e-6 (the
    fold's).
    """
    again = sweep.run(MODEL.packed, SETTINGS[:1], CASES.records, whole[0])
    held = whole[0]["contact"] & ~whole[0]["slides"]
    assert (again["contact"] == whole[0]["contact"]).all()
    assert again["margin"][held] == pytest.approx(
        whole[0]["margin"][held], abs=1e-6
    )
    assert again["effort"].sum() < whole[0]["effort"].sum()


def test_a_slide_is_the_same_from_any_start(whole: Records) -> None:
    """A case that slides has one answer, whatever setup its start is of; to 1e-6.

    A path that begins at the end of another setup's path may come down on another branch.
    """
    for number, other in ((0, 3), (3, 0), (1, 2)):
        again = sweep.run(
            MODEL.packed,
            SETTINGS[number : number + 1],
            CASES.records,
            whole[other],
        )
        here = whole[number]["slides"] & ~(
            whole[other]["contact"] & ~whole[other]["slides"]
        )
        assert again["margin"][here] == pytest.approx(
            whole[number]["margin"][here], abs=1e-6
        )
    assert whole["slides"].sum() >= 4


def test_starts_must_be_one_for_each_case(whole: Records) -> None:
    """Those of all setups are too many."""
    with pytest.raises(ValueError, match="starts must be"):
        sweep.run(MODEL.packed, SETTINGS[:1], CASES.records, whole.ravel())


def test_answers_by_slope_are_those_of_the_tangent(whole: Records) -> None:
    """At the start itself the margin stays; a small step away the error is of second order.

    Half the step leaves a quarter of the error, where it is above what a fold is found to (1e-6).
    """
    steps = (2e-3, 1e-3)
    held = whole[0]["contact"] & ~whole[0]["slides"]
    here = sweep.run(
        MODEL.packed, SETTINGS[:1], CASES.records, whole[0], by_slope=True
    )
    assert here["margin"][held] == pytest.approx(
        whole[0]["margin"][held], abs=1e-6
    )
    errors = []
    for step in steps:
        near = MODEL.settings([set_both(SETUPS[0], camber=-0.06 + step)])
        full = sweep.run(MODEL.packed, near, CASES.records, whole[0])
        slope = sweep.run(
            MODEL.packed, near, CASES.records, whole[0], by_slope=True
        )
        same = held & full["contact"] & ~full["slides"]
        errors.append(np.abs(full["margin"] - slope["margin"])[same])
        assert np.median(
            np.abs(full["margin"] - whole[0]["margin"])[same]
        ) > 20 * np.median(errors[-1])
    assert np.median(errors[1]) < 0.35 * np.median(errors[0]) + 1e-6


def test_answers_by_slope_fall_back_where_there_is_none(whole: Records) -> None:
    """A lost start has no slope: its case is solved in full."""
    lost = ~whole[0]["contact"]
    got = sweep.run(
        MODEL.packed,
        SETTINGS[:1],
        CASES.records[lost],
        whole[0][lost],
        by_slope=True,
    )
    assert not got["contact"].any()
    assert got["press"] == pytest.approx(
        whole[0]["press"][lost], rel=1e-3, abs=1e-6
    )


@pytest.mark.parametrize("seed", range(2))
def test_starts_of_a_setup_nearby_change_no_verdict(seed: int) -> None:
    """Near the end of contact: held is held and lost is lost, with or without starts; margins to 1e-5.

    A car that rocks on a diagonal may have two trims, one on either of the other wheels, and a start
    leads to the nearer one: up to one case in fifty may have another margin or verdict.
    """
    rng = np.random.default_rng(seed)
    model, count = Model(with_downforce(CAR, rng.uniform(0.3, 0.7))), 100
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
    assert plain.contact.sum() > 5
    same = (warm.contact == plain.contact)[0]
    both = same & plain.contact[0]
    apart = np.abs(warm.margin[0] - plain.margin[0])[both]
    assert (~same).sum() + (apart > 1e-5).sum() <= count // 50
    assert warm.answers["effort"].sum() < plain.answers["effort"].sum()


def round_the_section() -> CaseSet:
    """A sweep of a wide bore in steps of 3 degrees."""
    return load_cases(
        venue(1.0 / 30.0),
        roll_angle=np.radians(np.arange(0.0, 180.0, 3.0)),
        speed=60.0,
    )


def test_a_quick_sweep_has_the_margins_of_the_whole_path() -> None:
    """It may miss an end that comes before the one nearby: far from the worst case, and rarely."""
    cases = round_the_section().records
    quick = sweep.run(MODEL.packed, SETTINGS, cases, quick=True).reshape(
        len(SETUPS), -1
    )
    full = sweep.run(MODEL.packed, SETTINGS, cases).reshape(quick.shape)
    np.testing.assert_array_equal(quick["contact"], full["contact"])
    # what is left of the factor at a fold is under 1e-9 of it
    worst = full["search_margin"].min(axis=1)
    np.testing.assert_allclose(
        quick["search_margin"].min(axis=1), worst, atol=1e-8
    )
    apart = np.abs(quick["search_margin"] - full["search_margin"])
    assert (apart > 1e-6).mean() < 0.05
    assert quick["effort"].mean() < 0.6 * full["effort"].mean()


def test_threads_change_no_bit_of_a_quick_sweep(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Which case a case starts from may not depend on how the work is divided."""
    cases = round_the_section().records
    found = []
    for threads in ("1", "2", "7"):
        monkeypatch.setenv("SETUPOPT_THREADS", threads)
        found.append(sweep.run(MODEL.packed, SETTINGS, cases, quick=True))
    assert same(found[0], found[1])
    assert same(found[0], found[2])
