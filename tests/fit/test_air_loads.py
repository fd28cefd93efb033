"""What a balance under the car would read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cars import CAR, SETUP, solve, solve_without_crab, venue

from fit.air_tables import attitudes, measured
from setupopt.fit.air.loads import Balance
from setupopt.fit.air.rows import AirRows
from setupopt.fit.air.terms import terms_of, with_terms
from setupopt.physics.inputs import SIDESLIP


def loads(rows: AirRows, share: float = 1.0) -> np.ndarray:
    """Of the invented car with all its terms scaled."""
    terms = terms_of(CAR.air)
    return Balance(CAR, terms, rows).loads(
        share * np.array([term.like for term in terms])
    )


def test_loads_are_the_written_out_sums() -> None:
    """Strip by strip from docs/model.md, moments about the tyres' contact line with the drag in them; in
    roll, in yaw and in a bore. 1e-9 of the force is rounding."""
    rows = attitudes(24)
    assert (rows.curvature > 0.0).sum() > 2
    assert (rows.yaw != 0.0).sum() > 2
    assert loads(rows) == pytest.approx(
        measured(CAR, rows).forces, rel=1e-9, abs=1e-9
    )


def test_values_of_terms_make_the_same_body() -> None:
    """The body with other numbers, packed anew, gives what the balance gives with these numbers."""
    terms, rows = terms_of(CAR.air), attitudes(6)
    air = with_terms(
        CAR.air, terms, 1.3 * np.array([term.like for term in terms])
    )
    other = replace(CAR, air=air)
    assert loads(rows, 1.3) == pytest.approx(
        measured(other, rows).forces, rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize(
    ("curvature", "crabs"), [(0.0, True), (0.0, False), (1.0 / 9.0, False)]
)
def test_a_trimmed_car_feels_what_the_balance_reads(
    curvature: float, crabs: bool
) -> None:
    """A case's downforce and drag, read again at the gaps, roll and yaw in which the car came to rest.

    The crab angle yaws the flow. A table's rows stand along the section, so in a bore the car stands so too.
    """
    run = solve if crabs else solve_without_crab
    answer = run(
        CAR, SETUP, venue(curvature), speed=60.0, roll_angle=0.3, crosswind=4.0
    ).answers[0][0]
    yaw, speed = np.arctan2(4.0, 60.0), np.hypot(4.0, 60.0)
    if crabs:
        assert abs(answer["state"][SIDESLIP]) > 0.002
        yaw += answer["state"][SIDESLIP]
    values = (
        *answer["ride_gap"],
        answer["state"][2],
        yaw,
        curvature,
        speed,
        1.2,
    )
    rows = AirRows(
        *(np.array([value]) for value in values),
        np.full((1, 4), np.nan),
        np.array([2]),
    )
    front, rear, drag, _ = loads(rows)[0]
    assert front + rear == pytest.approx(
        answer["downforce"], rel=1e-6
    )  # the body's angles are small ones
    assert drag == pytest.approx(answer["drag"], rel=1e-9)


def test_flow_from_the_left_pushes_to_the_right() -> None:
    """The sign that a user's table must have: ISO 8855, y to the left."""
    assert loads(attitudes(2, yaw=0.1))[0, 3] < 0.0
