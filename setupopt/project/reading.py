"""Reads a project folder: every mistake of every file at once, or a Project in SI."""

from __future__ import annotations

from collections.abc import Callable
from os.path import lexists
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from setupopt.errors import InputError, InputErrors
from setupopt.project.bodies import choices, file_name, with_body
from setupopt.project.body_files import find_bodies, other_stations
from setupopt.project.model import Project, Setup
from setupopt.project.toml_file import TomlFile, read_toml
from setupopt.units import MM

if TYPE_CHECKING:
    from setupopt.project import car_schema, setup_schema, venue_schema
    from setupopt.project.consistency import Finding
    from setupopt.project.field_types import Table
    from setupopt.project.survey import Surveyed

    File = TypeVar("File", bound=Table)

# pydantic takes 0.1 s to import: the schema is imported where a folder is read, not by `--help`


def load(folder: str | Path, setup_file: str | Path | None = None) -> Project:
    """The project in `folder`, with the setup `setup_file` (its own setup.toml unless given), in its body.

    A relative `setup_file` is looked for in the folder, then in the current one.
    Raises InputErrors with everything that is wrong.
    """
    from setupopt.project import to_si as convert
    from setupopt.project.assumed import assumed
    from setupopt.project.car_schema import CarFile
    from setupopt.project.consistency import refusals
    from setupopt.project.file_warnings import file_cautions
    from setupopt.project.limits_schema import LimitsFile
    from setupopt.project.setup_schema import SetupFile
    from setupopt.project.venue_schema import VenueFile
    from setupopt.project.warnings import cautions

    home = _home(folder)
    reader = _Reader()
    car_file = reader.read("car", home / "car.toml", CarFile)
    venue_file = reader.read("venue", home / "venue.toml", VenueFile)
    setup_read = reader.read("setup", setup_path(home, setup_file), SetupFile)
    path = home / "limits.toml"
    limits_file = (
        reader.read("limits", path, LimitsFile) if lexists(path) else None
    )
    body_files = reader.bodies(home, car_file, setup_read)
    if not (car_file and venue_file and setup_read) or reader.errors:
        raise InputErrors(reader.errors)
    surveyed = survey_of(home, venue_file)
    section = None if surveyed is None else surveyed.section
    car = convert.car(car_file)
    venue = convert.venue(venue_file, section)
    setup = convert.setup(setup_read)
    limits = None if limits_file is None else convert.limits(limits_file)
    bodies = tuple(
        convert.body(name, file, car) for name, file in body_files.items()
    )
    reader.refuse(refusals(car, venue, setup, bodies, limits))
    odd = [
        *file_cautions("car.toml", car_file),
        *file_cautions("venue.toml", venue_file),
        *file_cautions("setup.toml", setup_read),
    ]
    for name, file in body_files.items():
        odd += file_cautions(file_name(name), file)
    odd += cautions(car, venue, setup, limits, bodies)
    odd += surveyed.cautions if surveyed else ()
    project = Project(
        home, car, venue, setup, limits, tuple(odd), bodies=bodies, assumed=assumed(car_file)
    )  # fmt: skip
    return with_body(project, setup.body)


def _home(folder: str | Path) -> Path:
    """The folder of a project. Raises InputErrors where there is none."""
    home = Path(folder)
    if not _is_true(home.is_dir):
        found = "a file" if _is_true(home.is_file) else "no such folder"
        expected = "a project folder with car.toml, venue.toml and setup.toml"
        raise InputErrors([InputError(str(home), None, "", found, expected)])
    return home


def survey_of(home: Path, file: venue_schema.VenueFile) -> Surveyed | None:
    """The section that a survey in the folder describes; None where there is none. Raises InputErrors."""
    from setupopt.project.survey import read_survey

    if file.section is None or file.section.survey is None:
        return None
    return read_survey(
        home / file.section.survey, file.section.survey_error_mm * MM
    )


def read_setup(path: str | Path) -> Setup:
    """A setup file on its own. Raises InputErrors."""
    from setupopt.project import setup_schema
    from setupopt.project import to_si as convert
    from setupopt.project.validation_errors import checked

    return convert.setup(checked(read_toml(Path(path)), setup_schema.SetupFile))


class _Reader:
    """Reads file after file and keeps the mistakes."""

    def __init__(self) -> None:
        self.files: dict[str, TomlFile] = {}
        self.errors: list[InputError] = []

    def read(self, name: str, path: Path, schema: type[File]) -> File | None:
        from setupopt.project.validation_errors import checked

        try:
            self.files[name] = read_toml(path)
            return checked(self.files[name], schema)
        except InputErrors as refused:
            self.errors += refused.errors
            return None

    def bodies(
        self,
        home: Path,
        car: car_schema.CarFile | None,
        setup: setup_schema.SetupFile | None,
    ) -> dict[str, car_schema.BodyFile]:
        """The bodies of a project by name, their ride heights measured where car.toml says; among them must be
        the one that the setup names.
        """
        from setupopt.project.car_schema import BodyFile

        paths, wrong = find_bodies(home)
        self.errors += wrong
        found = {}
        for name, path in paths.items():
            file = self.read(file_name(name), path, BodyFile)
            if file is not None:
                found[name] = file
            if file is not None and car is not None:
                whole = self.files[file_name(name)]
                self.errors += other_stations(whole, file.air, car.air)
        worn = setup.setup.body if setup else None
        if worn is not None and worn not in paths:
            expected = choices(worn, paths)
            self.errors.append(
                self.files["setup"].error(("setup", "body"), expected)
            )
        return found

    def refuse(self, findings: list[Finding]) -> None:
        if findings:
            raise InputErrors(
                self.files[name].error(loc, expected)
                for name, loc, expected in findings
            )


def setup_path(home: Path, given: str | Path | None) -> Path:
    """The file that `load` reads as the setup of the project in `home`."""
    inside = home / (given or "setup.toml")
    return inside if given is None or _is_true(inside.is_file) else Path(given)


def _is_true(test: Callable[[], bool]) -> bool:
    """Whether a question to the disk is answered with yes; no permission and absurd names are a no."""
    try:
        return test()
    except (OSError, ValueError):
        return False
