"""Wing angles from a table: what each wing does at every measured angle, row by row."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from project.good_folder import write_folder

from fit.air_tables import as_csv, attitudes, measured
from setupopt.fit.air.files import body_toml
from setupopt.fit.air.fits import AirFits, fit_air
from setupopt.fit.air.oddities import oddities
from setupopt.fit.air.table import read_air
from setupopt.project import load
from setupopt.project.bodies import with_body
from setupopt.project.model import Car
from setupopt.units import DEG

# Invented: the first wing's free and ground area, and the body's drag, over those at 10 deg.
TURNED = {4.0: (0.7, 0.8, 0.93), 16.0: (1.25, 1.1, 1.12)}


def turned(car: Car, free: float, ground: float, drag: float) -> Car:
    """The car with its first wing at another angle."""
    first, *others = car.air.elements
    wing = replace(
        first,
        free_area=free * first.free_area,
        ground_area=ground * first.ground_area,
    )
    return replace(
        car,
        air=replace(
            car.air,
            elements=(wing, *others),
            drag_area=drag * car.air.drag_area,
        ),
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of a project with a table in which the first wing stands at three angles, and two wings move once."""
    folder = write_folder(tmp_path_factory.mktemp("wings"))
    car = load(folder).car
    first, other = (element.name for element in car.air.elements[:2])
    head, *body = as_csv({"car": measured(car, attitudes(30))}).splitlines()
    lines = [
        f"{head},angle_{first}_deg,angle_{other}_deg",
        *(f"{line},10,3" for line in body),
    ]
    for angle, factors in TURNED.items():
        rows = measured(turned(car, *factors), attitudes(12, seed=int(angle)))
        lines += [
            f"{line},{angle:g},3"
            for line in as_csv({"car": rows}).splitlines()[1:]
        ]
    lines.append(f"{body[0]},4,5")
    (folder / "t.csv").write_text("\n".join(lines) + "\n")
    return folder


@pytest.fixture(scope="module")
def fits(folder: Path) -> AirFits:
    """Its body."""
    project = load(folder)
    return fit_air(read_air(folder / "t.csv", project.car), project)


def test_rows_by_angle_come_back(folder: Path, fits: AirFits) -> None:
    """The areas and the drag of each angle are those that made the table, to 1e-4: there is no noise."""
    car = load(folder).car
    (fit,) = fits.fits
    rows = fit.settings(0)
    assert [row.angle / DEG for row in rows] == pytest.approx([4.0, 10.0, 16.0])
    made = [
        turned(car, *TURNED.get(row.angle / DEG, (1.0, 1.0, 1.0))).air
        for row in rows
    ]
    for row, air in zip(rows, made, strict=True):
        wing = air.elements[0]
        assert row.free_area == pytest.approx(wing.free_area, rel=1e-4)
        assert row.ground_area == pytest.approx(wing.ground_area, rel=1e-4)
        assert row.drag_area is not None and rows[0].drag_area is not None
        more = air.drag_area - made[0].drag_area
        assert row.drag_area - rows[0].drag_area == pytest.approx(
            more, abs=1e-4
        )
    assert min(row.drag_area or 0.0 for row in rows) >= 0.0
    assert fit.settings(1) == ()


def test_rows_that_turn_two_wings_are_named(fits: AirFits) -> None:
    """Such a row tells nothing of either wing: its line is told, and it stands in no fit."""
    (note,) = [said for said in fits.notes if "more than one wing" in said]
    assert note.startswith("line 56: ")
    assert sum(len(part.rows) for part in fits.parts) == 30 + 12 + 12


def test_a_body_with_settings_can_be_worn(folder: Path, fits: AirFits) -> None:
    """The file reads back where car.toml has settings of the same wing; else a caution says so."""
    (fit,) = fits.fits
    assert any(
        "Put such rows into car.toml too" in said for said in oddities(fit)
    )
    (folder / "bodies").mkdir()
    (folder / "bodies" / "wide.toml").write_text(
        body_toml(fits, fit), encoding="utf-8"
    )
    own = folder / "car.toml"
    loss = "yaw_loss_per_rad2 = 2.0\n"
    assert own.read_text().count(loss) == 1
    row = "free_area_m2 = 0.6\nground_area_m2 = 0.5\npeak_gap_mm = 60\n"
    settings = "".join(
        f"[[air.element.setting]]\nangle_deg = {angle}\n{row}"
        for angle in (4, 16)
    )
    own.write_text(own.read_text().replace(loss, loss + settings))
    setup = folder / "setup.toml"
    setup.write_text(setup.read_text() + '\n[wings]\n"front wing" = 8.0\n')
    worn = with_body(load(folder), "wide").car.air.elements[0]
    assert [row.angle / DEG for row in worn.settings] == pytest.approx(
        [4.0, 10.0, 16.0]
    )
    assert worn.drag_area == pytest.approx(worn.settings[1].drag_area)
