"""A route in words and plain tables; the words stand in route.txt."""

from __future__ import annotations

from collections.abc import Iterator

from setupopt.evaluation.result import Field
from setupopt.project.field_types import KMH
from setupopt.report.route.fields import (
    columns,
    escape_fields,
    front_fields,
    marks,
    pieces,
    row_fields,
)
from setupopt.report.route.programme import programme_fields
from setupopt.report.shared.tables import angle, number
from setupopt.report.shared.template import rendered
from setupopt.report.shared.words import verdict
from setupopt.route.complete import Route
from setupopt.route.leg import turn_of
from setupopt.route.plan import SHAPES
from setupopt.route.study import RouteStudy
from setupopt.route.way_out import EVENTS, Escape
from setupopt.units import DEG, PERCENT

SHAPE_WORDS = {
    "over": "up one side, over the top and down the other side",
    "back": "up, straight at the highest angle, and down on the same side",
    "climb": "up, without the way back",
}
_PIECES = {
    "over": "over the top",
    "hold": "straight",
    "climb": "climb",
    "descent": "descent",
}
_LOADS = [f"load_{wheel}_N" for wheel in ("fl", "fr", "rl", "rr")]


def text(route: Route, width: int, short: bool = False) -> str:
    """The whole report, or with `short` verdict and stages alone; lines of at most `width`."""
    study = route.study
    table = columns(study)
    programme = programme_fields(route.programme) or {}
    front = front_fields(route.front) or []
    words = {
        "EVENTS": EVENTS,
        "SHAPE_WORDS": SHAPE_WORDS,
        "DEG": DEG,
        "KMH": KMH,
    }
    return rendered(
        "route/route", width, short, route=route, bend=float(turn_of(study.project.venue)),
        worst=row_fields(table, int(study.margin.argmin())), pieces=pieces(study, table),
        limits=list(_limits(study)), marks=[_mark(row) for row in marks(route)],
        escapes=[_escape(study, one) for one in route.escapes],
        front=[row for row in front if row["on_front"]],
        runs=programme.get("runs"), refused=programme.get("refused"),
        has=_has, inputs=_inputs, event_words=_event_words, flight_words=_flight_words, tells=_tells,
        refused_words=_refused_words, piece_words=_PIECES.get,
        yes_no=lambda taken: "yes" if taken else "no",
        shape=lambda route: SHAPES[int(route[0])], **words,
    )  # fmt: skip


def _has(margin: float) -> str:
    return (
        "loses contact"
        if margin == -float("inf")
        else f"has a margin of {number(margin, 3)}"
    )


def _inputs(errors: dict[str, float]) -> str:
    """Uncertain inputs that are off."""
    return ", ".join(
        f"{'more' if error > 0.0 else 'less'} {name}"
        for name, error in errors.items()
        if error
    )


def _limits(study: RouteStudy) -> Iterator[Field]:
    for name, row in study.room.items():
        kept = verdict(name not in study.broken)
        yield {"limit": name, "room": float(row.min()), "kept": kept}


def _mark(row: Field) -> Field:
    """A mark with its least wheel load."""
    loads = [row[name] for name in _LOADS]
    return row | {"least": None if None in loads else min(loads)}


# ---- ways out ----------------------------------------------------------------------------------------------


def _escape(study: RouteStudy, escape: Escape) -> Field:
    """A point of the route, its ways out by what happens there."""
    row = escape_fields(study, escape)
    return row | {"events": {way["event"]: way for way in row["events"]}}


def _event_words(way: Field) -> str:
    if way["way"] is None:
        return "NONE"
    if way["metres"] == 0.0:
        return "holds here"
    return f"{number(way['margin'], 2)} {way['way']} {number(way['metres'], 0)} m {number(way['seconds'])} s"


def _flight_words(flight: Field) -> str:
    if flight["seconds"] == 0.0:
        return "held"
    return f"{number(flight['seconds'])} s {number(flight['across'])} m/s {number(flight['along'], 0)} m"


# ---- the test programme ------------------------------------------------------------------------------------


def _tells(row: Field) -> str:
    """The input that a run adds most to, and what is left of it."""
    found = [one for one in row["left"] if one["input"] == row["tells"]]
    return (
        f"{row['tells']} {number(found[0]['share'] / PERCENT, 0)} %"
        if found
        else "no spread given"
    )


def _refused_words(refused: list[Field]) -> str:
    """Steps that were refused, with their margins at the worst of the spread."""
    return ", ".join(
        f"{angle(one['to_deg'])} deg at {number(one['speed_m_s'])} m/s "
        f"({'contact lost' if one['worst_margin'] is None else number(one['worst_margin'], 3)})"
        for one in refused
    )
