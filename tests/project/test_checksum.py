"""Checksums of projects and setups."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.project import Project, load
from setupopt.project.checksum import _entries, project_checksum, setup_checksum
from setupopt.project.model import BalanceSetup

from .good_folder import CAR, VENUE, write_folder


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A folder without a mistake."""
    return load(write_folder(tmp_path / "one"))


def test_comments_and_place_do_not_count(
    project: Project, tmp_path: Path
) -> None:
    """The same numbers in another folder, with other comments: the same checksum."""
    other = load(
        write_folder(
            tmp_path / "two",
            car=f"# another comment\n{CAR}",
            venue=f"{VENUE}\n# end\n",
        )
    )
    assert project_checksum(other) == project_checksum(project)
    assert setup_checksum(other, other.setup) == setup_checksum(
        project, project.setup
    )


def test_any_number_counts(project: Project) -> None:
    """The last bit of a mass, a limit, an attitude or a setting gives another checksum."""
    heavier = replace(
        project,
        car=replace(
            project.car, mass=float(np.nextafter(project.car.mass, 1e9))
        ),
    )
    assert project_checksum(heavier) != project_checksum(project)
    assert project_checksum(replace(project, limits=None)) != project_checksum(
        project
    )
    softer = replace(
        project.setup,
        rear=replace(
            project.setup.rear, spring=project.setup.rear.spring + 1.0
        ),
    )
    assert setup_checksum(project, softer) != setup_checksum(
        project, project.setup
    )


def test_name_of_a_setup_does_not_count(project: Project) -> None:
    """A renamed setup is the same setup."""
    renamed = replace(project.setup, name="another name")
    assert setup_checksum(project, renamed) == setup_checksum(
        project, project.setup
    )
    assert len(setup_checksum(project, renamed)) == 12


def test_entries_at_their_default_do_not_count(project: Project) -> None:
    """Left out they change no checksum of an older folder; given they do."""
    point = project.car.clearance[0]
    bare, held = (
        replace(
            project,
            car=replace(
                project.car, clearance=(replace(point, least_static_gap=gap),)
            ),
        )
        for gap in (None, 0.03)
    )
    assert project_checksum(bare) != project_checksum(held)
    assert "left_share" not in _entries(project.car)
    assert "camber" in _entries(project.setup.front)
    twisted = replace(project.setup, balance=BalanceSetup(cross_share=0.52))
    assert setup_checksum(project, twisted) != setup_checksum(
        project, project.setup
    )


EXAMPLES = {
    "bore": ("6c198717138f", "b324663016cf"),
    "bank": ("4390f565973a", "43bd5dcd6977"),
    "hill": ("666d202e9af7", "1feb58df39e3"),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_checksums_of_the_examples_stay(name: str) -> None:
    """A regression test of our own output: sheets on paper carry these, and must still be found.

    Where an example's numbers change, its checksums must; where only the code does, they must not.
    """
    example = load(Path(__file__).resolve().parents[2] / "setups" / name)
    assert (
        project_checksum(example),
        setup_checksum(example, example.setup),
    ) == EXAMPLES[name]
