"""What all tests share: which of them are slow."""

from __future__ import annotations

import pytest

# Modules, or single tests of them, that take more than a few seconds; `pytest -m "not slow"` leaves them out.
SLOW = (
    "fit/test_air.py",
    "fit/test_air_ladder.py",
    "fit/test_air_odd.py",
    "fit/test_tyre.py::test_any_subset_of_columns",
    "fit/test_tyre.py::test_cells_may_be_missing_anywhere",
    "fit/test_tyre.py::test_deflection_from_first_touch",
    "fit/test_tyre.py::test_lateral_forces_of_the_other_sign_are_told",
    "fit/test_tyre.py::test_a_leaning_programme_ends_at_the_best_tyre",
    "fit/test_tyre.py::test_a_mirrored_rig_tells_the_same",
    "fit/test_tyre.py::test_published_load_sensitivity",
    "fit/test_tyre.py::test_repeats_and_copies",
    "fit/test_tyre.py::test_the_order_of_rows_changes_nothing",
    "fit/test_least_squares.py::test_errors_hold_whatever_noise_was_told",
    "cli/test_fit.py",
    "cli/test_fit_air.py",
    "physics/test_trim.py::test_steering_value",
    "physics/test_trim.py::test_a_car_on_two_wheels",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks the tests of the list."""
    for item in items:
        if any(f"tests/{start}" in item.nodeid for start in SLOW):
            item.add_marker(pytest.mark.slow)
