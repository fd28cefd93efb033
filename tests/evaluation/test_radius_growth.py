"""Radii that grow with speed: closed forms, the same car on larger tyres, and tables that are refused."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import (
    CAR,
    PLAIN_SETUP,
    SETUP,
    load_cases,
    on_tyres,
    plain_car,
    solve,
    venue,
)
from report.report_folders import example

from setupopt.errors import UserError
from setupopt.evaluation import setup_record
from setupopt.evaluation.limits import PackagingLimits
from setupopt.evaluation.model import Model, evaluate
from setupopt.project import load
from setupopt.project.limits_model import Arch, Packaging
from setupopt.project.model import AxleSetup, Car, Setup
from setupopt.project.static_checks import penetration

# Share of the radius at 16.7 m/s; it grows with the square of the speed: Pacejka, Tire and Vehicle Dynamics,
# 2012, chapter 4, free radius of a rolling tyre (from memory)
SHARE = 8e-4
REFERENCE = 16.7  # m/s


def grown(car: Car, *speeds: float) -> Car:
    """The car on tyres that grow by that law, known at some speeds."""
    radius = car.front.tyre.radius
    rows = tuple(radius * SHARE * (speed / REFERENCE) ** 2 for speed in speeds)
    return on_tyres(car, radius_growth_speed=speeds, radius_growth=rows)


@pytest.mark.parametrize(
    ("speed", "known"), [(50.0, 50.0), (70.0, 70.0), (35.0, 70.0)]
)
def test_the_car_rises_by_what_its_tyres_grow(
    speed: float, known: float
) -> None:
    """Straight on a flat road without air: loads stay m g / 4, so the body rises by the growth g and by what the
    tread of the larger tyre is pressed in less.

    N = pi k d^2 sqrt(r Rc) (Johnson, Contact Mechanics, 1985): d falls as r^(-1/4). At half the last speed
    of a table of one row g is half of that row: between rows it is linear, from 0 at rest. To 0.1 um.
    """
    car = replace(plain_car(area=0.0), clearance=CAR.clearance)
    tyre = car.front.tyre
    at_rest = solve(car, PLAIN_SETUP, speed=speed)
    fast = solve(grown(car, known), PLAIN_SETUP, speed=speed)
    growth = tyre.radius * SHARE * (known / REFERENCE) ** 2 * speed / known
    pressed = penetration(tyre, car.mass * 9.80665 / 4.0, 0.0, 1.4e5)
    larger = (1.0 + growth / tyre.radius) ** -0.25
    rise = growth + pressed * (1.0 - larger)
    for field in ("ride_gap", "clearance"):
        moved = fast.answers[field] - at_rest.answers[field]
        assert moved == pytest.approx(np.full(moved.shape, rise), abs=1e-7)
    assert fast.answers["load"] == pytest.approx(
        at_rest.answers["load"], abs=0.01
    )
    assert np.abs(fast.answers["travel"]).max() < 1e-7


def test_a_table_of_zeros_changes_no_bit() -> None:
    """Nor does a table at rest."""
    bore = venue(1.0 / 8.0)
    case = {
        "roll_angle": np.radians([0.0, 100.0]),
        "heading": 0.02,
        "crosswind": 3.0,
    }
    plain = solve(CAR, SETUP, bore, speed=60.0, **case)
    zeros = on_tyres(
        CAR, radius_growth_speed=(30.0, 90.0), radius_growth=(0.0, 0.0)
    )
    same = solve(zeros, SETUP, bore, speed=60.0, **case)
    assert same.answers.tobytes() == plain.answers.tobytes()


def on_larger(car: Car, setup: Setup, growth: float) -> tuple[Car, Setup]:
    """Car and setup on tyres that are so much larger at rest already: all of the car stands higher."""
    rises = []
    ends = []
    for end, share in zip(
        ("front", "rear"), (car.front_share, 1.0 - car.front_share), strict=True
    ):
        axle = getattr(car, end)
        own: AxleSetup = getattr(setup, end)
        tyre = replace(axle.tyre, radius=axle.tyre.radius + growth)
        weight = 0.5 * share * car.mass * 9.80665
        before, after = (
            one.radius * np.cos(own.camber)
            - penetration(one, weight, own.camber, own.pressure)
            for one in (axle.tyre, tyre)
        )
        rises.append(after - before)
        high = axle.unsprung_height + rises[-1]
        ends.append(replace(axle, tyre=tyre, unsprung_height=high))
    mean = (1.0 - car.front_share) * rises[1] + car.front_share * rises[0]
    car = replace(
        car, front=ends[0], rear=ends[1], cg_height=car.cg_height + mean
    )
    front = replace(setup.front, ride_height=setup.front.ride_height + rises[0])
    rear = replace(setup.rear, ride_height=setup.rear.ride_height + rises[1])
    return car, replace(setup, front=front, rear=rear)


@pytest.mark.parametrize("growth", [0.004, 0.012])
def test_it_is_the_car_on_larger_tyres(growth: float) -> None:
    """Leaning, driven and steered in a bore, with downforce near the ground: margins to 2e-5, loads to 0.2 N.

    Left over is the body's pitch, as both axles rise by some um less or more. On the tyres of the pad the
    margin is another one by more than ten times as much.
    """
    bore = venue(1.0 / 8.0)
    case = {
        "roll_angle": np.radians([0.0, 70.0, 140.0]),
        "crosswind": 2.0,
        "speed": 70.0,
    }
    at_rest = solve(CAR, SETUP, bore, **case)
    fast = on_tyres(CAR, radius_growth_speed=(70.0,), radius_growth=(growth,))
    found = solve(fast, SETUP, bore, **case)
    larger, higher = on_larger(CAR, SETUP, growth)
    same = solve(larger, higher, bore, **case)
    assert found.answers["contact"].all()
    assert found.margin == pytest.approx(same.margin, abs=2e-5)
    assert found.answers["load"] == pytest.approx(same.answers["load"], abs=0.2)
    assert (np.abs(found.margin - at_rest.margin) > 2e-4).all()


def test_an_arch_has_less_room() -> None:
    """By the growth, on its own axle."""
    fast = on_tyres(CAR, radius_growth_speed=(60.0,), radius_growth=(0.004,))
    cases = load_cases(venue(), speed=30.0)
    arch = Packaging(None, None, None, (Arch("rear", 0.02, 0.0),))
    setups = setup_record.by_wheel(SETUP)
    answers = Model(CAR).run(Model(CAR).settings(SETUP), cases).answers
    rooms = [
        PackagingLimits(car, arch).rows(setups, cases, answers).rows
        for car in (CAR, fast)
    ]
    lost = (rooms[0] - rooms[1])[0]
    assert lost[lost != 0.0] == pytest.approx(
        [0.002 / 0.01] * 2, rel=1e-9
    )  # rows count in 10 mm


def with_rows(folder: Path, speeds: object, growth: object) -> Path:
    """The bore whose first tyre has this table."""
    example("bore", folder)
    rows = f"radius_growth_speed_m_s = {speeds}\nradius_growth_mm = {growth}"
    car = folder / "car.toml"
    car.write_text(
        re.sub(
            r"(?m)^(friction = .*)$", rf"\1\n{rows}", car.read_text(), count=1
        )
    )
    return folder


@pytest.mark.parametrize(
    ("speeds", "growth", "message"),
    [
        ([30, 60], [1.0], "as many numbers as radius_growth_speed_m_s, 2"),
        ([60, 30], [1.0, 2.0], "numbers that rise"),
        ([0, 60], [0.0, 2.0], "from 1 to 200 m/s"),
        ([60], [-1.0], "from 0 to 100 mm"),
        (list(range(10, 100, 10)), [1.0] * 9, "at most 8 numbers"),
    ],
)  # fmt: skip
def test_bad_tables_are_refused(
    tmp_path: Path, speeds: list[int], growth: list[float], message: str
) -> None:
    """With file, line and key, before anything is solved."""
    with pytest.raises(UserError, match=message) as refused:
        load(with_rows(tmp_path / "bore", speeds, growth))
    assert re.search(
        r'car\.toml, line \d+, tyre\."front slick"\.radius_growth',
        str(refused.value),
    )


def test_faster_than_the_table_is_refused(tmp_path: Path) -> None:
    """Nothing is extrapolated: the message has both speeds."""
    project = load(with_rows(tmp_path / "bore", [20, 40], [0.5, 2.0]))
    with pytest.raises(
        UserError,
        match=r"radius_growth_speed_m_s: found speeds up to 40 m/s, expected up to",
    ):
        evaluate(project)
