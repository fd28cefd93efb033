"""File units to SI, against values worked out by hand."""

from __future__ import annotations

import math
from dataclasses import astuple
from pathlib import Path

import pytest

from setupopt.project import load
from setupopt.project.model import Project, Range

from .good_folder import CAR, VENUE, write_folder


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """The good folder, read."""
    return load(write_folder(tmp_path))


def test_car_in_si(project: Project) -> None:
    """Millimetres, percent, kilowatts and rates of the car."""
    car = project.car
    assert (
        car.mass,
        car.wheelbase,
        car.front_share,
        car.cg_height,
    ) == pytest.approx((780, 2.6, 0.45, 0.28))
    assert (car.drive_front, car.brake_front, car.power) == pytest.approx(
        (0.3, 0.58, 400e3)
    )
    assert car.front.camber_gain == pytest.approx(math.radians(-0.02) * 1000)
    assert car.front.stop_rate == pytest.approx(400e3)
    assert (car.rear.damper_bump, car.rear.damper_rebound) == pytest.approx(
        (5000, 9000)
    )
    assert (
        car.clearance[0].least_gap,
        car.clearance[0].least_static_gap,
    ) == pytest.approx((0.008, 0.020))


def test_tyre_in_si(project: Project) -> None:
    """The units that are easy to get wrong: N/mm3, N/mm3 per bar, deg/kN."""
    tyre = project.car.front.tyre
    assert tyre.foundation == pytest.approx(8e6)
    assert (
        tyre.foundation + tyre.foundation_per_pressure * 140e3
        == pytest.approx((0.008 + 0.012 * 1.4) * 1e9)
    )
    assert tyre.compliance * 3000 == pytest.approx(math.radians(0.6))
    assert tyre.friction_pressure == pytest.approx(200e3)
    assert tyre.damping == pytest.approx(300)


def test_venue_in_si(project: Project) -> None:
    """Section, slope, roughness class and attitudes."""
    venue = project.venue
    assert venue.curvature == pytest.approx(1 / 7.5)
    assert math.tan(venue.slope) == pytest.approx(0.015)
    assert venue.roughness == pytest.approx(
        64e-6
    )  # geometric mean of class B, ISO 8608
    assert (venue.sweep.stop, venue.sweep.step) == pytest.approx(
        (math.pi, math.pi / 36)
    )
    steady, climbing = venue.attitudes
    assert steady.bump == (0, 0, 0, 0)
    assert (steady.turn_radius, steady.speed) == (None, None)
    assert climbing.heading == pytest.approx(math.radians(8))
    assert climbing.bump == pytest.approx((0, 0.005, 0, -0.005))


def test_flat_venue_has_no_curvature(tmp_path: Path) -> None:
    """Flat is the circle of infinite radius."""
    flat = VENUE.replace('"circle"\nradius_mm = 7500', '"flat"').replace(
        '"B"', '"A"'
    )
    venue = load(write_folder(tmp_path, venue=flat)).venue
    assert (venue.section, venue.curvature, venue.roughness) == (
        "flat",
        0.0,
        16e-6,
    )


@pytest.mark.parametrize(("driven", "share"), [("front", 1.0), ("rear", 0.0)])
def test_driven_axle_takes_the_whole_drive(
    tmp_path: Path, driven: str, share: float
) -> None:
    """The share is only asked for with both axles driven."""
    car = CAR.replace('"all"\ndrive_front_percent = 30', f'"{driven}"')
    assert load(write_folder(tmp_path, car=car)).car.drive_front == share


def test_setup_in_si(project: Project) -> None:
    """What the mechanics read on their gauges."""
    front = project.setup.front
    assert (front.camber, front.ride_height, front.toe) == pytest.approx(
        (math.radians(-2.5), 0.035, 0.001)
    )
    assert (front.spring, front.anti_roll, front.third) == pytest.approx(
        (140e3, 40e3, 60e3)
    )
    assert front.pressure == pytest.approx(140e3)


def test_limits_in_si(project: Project) -> None:
    """Ranges, shelves in order and without doubles, packaging, shares and adjusters."""
    limits = project.limits
    assert limits is not None
    assert limits.front.spring == Range(
        120e3, 160e3, choices=(120e3, 140e3, 160e3)
    )
    assert limits.front.anti_roll == Range(0, 40e3, choices=(0, 20e3, 40e3))
    assert limits.rear.anti_roll == Range(0, 60e3, step=10e3)
    assert limits.packaging.rake == pytest.approx((0, 0.025))
    assert limits.packaging.ground_clearance_least == pytest.approx(0.025)
    (arch,) = limits.packaging.arches
    assert arch.room + arch.room_per_camber * math.radians(-3) == pytest.approx(
        0.045 - 0.006
    )
    assert limits.tolerance is not None
    assert limits.tolerance.spring_share == pytest.approx(0.02)
    assert limits.spread is not None
    assert astuple(limits.spread) == pytest.approx(
        (0.06, 0.05, 0.04, 0.10, 0.005, 0.03)
    )
    adjuster = limits.adjuster_front
    assert adjuster is not None
    assert adjuster.camber_per_shim is not None
    assert adjuster.camber_per_shim * adjuster.shims[2] == pytest.approx(
        math.radians(0.6)
    )
    assert adjuster.anti_roll_positions == (20e3, 40e3)


def test_measured_roughness_in_si(tmp_path: Path) -> None:
    """A number instead of a class."""
    venue = VENUE.replace('roughness = "B"', "roughness_1e-6m3 = 50")
    assert load(
        write_folder(tmp_path, venue=venue)
    ).venue.roughness == pytest.approx(50e-6)
