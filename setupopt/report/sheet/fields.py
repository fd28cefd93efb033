"""The sheet for the mechanics as plain values: for the PDF, for JSON, and as a table that is read back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import body_label, body_words
from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.csv_write import csv_text
from setupopt.project.measured_file import BODY, CROSS, WEIGHT
from setupopt.project.model import AXLES, WHEELS, Project, Setup
from setupopt.project.settings import without_noise
from setupopt.report.shared.plain import picked, setup_fields
from setupopt.report.shared.route_file import CARD, route_reasons
from setupopt.report.shared.template import whole_lines
from setupopt.report.shared.words import CLOSING
from setupopt.report.sheet.card_fields import card_fields
from setupopt.sheet.card import RunCard
from setupopt.sheet.change_list import ChangeList
from setupopt.sheet.cold import cold_pressures
from setupopt.sheet.pad_state import PadReading
from setupopt.sheet.revisions import Revision
from setupopt.sheet.state import Line, state_lines
from setupopt.sheet.steps import Step
from setupopt.units import BAR, DEG, GRAVITY, MM

_BODY_WHERE = "the one on the car"
COLUMNS = (
    "quantity",
    "unit",
    *WHEELS,
    *(f"target_{wheel}" for wheel in WHEELS),
    "tolerance",
    "where",
    "note",
    "initials",
)


@dataclass(frozen=True)
class Sheet:
    """Everything that is put on paper. `date` as YYYY-MM-DD; `made_by` may be empty; `route`: as
    `report.shared.route_file` reads it, None without a route card.
    """

    project: Project
    changes: ChangeList
    card: RunCard
    revision: int
    date: str
    made_by: str
    route: Field | None = None

    @property
    def target(self) -> Setup:
        """The setup that the car is to stand on."""
        return self.changes.target

    @property
    def do_not_run(self) -> tuple[str, ...]:
        """Reasons against a run of the target, the banner of every page; empty where there is none."""
        return (*self.card.do_not_run, *route_reasons(self.route))

    @property
    def passes(self) -> bool:
        """Whether the target may be driven, and keeps the minimum margin as the steps leave it."""
        return (
            not self.do_not_run
            and self.changes.margin_landed >= self.card.floor
        )

    @property
    def standing(self) -> str:
        """Cases of the target that slide or have a wheel in the air, in words; empty where there is none."""
        found = whole_lines("shared/standing", result=self.card.result)
        return " ".join(found.split())

    @property
    def cautions(self) -> tuple[str, ...]:
        """Those of the project's files, then those of the target's ride."""
        ride = () if self.card.ride is None else self.card.ride.cautions
        return (*self.project.cautions, *ride)

    @property
    def file_name(self) -> str:
        """Safe on any file system: letters, digits, and the setup's checksum."""
        plain = (
            re.sub(r"[^A-Za-z0-9]+", "-", self.target.name)
            .strip("-")
            .lower()[:40]
            .strip("-")
        )
        return f"sheet-{self.revision:03d}-{plain or 'setup'}-{setup_checksum(self.project, self.target)}"

    def as_dict(self) -> Field:
        """For scripts and for the printed page; plain Python values."""
        p = self.project
        c = self.changes
        # the car from above, mm behind the front axle line and to the left
        car = self.project.car
        axles = (car.front, car.rear)
        return {
            "car": p.car.name,
            "bodies": [body.name for body in p.bodies],
            "venue": p.venue.name,
            **picked(self, "revision", "date", "made_by"),
            "project_checksum": project_checksum(p),
            "today": self._state(c.today),
            "target": self._state(c.target),
            "margins": picked(
                c,
                today="margin_today",
                target="margin_target",
                as_set="margin_landed",
                lost_to_rounding="lost_to_rounding",
            ),
            "plan": {
                "wheelbase_mm": without_noise(car.wheelbase / MM),
                "track_mm": _in_mm(axle.track for axle in axles),
                "tread_mm": _in_mm(axle.tyre.tread_width for axle in axles),
                "wheel_mm": _in_mm(2.0 * axle.tyre.radius for axle in axles),
                "stations_mm": _in_mm(
                    (car.air.front_ride_station, car.air.rear_ride_station)
                ),
            },
            "steps": [_step(step) for step in c.steps],
            "left_alone": list(c.left_alone),
            "do_not_run": list(self.do_not_run),
            "run_card": card_fields(self.card),
            "route_card": self.route
            and {name: self.route[name] for name in CARD},
            "cautions": list(self.cautions),
            "assumed": list(p.assumed),
            "closing": CLOSING,
        }

    def _state(self, setup: Setup) -> Field:
        return {
            **setup_fields(self.project, setup, "body"),
            "lines": [_line(line) for line in state_lines(self.project, setup)],
        }


