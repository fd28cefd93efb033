"""The proof that a project keeps: what it tried, and which of two is the coarser."""

from __future__ import annotations

from typing import Any

import pytest

from setupopt.project.stored_proof import ProofExtent, is_coarser, proof_extent


def proof(directions: int = 16, builds: int = 1024, seeds: int = 40, cases: int = 2, seconds: float = 10.0,
          measured: bool = False) -> dict[str, Any]:  # fmt: skip
    """What an answer of `prove` says about its extent."""
    rides = [{"rides": seeds - 1, "lost": 1}] * cases
    return {
        "wind": [{}] * directions,
        "road": {"rides": rides, "run_seconds": seconds, "measured": measured},
        "build": {"cloud": {"builds": builds}},
    }


def test_extent_is_what_was_tried() -> None:
    """Directions, builds, seeds, rides of all cases, lost ones too, and seconds of a ride."""
    assert proof_extent(proof()) == ProofExtent(16, 1024, 40, 80, 10.0, 1)
    assert proof_extent(proof() | {"road": None}) == ProofExtent(
        16, 1024, 0, 0, 0.0, 1
    )
    assert proof_extent({"wind": [{}]}) is None


@pytest.mark.parametrize(
    "less",
    [
        {"directions": 8},
        {"builds": 64},
        {"seeds": 4},
        {"cases": 1},
        {"seconds": 2.0},
    ],
)
def test_less_of_anything_is_coarser(less: dict[str, Any]) -> None:
    """Whatever else it tried more of; the same extent is not coarser, nor is more."""
    more = {
        "directions": 32,
        "builds": 4096,
        "seeds": 60,
        "cases": 3,
        "seconds": 20.0,
    }
    assert is_coarser(proof(**less), proof())
    assert is_coarser(proof(**(more | less)), proof())
    assert not is_coarser(proof(), proof())
    assert not is_coarser(proof(), proof(**less))


def test_a_proof_of_unknown_extent_never_wins() -> None:
    """One that does not say what it tried is replaced by one that does, not the other way."""
    unknown = {"wind": [{}], "road": None}
    assert is_coarser(unknown, proof())
    assert not is_coarser(proof(), unknown)


def test_measured_and_random_roads_compare_by_wind_and_builds() -> None:
    """A measured road has two or four rides only, which says nothing against it."""
    measured = proof(seeds=2, measured=True)
    assert not is_coarser(measured, proof())
    assert is_coarser(proof(directions=4, seeds=2, measured=True), proof())
    assert is_coarser(proof(seeds=2), proof())
