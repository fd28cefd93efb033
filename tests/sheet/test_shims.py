"""Shim combinations against brute force."""

from __future__ import annotations

import doctest
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setupopt.sheet import adjusters, shims
from setupopt.sheet.adjusters import thickness
from setupopt.sheet.shims import shim_combination

MM = 1e-3


def brute_force(
    change: float, sizes: list[float], most: int
) -> tuple[float, int]:
    """Least miss, in micrometres, and fewest shims that have it, over every count of every size."""
    wanted = round(abs(change) * 1e6)
    best = (wanted, 0)
    for counts in product(range(most + 1), repeat=len(sizes)):
        if sum(counts) <= most:
            total = sum(
                count * round(size * 1e6)
                for count, size in zip(counts, sizes, strict=True)
            )
            best = min(best, (abs(total - wanted), sum(counts)))
    return best


@given(
    st.lists(
        st.sampled_from([0.1, 0.2, 0.25, 0.3, 0.5, 0.75, 1.0, 1.6, 2.0]),
        min_size=1,
        max_size=4,
        unique=True,
    ),
    st.integers(-6000, 6000),
)
def test_as_near_and_as_few_as_brute_force(
    sizes: list[float], micrometres: int
) -> None:
    """Nearest sum, then fewest shims; at most six of them here, so that all can be tried."""
    thick = [size * MM for size in sizes]
    found = shim_combination(micrometres * 1e-6, thick, most=6)
    miss = abs(thickness(found) * 1e6 - abs(micrometres))
    expected = brute_force(micrometres * 1e-6, thick, 6)
    assert miss == pytest.approx(expected[0], abs=1e-6)
    assert sum(count for _, count in found) == expected[1]
    assert {round(size * 1e6) for size, _ in found} <= {
        round(size * 1e6) for size in thick
    }


def test_no_shims_make_nothing() -> None:
    """Without sizes, and for less than half of the thinnest."""
    assert shim_combination(1e-3, []) == ()
    assert shim_combination(0.1e-3, [0.25e-3]) == ()


@pytest.mark.parametrize("module", [shims, adjusters])
def test_examples_in_the_text(module: object) -> None:
    """The doctests hold, and there are some."""
    done = doctest.testmod(module)  # type: ignore[arg-type]
    assert done.attempted
    assert not done.failed
