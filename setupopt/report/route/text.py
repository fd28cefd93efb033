"""A route in words and plain tables; the words stand in route.txt."""

from __future__ import annotations

from setupopt.evaluation.result import Field
from setupopt.project.field_types import KMH
from setupopt.report.route.fields import (
    columns,
    escape_fields,
    front_fields,
    limit_fields,
    marks,
    pieces,
    row_fields,
)
from setupopt.report.route.programme import programme_fields
from setupopt.report.shared.template import rendered
from setupopt.route.complete import Route
from setupopt.route.leg import turn_of
from setupopt.route.plan import SHAPES
from setupopt.route.study import RouteStudy
from setupopt.route.way_out import EVENTS, Escape


def text(route: Route, width: int, short: bool = False) -> str:
    """The whole report, or with `short` verdict and stages alone; lines of at most `width`."""
    study = route.study
    table = columns(study)
    programme = programme_fields(route.programme) or {}
    front = front_fields(route.front) or []
    return rendered(
        "route/route", width, short, route=route, bend=float(turn_of(study.project.venue)),
        worst=row_fields(table, int(study.margin.argmin())), pieces=pieces(study, table),
        limits=limit_fields(study), marks=marks(route),
        escapes=[_escape(study, one) for one in route.escapes],
        front=[row for row in front if row["on_front"]],
        runs=programme.get("runs"), refused=programme.get("refused"),
        shape=lambda route: SHAPES[int(route[0])], EVENTS=EVENTS, KMH=KMH,
    )  # fmt: skip


# ---- ways out ----------------------------------------------------------------------------------------------


def _escape(study: RouteStudy, escape: Escape) -> Field:
    """A point of the route, its ways out by what happens there."""
    row = escape_fields(study, escape)
    return row | {"events": {way["event"]: way for way in row["events"]}}


# ---- the test programme ------------------------------------------------------------------------------------
