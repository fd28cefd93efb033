"""The package against the plain slip model: random projects and cases, and the table of the slip model's
page.

The plain model is another program, written apart (tests/reference/plain_slip_model.py). It takes seconds a
case, so its
answers are kept in tests/reference/data/plain_cases.json, which tests/reference/make_plain_cases.py writes; a
few are
solved again here. Its rows, which take milliseconds, are put to every trim of the package.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pytest
from bore_car import PAGE, bore_case, bore_project
from drawn import Drawn, drawn
from make_plain_cases import FILE, answer, checksum, drawn_tables
from plain_slip_car import read_slip_car, read_slip_case
from plain_slip_forces import missing

from setupopt.physics.inputs import KAPPA, SIDESLIP, TAU, Records

Table = dict[str, Any]
GRAVITY = 9.80665
# Lengths m, angles rad, slips, forces over the weight. The package integrates a patch with 16 Gauss points,
# which leaves up to 4e-5 of the load where a slide begins within the patch: that moves a slip by 1e-5. Nine in
# ten trims have none of that, and agree to 1e-6.
TRIM = 1e-5
ANGLE = 1.7e-5  # of sideslip and steer: 0.001 deg
TRIM_OF_MOST = 1e-6
FORCE = 5e-6
LOAD = 0.05  # N
USE = 1e-5
ROWS = 3e-4
ROWS_OF_A_SLIDE = 5e-4  # at up to four times the friction, at the fold itself
# At a fold 1e-5, as both find it so; where an axle slides on at next to the same friction, the plain model
# takes 1e-6 of
# its path's curvature for granted, and both end within 5e-5.
MARGIN = 5e-5
MARGIN_OF_MOST = 1e-5
MOST = 0.9
LEAST_HELD = 150
# Rates by differences of two programs, 1/s: they take other steps about a trim, and the package leaves a
# small part of the moment of load out of its slopes.
GROWTH = 0.1
STORED: list[Table] = json.loads(FILE.read_text(encoding="utf-8"))["cases"]
BY_SEED = {row["seed"]: row for row in STORED}
HELD = [row["seed"] for row in STORED if row["kind"] == "held"]
SLIDING = [row["seed"] for row in STORED if row["kind"] == "slides"]
TIMED_OUT = [
    row["seed"] for row in STORED if row["kind"] == "not solved in time"
]


@cache
def ours(seed: int) -> Records:
    """The package's answer to a seed."""
    return drawn(seed).evaluated().answers[0, 0]


def weight(d: Drawn) -> float:
    """Of the car, N."""
    return float(d.car["car"]["mass_kg"] * GRAVITY)


def kind(found: Records) -> str:
    """In the plain model's words."""
    if not found["contact"]:
        return "lost"
    return "slides" if found["slides"] else "held"


def test_the_stored_cases_are_those_of_today() -> None:
    """Inputs as they were solved; and enough of each kind, or the comparison would be of little worth."""
    for row in STORED:
        assert checksum(drawn_tables(row["seed"])) == row["inputs"], row["seed"]
    assert len(HELD) >= LEAST_HELD
    assert len(TIMED_OUT) <= 0.05 * len(STORED)


SOLVED = [row["seed"] for row in STORED if row["kind"] != "not solved in time"]


@pytest.mark.parametrize("seed", SOLVED)
def test_random_case(seed: int) -> None:
    """Kind, margin, trim and what is read off it, light to heavy cars, bores to flat ground.

    The plain model's few starts may miss a trim at much friction. What the package finds there must meet
    its rows.
    """
    found, row = ours(seed), BY_SEED[seed]
    if row["kind"] == "lost":
        assert kind(found) == "lost" or plain_rows(seed) < ROWS
        return
    assert kind(found) == row["kind"]
    if row["ended"] == "break":
        # where the plain model can go no further, the package may
        assert found["margin"] >= row["margin"] - MARGIN
    else:
        assert found["margin"] == pytest.approx(row["margin"], abs=MARGIN)
    if row["kind"] == "held":
        check_trim(seed)


