"""What is asked: how attitudes count, their floors, and which settings stay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.errors import UserError
from setupopt.evaluation.variables import Slot, is_kept
from setupopt.project.model import Venue
from setupopt.project.settings import SETTINGS
from setupopt.search.objective import BODY, fixed_settings, objective_of

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="module")
def venue() -> Venue:
    """The invented hill with three of its attitudes, called a, b and c."""
    hill = setupopt.load(SETUPS / "hill").venue
    three = tuple(
        replace(one, name=name)
        for one, name in zip(hill.attitudes, "abc", strict=False)
    )
    return replace(hill, attitudes=three)


def test_without_wishes_every_margin_counts_as_it_is(venue: Venue) -> None:
    """Weight one changes no digit, whatever the sign of the margin."""
    objective, margins = objective_of(venue), np.array([0.3, -0.2, 0.9])
    assert objective.is_plain
    np.testing.assert_allclose(
        objective.weighted(np.arange(3), margins), margins, atol=1e-15
    )


def test_a_weight_is_a_share_of_grip_used(venue: Venue) -> None:
    """Weight 1.2 turns a use of 0.5 into one of 0.6, and a slide of 1.5 into one of 1.8: never kinder."""
    objective = objective_of(venue, {"b": 1.2})
    np.testing.assert_allclose(
        objective.weighted(np.array([1, 1]), np.array([0.5, -0.5])), [0.4, -0.8]
    )
    assert not objective.is_plain


def test_a_floor_takes_an_attitude_out_of_what_is_raised(venue: Venue) -> None:
    """Asked for a floor alone, the attitude weighs nothing; with a weight as well it keeps both."""
    assert objective_of(venue, None, {"a": 0.1}).weights.tolist() == [
        0.0,
        1.0,
        1.0,
    ]
    both = objective_of(venue, {"a": 0.8}, {"a": 0.1})
    assert both.weights.tolist() == [0.8, 1.0, 1.0]
    assert both.minimum_margins.tolist() == [0.1, -np.inf, -np.inf]


def test_unknown_attitudes_are_named_with_those_there_are(venue: Venue) -> None:
    """A typing error is no silent wish."""
    with pytest.raises(
        UserError, match=r'no attitude "d" in venue\.toml; there are'
    ):
        objective_of(venue, {"d": 1.0})


def test_something_must_be_left_to_raise(venue: Venue) -> None:
    """Floors for all is no question for a search."""
    with pytest.raises(UserError, match="leave one to be raised"):
        objective_of(venue, None, dict.fromkeys("abc", 0.1))


def test_a_key_without_an_axle_keeps_both() -> None:
    """Short and long names, and the body."""
    kept = fixed_settings(["camber_deg", "rear.spring_N_per_mm", "body"])
    assert BODY in kept
    for where, number, is_fixed in (
        ("front", 0, True), ("rear.left", 0, True), ("rear", 2, True), ("rear.right", 2, True),
        ("front", 2, False), ("front.left", 1, False),
    ):  # fmt: skip
        assert is_kept(Slot(where, SETTINGS[number], (0,)), kept) == is_fixed
    with pytest.raises(UserError, match=r"nearest are .*front\.camber_deg"):
        fixed_settings(["front.camber"])
