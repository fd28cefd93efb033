"""What a car state is on paper: every quantity with its targets, tolerance and how it is measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from setupopt.project.car_as_set import car_as_set
from setupopt.project.limits_model import Tolerance
from setupopt.project.measured_file import (
    CROSS,
    WEIGHT,
    ballast_key,
    clicks_key,
    wing_key,
)
from setupopt.project.model import AXLES, Project, Setup
from setupopt.project.settings import (
    BALANCE,
    SETTING_OF,
    STATION,
    WING,
    Setting,
    rounded,
)
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.build import as_written
from setupopt.sheet.pad_state import Pad
from setupopt.units import GRAVITY, MM, NS_PER_MM, PERCENT

Four = tuple[float | None, ...]


@dataclass(frozen=True)
class Line:
    """One quantity: targets FL, FR, RL, RR in `unit`.

    Of an axle the left ones, of the whole car the first one; the others are None.
    """

    quantity: str  # as in the file that `readback` reads
    words: str
    unit: str
    digits: int
    values: Four
    where: str  # how and where it is measured
    tolerance: str = ""  # with its unit, empty where none is given
    per: Literal["wheel", "axle", "car"] = "wheel"


_WORDS = {
    "pressure": ("hot pressure", 2),
    "spring": ("spring", 0),
    "ride_height": ("ride height", 1),
    "camber": ("camber", 2),
    "toe": ("toe", 1),
    "damper_bump": ("damper bump", 2),
    "damper_rebound": ("damper rebound", 2),
    "anti_roll": ("anti-roll bar, at the wheel", 0),
    "third": ("third spring (heave spring)", 0),
}


def state_lines(project: Project, setup: Setup) -> tuple[Line, ...]:
    """All quantities of a setup, in the order in which they are set; corner weights at last."""
    return (
        *_wheels_and_axles(project, setup),
        *_whole_car(project, setup),
        *_weights(project, setup),
    )


def _wheels_and_axles(project: Project, setup: Setup) -> Iterator[Line]:
    """What SETTINGS has."""
    held = project.limits.tolerance if project.limits else None
    for field, (words, digits) in _WORDS.items():
        setting = SETTING_OF[field]
        if field.startswith("damper"):
            yield from _dampers(project, setup, setting, words)
            continue
        pairs = (getattr(setup, axle).sides(field) for axle in AXLES)
        values: Four = tuple(
            rounded(value, setting) for pair in pairs for value in pair
        )
        if field == "third" and not any(values):
            continue
        if setting.per == "axle":
            values = values[0], None, values[2], None
        tolerance = _tolerance(setting, held)
        where = _where(project, field)
        yield Line(
            setting.key,
            words,
            setting.unit,
            digits,
            values,
            where,
            tolerance,
            setting.per,
        )


def _dampers(
    project: Project, setup: Setup, setting: Setting, words: str
) -> Iterator[Line]:
    """Clicks of the axles that have a table, and rates of the others where a setup gives them."""
    clicks: list[float | None] = []
    rates: list[float | None] = []
    for axle, name in enumerate(AXLES):
        tools = axle_tools(project, axle)
        own = getattr(getattr(project.car, name), setting.field)
        for given in getattr(setup, name).sides(setting.field):
            rate = own if given is None else given
            has_table = bool(tools.clicks(setting.field)) and rate is not None
            clicks.append(
                float(tools.click(setting.field, rate)) if has_table else None
            )
            rates.append(
                None if has_table or given is None else rounded(given, setting)
            )
    if any(value is not None for value in clicks):
        where = f"clicks, {_click_words(project, setting.field)}"
        yield Line(
            clicks_key(setting.field),
            words,
            "clicks",
            0,
            tuple(clicks),
            where,
        )
    if any(value is not None for value in rates):
        yield Line(
            setting.key,
            words,
            setting.unit,
            2,
            tuple(rates),
            "rate of the damper, by its maker",
        )


def _click_words(project: Project, field: str) -> str:
    """What the click 0 is."""
    tables = {
        axle: axle_tools(project, number).clicks(field)
        for number, axle in enumerate(AXLES)
    }
    known = {
        axle: table[0] / NS_PER_MM for axle, table in tables.items() if table
    }
    return "0 is " + ", ".join(
        f"{rate:g} N s/mm {axle}" for axle, rate in known.items()
    )


def _whole_car(project: Project, setup: Setup) -> Iterator[Line]:
    """Brake and drive share, wings and ballast."""
    car = car_as_set(project.car, setup)
    for setting in BALANCE[:2]:
        drive = setting.field == "drive_front"
        if drive and car.driven != "all":
            continue
        words = "drive share, front" if drive else "brake share, front"
        where = (
            "centre differential"
            if drive
            else "line pressures, or the bar's position"
        )
        yield _single(
            setting.key,
            words,
            "%",
            1,
            rounded(getattr(car, setting.field), setting),
            where,
        )
    for name, angle in setup.wings:
        value = rounded(angle, WING)
        yield _single(
            wing_key(name),
            f"wing {name}",
            "deg",
            1,
            value,
            "to the floor line, driver out",
        )
    for piece in setup.ballast:
        side = (
            ""
            if piece.side == 0.0
            else f", {abs(piece.side) / MM:g} mm {_side(piece.side)}"
        )
        where = f"{piece.mass:g} kg{side}, {piece.height / MM:g} mm up; behind the front axle line"
        words = f"ballast {piece.name}"
        yield _single(
            ballast_key(piece.name),
            words,
            "mm",
            0,
            rounded(piece.station, STATION),
            where,
        )


def _side(side: float) -> str:
    return "left" if side > 0.0 else "right"


def _single(
    key: str, words: str, unit: str, digits: int, value: float, where: str
) -> Line:
    return Line(
        key, words, unit, digits, (value, None, None, None), where, per="car"
    )


def _weights(project: Project, setup: Setup) -> Iterator[Line]:
    """Cross weight and corner weights that the scales should show: those of the solved pad."""
    reading = Pad(project, setup).reading(as_written(setup))
    weights = tuple(
        round(round(float(load), 8), 3) for load in reading.load / GRAVITY
    )
    cross = round(reading.cross_share / PERCENT, 3)
    where = "front right and rear left, of the whole"
    yield _single(CROSS, "cross weight", "%", 1, cross, where)
    mass = car_as_set(project.car, setup).mass
    where = (
        f"scales, driver aboard; {mass:g} kg in all, cross weight {cross:.4g} %"
    )
    yield Line(WEIGHT, "corner weight", "kg", 1, weights, where)


def _tolerance(setting: Setting, held: Tolerance | None) -> str:
    if held is not None and setting.field == "spring":
        return f"{held.spring_share / PERCENT:.3g} %"
    own = getattr(held, setting.field, None)
    return "" if own is None else f"{own / setting.factor:.3g} {setting.unit}"


def _where(project: Project, field: str) -> str:
    air = project.car.air
    front = air.front_ride_station / MM
    rear = air.rear_ride_station / MM
    places = {
        "pressure": "gauge, as run; note the cold value that warms up to it",
        "spring": "rate stamped on the spring",
        "ride_height": f"floor line, {front:g} mm and {rear:g} mm behind the front axle line",
        "camber": "gauge on the wheel, car level on the pad",
        "toe": f"toe-in of one wheel, over {project.car.front.toe_over / MM:g} mm in front, "
        f"{project.car.rear.toe_over / MM:g} mm behind",
        "anti_roll": "position of the bar; connect it last, without preload",
        "third": "rate stamped on the spring",
    }
    return places[field]