@pytest.mark.parametrize(
    "seed", [s for s in HELD if BY_SEED[s].get("growth") is not None]
)
def test_growth_rate(seed: int) -> None:
    """How fast the car leaves its trim, wheels free to turn, by the plain program's own linear motion."""
    assert ours(seed)["growth"] == pytest.approx(
        BY_SEED[seed]["growth"], abs=GROWTH
    )


def test_most_cases_agree_closely() -> None:
    """To 1e-6 in the trim and 1e-5 in the margin in nine of ten; to 0.05 N of load in all."""
    trims = [
        np.abs(ours(seed)["state"] - plain_state(seed)).max() for seed in HELD
    ]
    margins = [
        abs(ours(seed)["margin"] - BY_SEED[seed]["margin"])
        for seed in HELD + SLIDING
    ]
    loads = [
        np.abs(ours(seed)["load"] - BY_SEED[seed]["loads"]).max()
        for seed in HELD
    ]
    assert max(loads) < LOAD
    assert np.quantile(trims, MOST) < TRIM_OF_MOST
    assert np.quantile(margins, MOST) < MARGIN_OF_MOST


def plain_state(seed: int) -> np.ndarray:
    """The plain model's trim, forces over the weight as the package has them."""
    state = np.array(BY_SEED[seed]["x"])
    state[TAU:] /= weight(drawn(seed))
    return state


def check_trim(seed: int) -> None:
    """Every unknown of the trim, loads, grips and, of axles without an open differential, uses."""
    d, found, row = drawn(seed), ours(seed), BY_SEED[seed]
    newtons = weight(d)
    assert found["state"] == pytest.approx(plain_state(seed), abs=TRIM)
    assert found["state"][SIDESLIP:KAPPA] == pytest.approx(
        plain_state(seed)[SIDESLIP:KAPPA], abs=ANGLE
    )
    assert found["load"] / newtons == pytest.approx(
        np.array(row["loads"]) / newtons, abs=FORCE
    )
    assert found["grip"] / newtons == pytest.approx(
        np.array(row["capacities"]) / newtons, abs=FORCE
    )
    assert found["slip_angle"] == pytest.approx(row["slip_angles"], abs=TRIM)
    if d.car["car"]["differential"] == "locked":
        assert found["use"] == pytest.approx(
            [row["use_front"], row["use_rear"]], abs=USE
        )


def plain_rows(seed: int) -> float:
    """Largest row of the plain model in the package's trim: at full friction, or of a sliding car at
    lambda.
    """
    d, found = drawn(seed), ours(seed)
    x = np.array(found["state"], dtype=float)
    x[TAU:] *= weight(d)
    car = read_slip_car(d.car, d.setup, d.venue["venue"]["surface_grip"])
    friction = float(found["friction_factor"]) if found["slides"] else 1.0
    return float(
        np.abs(missing(car, read_slip_case(d.venue, d.case), x, friction)).max()
    )


@pytest.mark.parametrize("seed", HELD + SLIDING)
def test_the_plain_rows_are_met_by_our_trim(seed: int) -> None:
    """Forces and moments of the plain program in the package's trim: nothing is left over."""
    assert plain_rows(seed) < (
        ROWS if BY_SEED[seed]["kind"] == "held" else ROWS_OF_A_SLIDE
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", [HELD[len(HELD) // 2]])
def test_the_stored_answer_comes_out_again(seed: int) -> None:
    """The file holds what the plain program finds: margin and trim to its own accuracy, 1e-8."""
    again, row = answer(seed), BY_SEED[seed]
    assert again["margin"] == pytest.approx(row["margin"], abs=1e-8)
    assert again.get("loads", []) == pytest.approx(
        row.get("loads", []), abs=1e-3
    )


@pytest.mark.parametrize(("proposed", "wind"), PAGE)
def test_table_of_the_page(proposed: bool, wind: float) -> None:
    """By a trial of the equations written apart: margins within 0.002, loads to their printed 10 N."""
    margin, loads = PAGE[proposed, wind]
    found = (
        Drawn(*bore_project(proposed), bore_case(crosswind_m_s=wind))
        .evaluated()
        .answers[0, 0]
    )
    assert found["margin"] == pytest.approx(margin, abs=0.002)
    assert bool(found["slides"]) == (loads is None)
    if loads is not None:
        assert found["load"] == pytest.approx(loads, abs=6.0)
