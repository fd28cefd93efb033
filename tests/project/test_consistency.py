"""Entries that are fine alone and wrong together: refused, or said as a caution."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from cars import SLICK

from setupopt.errors import InputErrors
from setupopt.project import load
from setupopt.project.static_checks import penetration, reach

from .good_folder import (
    FILES,
    SETUP,
    changed,
    lines_of,
    with_line,
    write_folder,
)

REFUSED = [
    ("car.toml", [("mass_kg = 780", "mass_kg = 90")], "car.mass_kg"),
    (
        "car.toml",
        [("cg_height_mm = 280", "cg_height_mm = 30")],
        "car.cg_height_mm",
    ),
    (
        "car.toml",
        [("= 0.008", "= 0.00001"), ("= 0.012", "= 0.00001")],
        "tyre.slick.foundation_N_per_mm3",
    ),
    (
        "venue.toml",
        [("radius_mm = 7500", "radius_mm = 1000")],
        "venue.radius_mm",
    ),
]


@pytest.mark.parametrize(
    ("file", "pairs", "key"), REFUSED, ids=lambda value: str(value)
)
def test_impossible_combination_is_refused(
    tmp_path: Path, file: str, pairs: list[tuple[str, str]], key: str
) -> None:
    """Nothing is computed for a car that cannot be."""
    with pytest.raises(InputErrors) as caught:
        load(changed(tmp_path, file, *pairs))
    error = caught.value.errors[0]
    assert (Path(error.file).name, error.key) == (file, key)
    assert (
        FILES[file]
        .splitlines()[(error.line or 0) - 1]
        .startswith(key.rpartition(".")[2])
    )


CAUTIONS = {
    "car.toml": {
        "cg_height_mm = 820": "half the track",
        "cg_height_mm = 1310": "half the wheelbase",
        "front_weight_percent = 20": "far from even",
        "mass_kg = 230": "unsprung masses make 41 %",
        "roll_centre_height_mm = 300": "above the CG",
        "bump_travel_mm = 0": "no bump travel",
        "droop_travel_mm = 0": "no droop travel",
        "stop_rate_N_per_mm = 0": "hold nothing",
        "foundation_per_bar_N_per_mm3 = 0": "not soft",
        "load_limit_N = 2000": "stands on it with 2104 N",
        "peak_gap_mm = 600": "exceeds a tyre's radius",
        "offset_mm = -40": "touches the road at rest",
        "least_gap_mm = 40": "36.92 mm clear at rest",
        # at the highest in front, 60 mm, and the lowest behind, 30 mm: 60 + 30 x 800 / 2600 + 5
        "least_static_gap_mm = 75": "no higher than 74.23 mm",
    },
    "venue.toml": {
        "surface_grip = 1.4": "more grip",
        "slope_percent = -31": "-31 % is steep",
        "headwind_m_s = -70": "from behind",
    },
    "setup.toml": {
        "camber_deg = -7": "-7 deg lies outside limits.toml's -6 to 0 deg",
        "ride_height_mm = 55": "a rake of -10 mm",
        "spring_N_per_mm = 150": "none of the 120, 140, 160 N/mm",
        "anti_roll_N_per_mm = 0": "positions of adjuster.front",
    },
    "limits.toml": {
        "pressure_bar = { from = 1.5, to = 2.0, step = 0.05 }": "front.pressure_bar: 1.4 bar lies outside",
    },
}


@pytest.mark.parametrize(("file", "line"), lines_of(CAUTIONS))
def test_odd_combination_is_said(tmp_path: Path, file: str, line: str) -> None:
    """What is allowed but looks wrong is told, with the number, and not refused."""
    said = CAUTIONS[file][line]
    cautions = load(with_line(tmp_path, file, line)).cautions
    if said == "not soft":
        assert cautions == ()
    else:
        assert any(said in caution for caution in cautions), cautions


def test_a_wheel_of_its_own_is_held_against_the_range_of_its_axle(
    tmp_path: Path,
) -> None:
    """A spring that is none of those on the shelf, on one side alone; none is told of a value that no wheel has."""
    line = "spring_N_per_mm = 140\n"
    own = "\n[front.left]\nspring_N_per_mm = 150\n"
    rest = SETUP.replace("\n[rear]", f"{own}\n[rear]", 1)
    (said,) = load(write_folder(tmp_path / "one", setup=rest)).cautions
    assert "front.left.spring_N_per_mm: 150 N/mm is none" in said
    both = f"{own}\n[front.right]\nspring_N_per_mm = 160\n"
    odd = SETUP.replace(line, "spring_N_per_mm = 155\n", 1)
    odd = odd.replace("\n[rear]", f"{both}\n[rear]", 1)
    (said,) = load(write_folder(tmp_path / "both", setup=odd)).cautions
    assert "150 N/mm is none" in said


TOGETHER = {
    # a foundation that lets the rim come near the road
    "very soft": [("= 0.008", "= 0.0001"), ("= 0.012", "= 0.0001")],
    # neither tread nor carcass gives way by a millimetre
    "very hard": [("= 0.008", "= 9"), ("carcass_N_per_mm = 90", "carcass_N_per_mm = 20000")],
    # the floor's front end at 60 mm and 70 mm: 60 + 10 x 500 / 2600 - 50
    "'floor' comes no higher than 11.92 mm": [("offset_mm = 10", "offset_mm = -50")],
}  # fmt: skip


@pytest.mark.parametrize("said", TOGETHER)
def test_odd_tyre_or_floor_is_said(tmp_path: Path, said: str) -> None:
    """Of two values together, or of the second element."""
    folder = changed(tmp_path, "car.toml", *TOGETHER[said])
    assert any(said in caution for caution in load(folder).cautions)


def test_value_on_the_edge_of_its_range_is_inside(tmp_path: Path) -> None:
    """The rounding of a conversion makes no caution."""
    folder = changed(
        tmp_path,
        "setup.toml",
        ("camber_deg = -2.5", "camber_deg = -6"),
        ("toe_mm = 1.0", "toe_mm = 3"),
    )
    assert load(folder).cautions == ()


def test_penetration_of_a_patch_inside_the_tread() -> None:
    """N = pi k d^2 sqrt(r Rc) for an elastic foundation under a doubly curved body (Johnson, 1985)."""
    tyre = replace(
        SLICK, crown_radius=1.0, foundation=20e6, foundation_per_pressure=0.0
    )
    depth = 0.008
    load_there = math.pi * 20e6 * depth**2 * math.sqrt(0.33 * 1.0)
    assert penetration(tyre, load_there, 0.0, 1e5) == pytest.approx(
        depth, rel=0.01
    )


def test_penetration_of_tread_and_carcass_in_series() -> None:
    """Under one load each gives way by itself: 3 kN on 200 N/mm are 15 mm more than the tread alone."""
    rigid = penetration(SLICK, 3000.0, 0.0, 1e5)
    soft = replace(SLICK, carcass=120e3, carcass_per_pressure=0.8)
    assert penetration(soft, 3000.0, 0.0, 1e5) - rigid == pytest.approx(
        0.015, abs=1e-9
    )


def test_reach_round_the_section() -> None:
    """Along the venue's axis the half track counts, across it the length."""
    points = [(1.4, 0.8), (-1.2, -0.8)]
    assert reach(points, 0.0) == pytest.approx(0.8)
    assert reach(points, math.pi / 2) == pytest.approx(1.4)
