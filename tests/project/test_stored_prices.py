"""Prices are shown only if they are of exactly these inputs and this setup."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hardening.test_found import made_endless
from report import report_folders as folders

from setupopt.evaluation.report_data import report
from setupopt.project import Project, load
from setupopt.project.checksum import setup_checksum
from setupopt.project.stored_prices import (
    FILE,
    PICTURE,
    proposal_file,
    stored_prices,
    stored_route,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project with a proposal and its prices."""
    return folders.proposed(tmp_path / "project")


def proposed(folder: Path) -> Project:
    """Standing on the proposed setup."""
    return load(folder, "proposed.toml")


def test_prices_of_these_inputs_are_found(folder: Path) -> None:
    """As they were kept."""
    found = stored_prices(proposed(folder))
    assert found is not None
    assert found["limit_prices"][0]["limit"] == "rear.pressure_bar.from"


@pytest.mark.parametrize(
    ("file", "before", "after"),
    [
        ("car.toml", "mass_kg = 545", "mass_kg = 546"),
        (
            "venue.toml",
            "surface_grip = 0.92",
            "surface_grip = 0.91",
        ),
        ("limits.toml", "from = -9,", "from = -8,"),
        (
            "proposed.toml",
            "camber_deg = -6.5",
            "camber_deg = -6.4",
        ),
        (
            "proposed.toml",
            "[front]",
            "[balance]\nbrake_front_percent = 55\n\n[front]",
        ),
    ],
)
def test_prices_of_other_inputs_are_not(
    folder: Path, file: str, before: str, after: str
) -> None:
    """Any number of car, venue, limits or setup that is another one: no price."""
    folders.changed(folder, file, before, after)
    assert stored_prices(proposed(folder)) is None


def test_a_proposal_that_tells_no_inputs_is_not_believed(folder: Path) -> None:
    """One that an older version kept."""
    kept = json.loads((folder / FILE).read_text())
    del kept["project_checksum"]
    (folder / FILE).write_text(json.dumps(kept))
    assert stored_prices(proposed(folder)) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '"x"',
        "\xff",
        "[" * 100_000,
        '{"project_checksum": 3}',
        '{"limit_prices": 1e999}',
    ],
)
def test_a_damaged_file_has_none(folder: Path, text: str) -> None:
    """No traceback, no price."""
    (folder / FILE).write_text(text, encoding="latin-1")
    assert stored_prices(proposed(folder)) is None


@pytest.mark.parametrize("kind", ["fifo", "device"])
def test_a_file_without_an_end_has_none(folder: Path, kind: str) -> None:
    """Once it was waited for, or read until the memory was full."""
    made_endless(folder / FILE, kind)
    assert stored_prices(proposed(folder)) is None


@pytest.mark.parametrize(
    "rows",
    [
        None,
        [3],
        [{}],
        [{"limit": "x"}],
        [{"limit": 1, "unit": "mm", "key": "k", "agrees": True}],
    ],
)
def test_rows_in_another_form_are_not_shown(folder: Path, rows: object) -> None:
    """The right checksum alone does not make them prices."""
    folders.keep_prices(folder, limit_prices=rows)
    assert stored_prices(proposed(folder)) is None


def test_a_proof_with_numbers_that_are_none_is_left_out(folder: Path) -> None:
    """JSON has no word for them, and a scale is not to be trusted that holds them."""
    assert (
        report(
            load(folder), proposed(folder), None, "2026-01-31"
        ).proposed.proof
        is not None
    )
    folders.keep_proof(folder, more=float("inf"))
    assert (
        report(
            load(folder), proposed(folder), None, "2026-01-31"
        ).proposed.proof
        is None
    )


def test_what_propose_keeps_comes_first(folder: Path) -> None:
    """The answer in proved/, with its picture, stands before proposal.json, which --out may have left."""
    project = proposed(folder)
    answer = json.loads((folder / FILE).read_text())
    kept = proposal_file(project, project.setup)
    kept.parent.mkdir(exist_ok=True)
    kept.write_text(json.dumps({**answer, PICTURE: "<svg/>"}))
    found = stored_prices(project)
    assert found is not None and found[PICTURE] == "<svg/>"
    (folder / FILE).unlink()
    assert stored_prices(project) is not None
    kept.write_text(json.dumps({**answer, "project_checksum": "other"}))
    assert stored_prices(project) is None


def test_a_route_of_another_setup_is_not_shown(folder: Path) -> None:
    """Only that of exactly this setup."""
    project = proposed(folder)
    assert stored_route(project, project.setup) is None
    route = {
        "setup": {"checksum": setup_checksum(project, project.setup)},
        "margin": 0.2,
    }
    (folder / "route.json").write_text(json.dumps(route))
    assert stored_route(project, project.setup) == route
    assert stored_route(load(folder), load(folder).setup) is None
