"""Other cars and places: a student-size car where straight running loses contact, a banking up and back."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_examples import parts_toml

from setupopt.project import Project, load
from setupopt.route.goal import RouteOptions
from setupopt.route.judged import Judge
from setupopt.route.study import study_route

from .conftest import SETUPS, wanted, with_route


def student(bore: Project) -> Project:
    """260 kg, a good half of the example's downforce, in a bore of 6 m radius; invented."""
    air = bore.car.air
    elements = tuple(
        replace(
            one,
            free_area=0.55 * one.free_area,
            ground_area=0.55 * one.ground_area,
        )
        for one in air.elements
    )
    inertia = {
        "pitch_inertia": 200.0,
        "roll_inertia": 40.0,
        "yaw_inertia": 220.0,
    }
    small = replace(
        bore.car,
        mass=260.0,
        power=60e3,
        air=replace(air, drag_area=0.8, elements=elements),
        **inertia,
    )
    return replace(
        bore, car=small, venue=replace(bore.venue, curvature=1.0 / 6.0)
    )


def test_over_the_top_at_30_m_s(bore: Project) -> None:
    """Straight along at 150 deg it falls off; over the top it keeps a quarter of its grip."""
    project = with_route(student(bore), wanted(150.0, hold=10.0, returns=True))
    found = study_route(project, RouteOptions(speed=30.0, length=200.0))
    assert found.straight == -np.inf
    assert found.paths.shape.name == "over"
    assert found.firsts["back"] is None
    assert found.margin.min() > 0.2
    assert found.paths.held[0] >= 10.0 * 0.999
    assert found.judged.points.place[0, -1] == pytest.approx(
        2.0 * np.pi * 6.0, abs=1e-6
    )


APRON = {"width_mm": 6000}
PARTS = parts_toml(None, APRON, {"radius_mm": 20000, "sweep_deg": 30}, APRON)
ROUTE = """
[route]
to_deg = 30
hold_m = 20
return = true
least_margin = 0.1
"""


def test_a_banking_from_the_apron_up_and_back(tmp_path: Path) -> None:
    """The banked corner with its section: every limit is kept, and the least margin is that of the apron where
    the way begins and ends, straight on in the turn of 270 m, which no way exceeds; 0.01.
    """
    folder = tmp_path / "bank"
    shutil.copytree(SETUPS / "bank", folder)
    venue = (folder / "venue.toml").read_text(encoding="utf-8")
    venue = venue.replace('section = "flat"', 'section = "parts"')
    venue = venue.replace(
        "from = 14, to = 34, step = 0.5", "from = 0, to = 30, step = 1"
    )
    (folder / "venue.toml").write_text(
        venue.replace("[[attitude]]", PARTS + "[[attitude]]", 1),
        encoding="utf-8",
    )
    with (folder / "limits.toml").open("a", encoding="utf-8") as limits:
        limits.write(ROUTE)
    found = study_route(load(folder), RouteOptions(speed=60.0))
    assert found.holds
    assert found.paths.shape.name == "back"
    assert np.degrees(found.roll_angle.max()) == pytest.approx(30.0, abs=1e-6)
    assert found.paths.held[0] >= 20.0
    judge = Judge(found.project, found.goal)
    apron = judge.straight(found.paths.legs[0].start, np.full(1, 60.0))
    first = found.firsts["back"]
    assert first is not None
    assert first.straight == pytest.approx(apron, abs=1e-6)
    assert found.margin.min() == pytest.approx(apron, abs=0.01)
