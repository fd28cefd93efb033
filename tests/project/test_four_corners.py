"""Settings of one side, wings, ballast, balance: read, refused by file and key, written and read again."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputErrors
from setupopt.project import load, setup_as_dict, write_setup
from setupopt.project.car_as_set import car_as_set
from setupopt.project.reading import read_setup
from setupopt.units import DEG, MM

from .good_folder import CAR, LIMITS, SETUP, write_folder

WING = "yaw_loss_per_rad2 = 2.0\ndrag_area_m2 = 0.20\n"
for angle, free, ground, gap, drag in (
    (2, 0.4, 0.3, 70, 0.15),
    (6, 0.6, 0.5, 60, "0.20"),
    (12, 0.7, 0.55, 58, "0.40"),
):
    WING += f"""
[[air.element.setting]]
angle_deg = {angle}
free_area_m2 = {free}
ground_area_m2 = {ground}
peak_gap_mm = {gap}
drag_area_m2 = {drag}
"""
OTHER_TYRE = CAR[CAR.index("[tyre.slick]") : CAR.index("[air]")].replace(
    "[tyre.slick]", "[tyre.tall]"
)
OVAL_CAR = (
    CAR.replace("yaw_loss_per_rad2 = 2.0\n", WING, 1)
    .replace('tyre = "slick"', 'tyre = "slick"\ntyre_right = "tall"', 1)
    .replace("power_kW = 400", "power_kW = 400\nleft_weight_percent = 53")
    .replace(
        "[air]",
        OTHER_TYRE.replace("radius_mm = 330", "radius_mm = 334") + "[air]",
        1,
    )
)
OVAL_SETUP = f"""{SETUP}damper_bump_Ns_per_mm = 6.0

[rear.left]
spring_N_per_mm = 150
toe_mm = 0.5

[rear.right]
spring_N_per_mm = 170
toe_mm = -1.5
damper_rebound_Ns_per_mm = 11.0

[balance]
brake_front_percent = 61
cross_weight_percent = 52.5

[wings]
"front wing" = 9

[[ballast]]
name = "left pod"
mass_kg = 12
station_mm = 1200
side_mm = 600
height_mm = 100
"""
OVAL_LIMITS = f"""{LIMITS}
[front.left]
camber_deg = {{ from = -1, to = 4, step = 0.25 }}

[balance]
cross_weight_percent = {{ from = 48, to = 56, step = 0.5 }}

[wings]
"front wing" = {{ from = 2, to = 12, step = 1 }}

[[ballast]]
name = "left pod"
station_mm = [800, 1200, 1600]
"""


def folder(home: Path, **changed: str) -> Path:
    """The oval car's folder with other texts."""
    return write_folder(
        home,
        **(
            {"car": OVAL_CAR, "setup": OVAL_SETUP, "limits": OVAL_LIMITS}
            | changed
        ),
    )


def test_every_side_is_read(tmp_path: Path) -> None:
    """A side's own value stands before the axle's; what it has none of is as on the axle."""
    setup = load(folder(tmp_path / "oval")).setup
    assert setup.rear.sides("spring") == pytest.approx((150e3, 170e3))
    assert setup.rear.sides("pressure") == pytest.approx((1.3e5, 1.3e5))
    assert setup.rear.sides("damper_rebound") == (None, 11e3)
    assert setup.balance.cross_share == pytest.approx(0.525)
    assert (setup.wings[0][0], setup.wings[0][1] / DEG) == (
        "front wing",
        pytest.approx(9.0),
    )


def test_what_is_written_reads_back(tmp_path: Path) -> None:
    """As a file of its own, and into the file with its comments."""
    home = folder(tmp_path / "oval")
    setup = load(home).setup
    given = tomllib.loads(OVAL_SETUP)
    for side in (
        "left",
        "right",
    ):  # both sides' values stand there where they differ
        for key in ("spring_N_per_mm", "toe_mm"):
            assert (
                setup_as_dict(setup)["rear"][side][key]
                == given["rear"][side][key]
            )
    write_setup(tmp_path / "new.toml", setup)
    write_setup(tmp_path / "like.toml", setup, home / "setup.toml")
    for name in ("new.toml", "like.toml"):
        again = read_setup(tmp_path / name)
        assert setup_as_dict(again) == setup_as_dict(setup)
    assert "# invented numbers" in (tmp_path / "like.toml").read_text(
        encoding="utf-8"
    )


