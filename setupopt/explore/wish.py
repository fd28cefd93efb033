"""What a page asks about: a setup, a speed, a road and a case of its own, checked, on top of the project."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from setupopt.errors import InputErrors, UserError
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import (
    Slot,
    Variable,
    slots,
    variables_of,
    with_value,
)
from setupopt.project import setup_schema, venue_schema
from setupopt.project.bodies import body_label, with_body
from setupopt.project.consistency import refusals
from setupopt.project.model import AXLES, SIDES, Attitude, Project, Setup
from setupopt.project.settings import rounded
from setupopt.project.toml_file import TomlFile
from setupopt.project.validation_errors import checked
from setupopt.project.writing import setup_as_dict
from setupopt.report.shared.words import setting_words
from setupopt.units import DEG, ROUGHNESS

Json = dict[str, Any]
_TABLES = (*AXLES, "balance", "wings", "ballast")
# Of its value, by which a setting without a range moves both ways
_SPREAD = 0.5
_STEPS = 100  # of a slider whose limits name no step


@dataclass(frozen=True)
class Own:
    """A number of the case that a page drives itself, or of its venue. `factor`: its unit in SI."""

    key: str
    words: str
    unit: str
    factor: float
    lower: float
    upper: float
    step: float
    bounds: tuple[float, float]


def _bounds(table: type, key: str) -> tuple[float, float]:
    extra = table.model_fields[key].json_schema_extra  # type: ignore[attr-defined]
    low, high, *_ = extra["bounds"]
    return low, high


def _own(
    key: str,
    words: str,
    unit: str,
    reach: float,
    step: float,
    factor: float = 1.0,
) -> Own:
    bounds = _bounds(venue_schema.AttitudeTable, key)
    return Own(key, words, unit, factor, -reach, reach, step, bounds)


# The case that the page drives beside those of the venue: its keys are those of an attitude.
OWN_CASE = (
    _own("heading_deg", "course", "deg", 30.0, 0.5, DEG),
    _own("crosswind_m_s", "crosswind", "m/s", 20.0, 0.5),
    _own("headwind_m_s", "headwind", "m/s", 20.0, 0.5),
    _own("acceleration_m_s2", "acceleration", "m/s2", 15.0, 0.5),
)
_FIELDS = ("heading", "crosswind", "headwind", "acceleration")


@dataclass(frozen=True)
class Wish:
    """All that decides an answer; numbers in the units of the page.

    `settings`: by the name of a slot; None: as car.toml says. `own`: as OWN_CASE. `roughness`, 1e-6 m3, None:
    no road.
    """

    body: str | None
    settings: tuple[tuple[str, float | None], ...]
    speed: float
    own: tuple[float, ...]
    roughness: float | None

    @property
    def solved(self) -> Wish:
        """The same for everything that the cases of the sweep depend on."""
        return replace(self, roughness=None)


class Choices:
    """What a page may ask about a project."""

    def __init__(self, project: Project) -> None:
        self.project = project
        self.slots = {
            slot.name: slot
            for slot in sorted(
                _movable(project),
                key=lambda slot: _TABLES.index(slot.where.split(".")[0]),
            )
        }

    @cached_property
    def own_name(self) -> str:
        """What the page's own case is called: as no attitude of the venue is."""
        name = "own case"
        while name in [
            attitude.name for attitude in self.project.venue.attitudes
        ]:
            name += "'"
        return name

    def today(self) -> Wish:
        """The project as it stands."""
        return self.of_setup(self.project.setup)

    def of_setup(self, setup: Setup) -> Wish:
        """Another setup at the venue as it is."""
        venue = self.project.venue
        settings = tuple(
            (name, slot.value(setup)) for name, slot in self.slots.items()
        )
        rough = (
            None
            if venue.roughness is None
            else round(venue.roughness / ROUGHNESS, 9)
        )
        return Wish(
            setup.body,
            settings,
            venue.sweep.speed,
            (0.0,) * len(OWN_CASE),
            rough,
        )

    def read(self, asked: object) -> Wish:
        """The wish in what a page sent. Raises UserError."""
        table = _table(asked, "the page's state")
        settings = _table(table.get("settings"), "settings")
        unknown = sorted(set(settings) - set(self.slots))
        if unknown:
            raise UserError(
                f"{unknown[0]}: found no such setting, expected one of {', '.join(self.slots)}"
            )
        own = _table(table.get("own"), "own")
        body = table.get("body")
        if body is not None and not isinstance(body, str):
            raise UserError(f"body: found {body!r}, expected a name")
        speed = _within(
            "speed_m_s",
            table.get("speed"),
            _bounds(venue_schema.SweepTable, "speed_m_s"),
        )
        # no road at all where nothing or 0 is given
        value = table.get("roughness")
        return Wish(
            body,
            tuple(
                (name, self._setting(name, settings.get(name)))
                for name in self.slots
            ),
            speed,
            tuple(
                _within(one.key, own.get(one.key), one.bounds)
                for one in OWN_CASE
            ),
            None
            if value in (None, 0)
            else _within("roughness", value, (1e-3, 1e6)),
        )

    def _setting(self, name: str, value: object) -> float | None:
        return (
            None
            if value is None
            else _within(name, value, self._bounds(self.slots[name]))
        )

    def apply(self, wish: Wish, checks: bool = True) -> Project:
        """The project with all of a wish; the page's own case is the last attitude.

        With `checks` it raises UserError for what contradicts itself, which takes some milliseconds.
        """
        worn = with_body(self.project, wish.body)
        setup = worn.setup
        rows = by_wheel(setup)
        for name, value in wish.settings:
            slot = self.slots[name]
            if value is not None and value != rounded(
                float(slot.of(rows)[0]), slot.setting
            ):
                setup = with_value(setup, slot, value * slot.setting.factor)
        values = zip(_FIELDS, OWN_CASE, wish.own, strict=True)
        own = {field: value * one.factor for field, one, value in values}
        case = Attitude(self.own_name, own["heading"], own["acceleration"], 0.0, 0.0, None,
                        own["headwind"], own["crosswind"], (0.0, 0.0, 0.0, 0.0), None)  # fmt: skip
        sweep = replace(worn.venue.sweep, speed=wish.speed)
        rough = None if wish.roughness is None else wish.roughness * ROUGHNESS
        attitudes = (*worn.venue.attitudes, case)
        venue = replace(
            worn.venue, sweep=sweep, attitudes=attitudes, roughness=rough
        )
        project = replace(worn, venue=venue, setup=setup)
        if checks:
            _refuse(project)
        return project

    def as_dict(self) -> Json:
        """Everything that a page offers, with the ends of its sliders."""
        venue = self.project.venue
        rough = 0.0 if venue.roughness is None else venue.roughness / ROUGHNESS
        speed = Own("speed", "speed of the sweep", "m/s", 1.0, 0.0, max(1.6 * venue.sweep.speed, 20.0), 0.5,
                    _bounds(venue_schema.SweepTable, "speed_m_s"))  # fmt: skip
        road = Own("roughness", "roughness, ISO 8608 at 0.1 cycles/m", "1e-6 m3", 1.0, 0.0,
                   max(4.0 * rough, 16.0), 0.1, (0.0, 1e6))  # fmt: skip
        return {
            "settings": [self._slider(slot) for slot in self.slots.values()],
            "own": [vars(one) for one in OWN_CASE],
            "speed": vars(speed),
            "roughness": vars(road),
            "bodies": [
                body_label(name)
                for name in (None, *(body.name for body in self.project.bodies))
            ],
        }

    def _slider(self, slot: Slot) -> Json:
        setting = slot.setting
        value = slot.value(self.project.setup)
        low, high = self._bounds(slot)
        choices = None
        if isinstance(slot, Variable):
            lower, upper = (
                slot.range.lower / setting.factor,
                slot.range.upper / setting.factor,
            )
            step = (slot.range.step or slot.width / _STEPS) / setting.factor
            choices = slot.range.choices and [
                round(one / setting.factor, 6) for one in slot.range.choices
            ]
        else:
            spread = _SPREAD * abs(value or 0.0) or 0.05 * (high - low)
            lower, upper = (
                max(low, (value or 0.0) - spread),
                min(high, (value or 0.0) + spread),
            )
            step = 10.0 ** math.floor(
                math.log10((upper - lower) / _STEPS * 2.0)
            )
        ends = {
            "lower": round(lower, 6),
            "upper": round(upper, 6),
            "step": round(step, 9),
        }
        words = f"{setting_words(setting)}{self._unlike(slot)}"
        return {"name": slot.name, "where": slot.where, "words": words, "unit": setting.unit, **ends,
                "choices": choices, "bounds": (low, high),
                "in_limits": isinstance(slot, Variable)}  # fmt: skip

    def _unlike(self, slot: Slot) -> str:
        """What both sides have today, where one slider moves both and shows their mean."""
        setting = slot.setting
        every = by_wheel(self.project.setup)[setting.field].ravel()
        sides = every[list(slot.places)] / setting.factor
        if setting.per != "wheel" or sides.size < 2 or sides[0] == sides[1]:
            return ""
        left, right = sides
        return f" (the mean: left {left:g}, right {right:g}; moving it makes both alike)"

    def _bounds(self, slot: Slot) -> tuple[float, float]:
        table = slot.where.split(".")[0]
        if table == "wings":
            return (-90.0, 90.0)
        tables = {
            "balance": setup_schema.BalanceTable,
            "ballast": setup_schema.BallastTable,
        }
        return _bounds(
            tables.get(table, setup_schema.AxleSetupTable), slot.setting.key
        )


