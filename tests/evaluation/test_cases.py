"""Load cases: roll angles times attitudes, or a list."""

from __future__ import annotations

from dataclasses import replace
from math import radians

import numpy as np
import pytest
from cars import load_cases, venue

from setupopt.evaluation.cases import CaseSet, join, sweep_at, sweep_cases
from setupopt.project.model import Attitude, Sweep, Venue

PLAIN = Attitude("plain", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0,) * 4, None)
DRIVEN = Attitude(
    "driven",
    0.1,
    -3.0,
    0.002,
    0.4,
    250.0,
    2.0,
    3.0,
    (0.001, 0.002, 0.003, 0.004),
    65.0,
)


def place() -> Venue:
    """A bore with two attitudes."""
    swept = Sweep(0.0, radians(30.0), radians(10.0), 60.0)
    return replace(
        venue(1 / 8.0, slope=0.05, grip=0.9, density=1.15),
        sweep=swept,
        attitudes=(PLAIN, DRIVEN),
    )


def swept(start: float, stop: float, step: float) -> Venue:
    """The bore with another sweep, rad."""
    return replace(place(), sweep=Sweep(start, stop, step, 60.0))


@pytest.mark.parametrize(
    ("span", "angles"),
    [
        ((0.0, 30.0, 10.0), [0, 10, 20, 30]),
        ((0.0, 25.0, 10.0), [0, 10, 20, 25]),
        ((-10.0, 10.0, 5.0), [-10, -5, 0, 5, 10]),
        ((90.0, 90.0, 5.0), [90]),
        ((0.0, 3.0, 10.0), [0, 3]),
    ],
)
def test_where_the_sweep_looks(
    span: tuple[float, float, float], angles: list[float]
) -> None:
    """Equal steps from the first angle; the last is among them even where the step does not meet it."""
    got = np.degrees(sweep_at(swept(*np.radians(span))))
    assert got == pytest.approx(angles, abs=1e-12)


def test_step_that_binary_numbers_cannot_hold() -> None:
    """0 to 180 in steps of 0.1 deg: 1801 angles, no last one twice."""
    got = np.degrees(sweep_at(swept(0.0, np.pi, radians(0.1))))
    assert got.size == 1801
    assert np.diff(got) == pytest.approx(0.1, abs=1e-10)


@pytest.mark.parametrize("refine", [2, 5])
def test_denser_sweep_holds_the_angles_of_the_sweep(refine: int) -> None:
    """Every angle of the sweep is one of the denser sweep, with refine - 1 more between two."""
    round_ = swept(0.0, radians(33.0), radians(10.0))
    coarse, dense = sweep_at(round_), sweep_at(round_, refine)
    assert all(np.abs(dense - angle).min() < 1e-12 for angle in coarse)
    assert np.diff(dense).max() <= radians(10.0) / refine + 1e-12


def test_attitudes_are_slowest() -> None:
    """All angles of the first attitude, then all of the second; names beside them."""
    got = sweep_cases(place())
    assert len(got) == 8
    assert got.attitude == ("plain",) * 4 + ("driven",) * 4
    assert got.attitudes == ("plain", "driven")
    assert np.degrees(got.records["roll_angle"]) == pytest.approx(
        [0, 10, 20, 30] * 2
    )


def test_attitude_and_venue_reach_every_case() -> None:
    """An attitude's own speed, its turn as a curvature; slope, grip, air and section from the venue."""
    got = sweep_cases(place()).records
    assert got["speed"].tolist() == [60.0] * 4 + [65.0] * 4
    assert got["turn_curvature"].tolist() == [0.0] * 4 + [1 / 250.0] * 4
    assert got["bump"][4:].tolist() == [[0.001, 0.002, 0.003, 0.004]] * 4
    for name, value in (
        ("heading", 0.1),
        ("acceleration", -3.0),
        ("path_curvature", 0.002),
    ):
        assert set(got[name][4:]) == {value}
    for name, value in (
        ("headwind", 2.0),
        ("crosswind", 3.0),
        ("surface_heading", 0.1),
    ):
        assert set(got[name][4:]) == {value}
    venue_wide = {
        "slope": 0.05,
        "surface_grip": 0.9,
        "air_density": 1.15,
        "curvature": 1 / 8.0,
        "lean": 1.0,
    }
    for name, value in (venue_wide | {"floor_curvature": 1 / 8.0}).items():
        assert set(got[name]) == {value}, name


def test_angles_of_the_callers_own() -> None:
    """Given angles replace the sweep's, in their order."""
    got = sweep_cases(place(), np.array([0.3, 0.1]))
    assert got.records["roll_angle"].tolist() == [0.3, 0.1] * 2
    assert got.angles.tolist() == [0.3, 0.1]


def test_picking_and_joining() -> None:
    """Chosen rows in the order asked for; joined sets end to end, with their names."""
    whole = sweep_cases(place())
    picked = whole.pick([5, 0])
    assert picked.attitude == ("driven", "plain")
    assert picked.records.tobytes() == whole.records[[5, 0]].tobytes()
    both = join(picked, whole)
    assert (len(both), both.attitude[:3]) == (10, ("driven", "plain", "plain"))
    assert both.records[2:].tobytes() == whole.records.tobytes()


def test_table_brings_its_own_sections() -> None:
    """Each listed case on its own radius, the floor's too; the rest of the place from the venue."""
    got: CaseSet = load_cases(
        venue(slope=0.02, grip=0.8), roll_angle=[0.1, 0.2], radius=[7.0, np.inf]
    )
    assert got.records["curvature"].tolist() == [1 / 7.0, 0.0]
    assert got.records["floor_curvature"].tolist() == [1 / 7.0, 0.0]
    assert set(got.records["surface_grip"]) == {0.8}
    assert got.attitude == ("1", "2")
    assert got.angles.size == 0