def _in_mm(lengths: Iterable[float]) -> list[float]:
    return [without_noise(length / MM) for length in lengths]


def _named(names: Sequence[str], values: Floats) -> dict[str, float]:
    """Values by axle or wheel."""
    return dict(zip(names, map(without_noise, values), strict=True))


def _line(line: Line) -> Field:
    names = ("quantity", "words", "unit", "digits", "tolerance", "where", "per")
    values = dict(zip(WHEELS, line.values, strict=True))
    return {**picked(line, *names), "values": values}


def _step(step: Step) -> Field:
    names = (
        "number", "job", "where", "what", "amount", "unit", "exact", "points", "is_read", "asks_stack",
    )  # fmt: skip
    fields = picked(step, *names, shims_mm="shims")
    return {**fields, "reading": reading_fields(step.reading)}


def reading_fields(reading: PadReading) -> Field:
    """What the pad shows, in the units of the files."""
    return {
        "ride_height_mm": _named(AXLES, reading.ride_height / MM),
        "side_height_mm": _named(WHEELS, reading.side_height / MM),
        "camber_deg": _named(WHEELS, reading.camber / DEG),
        "corner_weight_kg": _named(WHEELS, reading.load / GRAVITY),
        "cross_weight_percent": without_noise(100.0 * reading.cross_share),
    }


def cold_words(sheet: Sheet) -> dict[str, dict[str, str]]:
    """By checksum of today's setup and of the target: the cold pressure of every wheel that has one."""
    found = {}
    for setup in (sheet.changes.today, sheet.target):
        rows = cold_pressures(sheet.project, setup)
        words = {
            row.wheel: f"{row.cold / BAR:.2f} bar, {row.at:g} C" for row in rows
        }
        found[setup_checksum(sheet.project, setup)] = words
    return found


def revision(sheet: Sheet) -> Revision:
    """The sheet's line in the revision log: what differs from today's setup, and the margin of the target."""
    c = sheet.changes
    before = {
        line.quantity: line for line in state_lines(sheet.project, c.today)
    }
    changed = [
        words
        for line in state_lines(sheet.project, c.target)
        if line.quantity not in (CROSS, WEIGHT)
        for words in _differences(before.get(line.quantity), line)
    ]
    kept = {line.quantity for line in state_lines(sheet.project, c.target)}
    changed += [
        f"without {line.words}"
        for key, line in before.items()
        if key not in kept
    ]
    if c.today.body != c.target.body:
        changed.insert(
            0, f"{body_words(c.today.body)} -> {body_words(c.target.body)}"
        )
    margin = (
        f"{c.margin_target:.4f}"
        if np.isfinite(c.margin_target)
        else "contact lost"
    )
    checksum = setup_checksum(sheet.project, c.target)
    return Revision(
        sheet.revision,
        sheet.date,
        sheet.made_by,
        c.target.name,
        checksum,
        margin,
        "; ".join(changed),
    )


def _differences(old: Line | None, line: Line) -> Iterator[str]:
    """What changes of one quantity; both sides of an axle together where they change alike."""
    was = (None,) * len(WHEELS) if old is None else old.values
    pairs = list(zip(was, line.values, strict=True))
    if line.per == "car":
        named = [("", pairs[0])]
    else:
        named = []
        for axle, name in enumerate(AXLES):
            left = pairs[2 * axle]
            right = pairs[2 * axle + 1]
            alike = line.per == "axle" or left == right
            sides = (
                [(f" {name}", left)]
                if alike
                else [(f" {name} left", left), (f" {name} right", right)]
            )
            named += sides
    for where, (before, after) in named:
        if after is not None and before != after:
            start = "none" if before is None else f"{before:g}"
            yield f"{line.words}{where} {start} -> {after:g} {line.unit}"


def table(sheet: Sheet) -> str:
    """CSV with empty cells for what was found; filled in, `readback` reads it."""
    found = [None] * 4
    rows: list[list[object]] = []
    if sheet.project.bodies:
        label = body_label(sheet.target.body)
        others = [None] * 4
        rows.append([BODY, "", *found, label, *others, _BODY_WHERE, "", ""])
    for line in state_lines(sheet.project, sheet.target):
        targets = [
            None if value is None else f"{value:g}" for value in line.values
        ]
        about = [line.tolerance, line.where, "", ""]
        rows.append([line.quantity, line.unit, *found, *targets, *about])
    return csv_text(COLUMNS, rows)