def test_measured_angles_give_their_own_areas(tmp_path: Path) -> None:
    """At a measured angle its row, exactly; between two something between; drag follows in the whole."""
    project = load(folder(tmp_path / "oval"))
    at = {angle: load(folder(tmp_path / f"at{angle}", setup=OVAL_SETUP.replace("= 9", f"= {angle}")))
          for angle in (2, 6, 12)}  # fmt: skip
    wings = {
        angle: car_as_set(one.car, one.setup).air for angle, one in at.items()
    }
    assert [
        wings[a].elements[0].free_area for a in (2, 6, 12)
    ] == pytest.approx([0.4, 0.6, 0.7])
    assert [wings[a].drag_area for a in (2, 6, 12)] == pytest.approx(
        [1.15, 1.2, 1.4]
    )
    between = car_as_set(project.car, project.setup).air
    assert 0.6 < between.elements[0].free_area < 0.7
    assert 58 < between.elements[0].peak_gap / MM < 60


def test_ballast_moves_the_weight(tmp_path: Path) -> None:
    """12 kg beside 780 kg whose CG lies 1430 mm behind the front axle, 47.7 mm left and 280 mm up: levers."""
    project = load(folder(tmp_path / "oval"))
    car = car_as_set(project.car, project.setup)
    assert car.mass == pytest.approx(792.0)
    assert (1.0 - car.front_share) * 2600 == pytest.approx(
        (780 * 1430 + 12 * 1200) / 792
    )
    assert car.cg_height / MM == pytest.approx((780 * 280 + 12 * 100) / 792)
    aside = 0.03 * 1590
    assert (car.left_share - 0.5) * 1590 == pytest.approx(
        (780 * aside + 12 * 600) / 792
    )
    assert car.yaw_inertia == pytest.approx(
        980 + 780 * 12 / 792 * (0.230**2 + (0.6 - aside * MM) ** 2)
    )


REFUSED = {
    "an angle beyond those measured": ("setup", "= 9", "= 13", "wings", "from 2 to 12 deg"),
    "an element that is none": ("setup", '"front wing" = 9', '"rear wing" = 9', "wings", "front wing"),
    "a range beyond": ("limits", "from = 2, to = 12", "from = 2, to = 14", "wings", "from 2 to 12 deg"),
    "ballast that is not there": ("limits", '"left pod"', '"right pod"', "ballast[1].name", "left pod"),
    "angles that fall": ("car", "angle_deg = 12", "angle_deg = 5", "angle_deg", "rise"),
    "no drag of the element": ("car", "drag_area_m2 = 0.20\n\n[[air", "\n[[air", "drag_area_m2", "own share"),
    "no such tyre": ("car", 'tyre_right = "tall"', 'tyre_right = "wide"', "front.tyre_right", "slick"),
    "a share": ("setup", "cross_weight_percent = 52.5", "cross_weight_percent = 0.525", "cross", "20 to 80"),
    "a floor that twists": ("setup", "[rear.right]", "[rear.right]\nride_height_mm = 60", "front", "twist"),
    "a key of no wheel": ("setup", "[rear.right]", "[rear.right]\nthird_N_per_mm = 3", "third", "camber_deg"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_mistakes_are_named(tmp_path: Path, name: str) -> None:
    """File, key and what was expected."""
    file, old, new, key, expected = REFUSED[name]
    texts = {"car": OVAL_CAR, "setup": OVAL_SETUP, "limits": OVAL_LIMITS}
    assert old in texts[file]
    with pytest.raises(InputErrors) as refused:
        load(
            folder(
                tmp_path / "oval", **{file: texts[file].replace(old, new, 1)}
            )
        )
    (error, *_) = refused.value.errors
    assert error.file.endswith(f"{file}.toml")
    assert key in error.key
    assert expected in str(error)


def test_a_wheel_without_load_is_refused(tmp_path: Path) -> None:
    """85 % on the left and 20 % on the diagonal would lift the right front wheel at rest."""
    car = OVAL_CAR.replace(
        "left_weight_percent = 53", "left_weight_percent = 85"
    )
    setup = OVAL_SETUP.replace("percent = 52.5", "percent = 20")
    with pytest.raises(InputErrors, match="load all four wheels"):
        load(folder(tmp_path / "oval", car=car, setup=setup))


def test_old_files_stay_symmetric(tmp_path: Path) -> None:
    """Without the new keys both sides are alike and nothing else is set."""
    setup = load(write_folder(tmp_path / "plain")).setup
    for axle in (setup.front, setup.rear):
        assert all(
            np.array_equal(*axle.sides(name))
            for name in ("camber", "spring", "toe", "ride_height")
        )
    assert setup_as_dict(setup) == tomllib.loads(SETUP)
