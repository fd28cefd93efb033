"""What all tests share: which of them are slow, and the sweeps that were solved before."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from kept_sweeps import KeptSweeps

from setupopt.physics import sweep

# Where the sweep itself is tested, or the machine under it, every sweep is solved
ALWAYS_SOLVED = (
    "tests/benchmarks/",
    "tests/physics/",
    "tests/evaluation/",
    "tests/hardening/",
    "tests/reference/",
    "tests/jobs/",
    "tests/test_",
)

# Modules, or single tests of them, that take more than about two seconds of a core; `pytest -m "not slow"`
# leaves them out. Most of them start the program anew, which alone takes three, or run whole studies.
SLOW = (
    "cli/test_compare.py",
    "cli/test_fit.py",
    "cli/test_fit_air.py",
    "cli/test_propose.py",
    "cli/test_report.py",
    "cli/test_speeds.py",
    "fit/test_air.py",
    "fit/test_air_ladder.py",
    "fit/test_air_odd.py",
    "fit/test_tyre.py::test_a_leaning_programme_ends_at_the_best_tyre",
    "fit/test_tyre.py::test_a_mirrored_rig_tells_the_same",
    "fit/test_tyre.py::test_any_subset_of_columns",
    "fit/test_tyre.py::test_cells_may_be_missing_anywhere",
    "fit/test_tyre.py::test_deflection_from_first_touch",
    "fit/test_tyre.py::test_lateral_forces_of_the_other_sign_are_told",
    "fit/test_tyre.py::test_published_load_sensitivity",
    "fit/test_tyre.py::test_repeats_and_copies",
    "fit/test_tyre.py::test_the_order_of_rows_changes_nothing",
    "hardening/test_large.py",
    "hardening/test_names.py::test_project_behind_links",
    "hardening/test_same_numbers.py::test_uncompiled_kernels_count_alike",
    "hardening/test_spreadsheets.py::test_no_command_writes_a_cell_that_is_run",
    "hardening/test_targets.py::test_kernels_without_a_place",
    "hardening/test_words.py::test_answers_obey_no_escape",
    "jobs/test_cluster.py",
    "project/test_bodies.py::test_every_mistake_in_a_body_is_named_by_file_line_and_key",
    "project/test_broken_folders.py::test_every_broken_folder_is_refused_by_file_and_key",
    "project/test_reading.py::test_no_text_raises_anything_else",
    "search/test_comparison.py",
    "search/test_global_bounds.py",
    "search/test_handling.py",
    "search/test_near_optimal.py",
    "search/test_proposing.py",
    "search/test_solver.py",
    "test_api.py",
    "test_wheel.py",
    "validation/test_validation.py",
)

# The dearest, each many seconds of a core: whole studies, killed processes, machines of a cluster, the reference
# program's own tests, and second cases of what a cheaper test shows. They are left out unless they are asked
# for, so that all others end in eight minutes: `pytest -m study`.
STUDIES = (
    "cli/test_cluster.py",
    "cli/test_docs.py::test_every_command_of_the_pages_runs",
    "cli/test_propose.py::test_robust_tells_its_price",
    "cli/test_prove.py",
    "cli/test_route.py",
    "explore/test_page.py",
    "fit/test_air.py::test_the_error_of_left_out_rows_is_that_of_fresh_rows",
    "fit/test_least_squares.py::test_errors_hold_whatever_noise_was_told",
    "hardening/test_disks.py::test_a_full_disk_leaves_whole_files_or_none",
    "hardening/test_disks.py::test_several_at_once",
    "hardening/test_disks.py::test_stopped_at_any_moment",
    "hardening/test_fuzz.py",
    "hardening/test_names.py::test_projects_of_any_name",
    "hardening/test_same_numbers.py::test_threads_change_no_bit",
    "hardening/test_same_numbers.py::test_uncompiled_kernels_count_alike",
    "hardening/test_spreadsheets.py::test_no_command_writes_a_cell_that_is_run",
    "hardening/test_spreadsheets.py::test_another_language_changes_no_file",
    "hardening/test_words.py::test_odd_time_zones",
    "learn/test_broken_logs.py::test_rows_that_are_no_run[reversed]",
    "learn/test_learn.py::test_a_log_of_the_ride_tells_zeros",
    "learn/test_learn.py::test_an_axle_that_slides_tells_the_grip",
    "learn/test_learn.py::test_three_runs_narrow_the_downforce_and_raise_the_next_angle",
    "learn/test_learn.py::test_two_logs_count_together",
    "physics/test_jit.py::test_damaged_kernels_are_compiled_anew[0]",
    "physics/test_jit.py::test_uncompiled_kernels_give_the_same_numbers",
    "reference/test_plain_slip_model.py",
    "report/test_comparison_picture.py::test_texts_keep_to_their_width_and_say_what_is_lost",
    "report/test_page_in_browser.py",
    "robust/test_best_single_step.py",
    "robust/test_build_variation.py",
    "robust/test_bump.py",
    "robust/test_gust.py",
    "robust/test_linear_road_response.py",
    "robust/test_quasi_monte_carlo.py",
    "robust/test_speed_study.py",
    "robust/test_time_domain_road.py",
    "robust/test_verdict.py",
    "robust/test_window.py::test_it_is_the_window_of_the_study[0.0]",
    "route/test_both.py::test_setup_and_route_in_turn",
    "route/test_optimal_control.py",
    "route/test_other_cars.py",
    "route/test_programme.py::test_a_short_programme",
    "route/test_radius_map.py::test_neighbours_help",
    "route/test_way_out.py",
    "search/test_required.py",
    "search/test_shadow_prices.py",
    "search/test_trust_region_subproblem.py::test_a_thousand_programs_have_the_value_that_cvxpy_finds",
    "search/test_tradeoff.py",
    "search/test_worth.py",
    "sheet/test_readback.py::test_half_a_degree_on_one_axle_comes_first[bank]",
    "sheet/test_readback.py::test_half_a_degree_on_one_axle_comes_first[hill]",
    "test_api.py::test_examples_of_the_functions_run[prove]",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks the tests of the lists."""
    for item in items:
        for starts, mark in (
            (SLOW + STUDIES, pytest.mark.slow),
            (STUDIES, pytest.mark.study),
        ):
            if any(f"tests/{start}" in item.nodeid for start in starts):
                item.add_marker(mark)


KEPT = KeptSweeps()


@pytest.fixture(scope="session", autouse=True)
def kept_sweeps(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One folder of answers for all workers of a run."""
    own = tmp_path_factory.getbasetemp()
    KEPT.folder = (
        own.parent if own.name.startswith("popen-") else own
    ) / "sweeps"
    KEPT.folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sweep, "run", KEPT.run)
        yield


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Each test, and the fixtures that are made for it, by its room."""
    KEPT.is_on = not item.nodeid.startswith(ALWAYS_SOLVED)
