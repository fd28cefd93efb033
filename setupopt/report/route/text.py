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
from setupopt.report.shared.template import rendered
from setupopt.report.shared.words import verdict
from setupopt.route.complete import Route
from setupopt.route.leg import turn_of
from setupopt.route.plan import SHAPES
from setupopt.route.study import RouteStudy
from setupopt.route.way_out import EVENTS, Escape

_LOADS = [f"load_{wheel}_N" for wheel in ("fl", "fr", "rl", "rr")]


def text(route: Route, width: int, short: bool = False) -> str:
    """The whole report, or with `short` verdict and stages alone; lines of at most `width`."""
    study = route.study
    table = columns(study)
    programme = programme_fields(route.programme) or {}
    front = front_fields(route.front) or []
    return rendered(
        "route/route", width, short, route=route, bend=float(turn_of(study.project.venue)),
        worst=row_fields(table, int(study.margin.argmin())), pieces=pieces(study, table),
        limits=list(_limits(study)), marks=[_mark(row) for row in marks(route)],
        escapes=[_escape(study, one) for one in route.escapes],
        front=[row for row in front if row["on_front"]],
        runs=programme.get("runs"), refused=programme.get("refused"),
        shape=lambda route: SHAPES[int(route[0])], EVENTS=EVENTS, KMH=KMH,
    )  # fmt: skip


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


# ---- the test programme ------------------------------------------------------------------------------------