def _movable(project: Project) -> Iterator[Slot]:
    """Every setting that the limits free or the setup gives; one side alone where the other is free."""
    free = () if project.limits is None else variables_of(project.limits)
    taken = {(v.setting.field, place) for v in free for place in v.places}
    yield from free
    for slot in slots([project.setup]):
        left = [
            place
            for place in slot.places
            if (slot.setting.field, place) not in taken
        ]
        if len(left) == len(slot.places):
            yield slot
        elif left:
            yield Slot(
                f"{slot.where}.{SIDES[left[0] % 2]}", slot.setting, tuple(left)
            )


def _table(value: object, name: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise UserError(
            f"{name}: found {json.dumps(value)[:60]}, expected a table"
        )
    return value


def _within(name: str, value: object, bounds: tuple[float, float]) -> float:
    low, high = bounds
    number = _optional(name, value)
    if number is None or not low <= number <= high:
        raise UserError(
            f"{name}: found {number}, expected a number from {low:g} to {high:g}"
        )
    return number


def _optional(name: str, value: object) -> float | None:
    if value is None:
        return None
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not math.isfinite(value)
    ):
        raise UserError(
            f"{name}: found {json.dumps(value)[:60]}, expected a finite number"
        )
    return float(value)


def _refuse(project: Project) -> None:
    """Raises UserError for a setup that a file could not hold, or that contradicts the car."""
    values = setup_as_dict(project.setup)
    try:
        checked(
            TomlFile(Path("this setup"), "", values), setup_schema.SetupFile
        )
    except InputErrors as refused:
        raise UserError(str(refused)) from None
    found = refusals(project.car, project.venue, project.setup)
    if found:
        where = ".".join(map(str, found[0].loc))
        raise UserError(
            f"{found[0].file}.toml {where}: expected {found[0].expected}"
        )
