"""A route for scripts: its JSON, and every point of it as a table."""

from __future__ import annotations

import numpy as np

from setupopt.evaluation.result import Field, finite
from setupopt.evaluation.variables import slots
from setupopt.physics.inputs import Floats
from setupopt.project.csv_write import rows_text
from setupopt.project.field_types import KMH
from setupopt.project.writing import setup_text
from setupopt.report.route.programme import error_fields, programme_fields
from setupopt.report.shared.plain import picked, plain, setup_fields
from setupopt.report.shared.words import setup_comment
from setupopt.robust.builds.worst_build import WorstBuild
from setupopt.route.by_hand import ByHand
from setupopt.route.complete import Route
from setupopt.route.front import LengthFront
from setupopt.route.grid import Cell, Grid, load_factor
from setupopt.route.plan import SHAPES
from setupopt.route.radius_map import RouteMap
from setupopt.route.study import First, RouteStudy
from setupopt.route.way_out import EVENTS, Escape, WayOut
from setupopt.route.whole import Place
from setupopt.units import DEG, KW, MM

_MARKS = 5.0  # m between the marks of the route card
_OF_CASES = (
    "speed_m_s",
    "heading_deg",
    "path_curvature_per_m",
    "yaw_acceleration_rad_s2",
)
_FROM_CASES = (
    "contact", "margin", "sideslip_deg", "steer_deg", "load_fl_N", "load_fr_N", "load_rl_N", "load_rr_N",
    "wheels_in_air", "growth_per_s", "lambda", "balance",
)  # fmt: skip


def columns(study: RouteStudy) -> Field:
    """Every point of the route, (points), in file units."""
    points = study.judged.points
    table = study.judged.result.frame()
    names = np.array(study.paths.shape.pieces, dtype=object)
    return {
        "piece": names[study.found.index.astype(int)],
        "way_m": points.way[0],
        "axis_m": points.along[0],
        "around_m": points.place[0],
        "seconds": study.seconds,
        "roll_angle_deg": study.roll_angle / DEG,
        "heading_deg": points.course[0] / DEG,
        "path_curvature_per_m": points.curvature[0],
        "yaw_acceleration_rad_s2": points.yaw_acceleration[0],
        "speed_m_s": points.speed[0],
        "acceleration_m_s2": points.acceleration[0],
        "power_kW": study.judged.power[0] / KW,
        "steer_rate_deg_s": study.judged.steer_rate[0] / DEG,
        **{name: table[name].to_numpy() for name in _FROM_CASES},
    }


def csv_text(route: Route) -> str:
    """Every point of the route as CSV."""
    return rows_text(columns(route.study))


def cases_text(route: Route) -> str:
    """The points of the route at the marks as a list of cases, for `assess --cases`."""
    rows = mark_rows(route.study)
    every = columns(route.study)
    cases = route.study.judged.result.cases
    table = {"case": [f"{way:.1f} m" for way in every["way_m"][rows]]}
    if cases.is_along:
        table["along_mm"] = cases.records["along"][rows] / MM
    else:
        table["roll_angle_deg"] = cases.records["roll_angle"][rows] / DEG
    table |= {name: every[name][rows] for name in _OF_CASES}
    # a point between drive and brakes was judged a little beside it
    table["acceleration_m_s2"] = cases.records["acceleration"][rows]
    return rows_text(table)


def mark_rows(study: RouteStudy) -> np.ndarray:
    """The points nearest to marks `_MARKS` apart, both ends among them."""
    way = study.judged.points.way[0]
    marks = np.append(np.arange(0.0, way[-1], _MARKS), way[-1])
    return np.unique(np.abs(way[:, None] - marks).argmin(axis=0))


def as_dict(route: Route) -> Field:
    """Plain Python values, None for what has no answer."""
    return {
        **study_fields(route.study),
        "marks": marks(route),
        "place": place_fields(route.place),
        **more_fields(route),
    }


def marks(route: Route) -> list[Field]:
    """The marks along the route, for the card: each with km/h, and the way out after a loss of drive."""
    table = columns(route.study)
    found = [row_fields(table, row) for row in mark_rows(route.study)]
    return [
        {
            **row,
            "speed_km_h": row["speed_m_s"] / KMH,
            "abort": _abort(route, row["way_m"]),
        }
        for row in found
    ]


def _abort(route: Route, way: float) -> str | None:
    """What is left at the last point before a mark whose ways out are known: stay, on, down or none."""
    ways = route.study.judged.points.way[0]
    known = [escape for escape in route.escapes if ways[escape.row] <= way]
    if not known:
        return None
    found = known[-1].ways[EVENTS[0]]
    if found is None:
        return "none"
    return found.way if found.metres > 0.0 else "stay"


def place_fields(place: Place) -> Field:
    """The stages of the whole place, and their sums."""
    return picked(
        place,
        "metres",
        "seconds",
        "stages",
        "braking_margin",
        stop_m_s2="stop",
    ) | {"missing": place.missing or None}


def more_fields(route: Route) -> Field:
    """Ways out and prices; null where they were not asked for."""
    study = route.study
    ways = [escape_fields(study, escape) for escape in route.escapes]
    return {
        "ways_out": ways or None,
        "prices": plain(route.prices) or None,
        "map": map_fields(route.map),
        "tradeoff": front_fields(route.front),
        "programme": programme_fields(route.programme),
        "turns": plain(route.turns) or None,
        "spread": None if route.worst is None else _spread(route.worst),
        "by_hand": None if route.by_hand is None else _by_hand(route.by_hand),
    }


def _spread(worst: WorstBuild) -> Field:
    """The least margin of the route at the worst of the uncertain inputs."""
    return {
        "worst_margin": finite(worst.margin),
        "errors": error_fields(worst.errors),
    }


def _by_hand(found: ByHand) -> Field:
    """The best way of one heading, and the route up to the same angle."""
    return {"heading_deg": found.heading / DEG} | picked(
        found,
        "margin",
        "route_margin",
        ramp_m="ramp",
        length_m="length",
        steady_margin="steady",
        route_length_m="route_length",
    )


def map_fields(found: RouteMap | None) -> Field | None:
    """Cells of the map and its front."""
    if found is None:
        return None
    return {
        "least_margin": found.least_margin,
        "cells": [cell_fields(found, cell) for cell in found.cells],
        "front": [cell_fields(found, cell) for cell in found.front],
    }


def cell_fields(found: Grid, cell: Cell) -> Field:
    """A radius and a speed with the best route there."""
    setup = None
    if cell.setup is not None:
        setup = {
            slot.name: slot.value(cell.setup) for slot in slots([cell.setup])
        }
    radius = {"radius_mm": round(cell.row / MM, 6)}
    return {**radius, **_cell(found, cell), "setup": setup}


def _cell(found: Grid, cell: Cell) -> Field:
    shape = SHAPES[int(cell.route[0])] if cell.route.size else None
    return {"holds": found.holds(cell), "shape": shape} | picked(
        cell,
        "margin",
        "load_factor",
        speed_m_s="speed",
        length_m="length",
        total_m="total",
        fall_m="fall",
    )


def front_fields(found: LengthFront | None) -> list[Field] | None:
    """Cells of length and speed with what more margin and speed cost; None where no front was asked for."""
    if found is None:
        return None
    return [
        {
            "length_most_m": point.cell.row,
            **_cell(found, point.cell),
            **picked(
                point,
                "on_front",
                margin_costs_m="margin_costs",
                speed_costs_m="speed_costs",
            ),
        }
        for point in found.points
    ]


def front_text(route: Route) -> str | None:
    """The cells of length and speed as CSV; None where no front was asked for."""
    rows = front_fields(route.front)
    return None if rows is None else rows_text(rows)


def setup_file(route: Route) -> str | None:
    """The setup that was found for the route; None where none was searched."""
    if not route.turns:
        return None
    warning = (
        ""
        if route.holds
        else "ITS ROUTE BREAKS A LIMIT OR THE MINIMUM MARGIN: see what route printed."
    )
    comment = setup_comment(
        "Found for a route", float(route.study.margin.min()), warning
    )
    return setup_text(route.study.project.setup, None, comment)


def map_text(route: Route) -> str | None:
    """The cells of the map as CSV; None where no map was asked for."""
    found = map_fields(route.map)
    if found is None:
        return None
    rows = []
    for cell in found["cells"]:
        setup = cell.pop("setup") or {}
        rows.append(cell | setup)
    return rows_text(rows)


def escape_fields(study: RouteStudy, escape: Escape) -> Field:
    """A point of the route with its ways out."""
    return {
        "way_m": float(study.judged.points.way[0, escape.row]),
        "roll_angle_deg": float(study.roll_angle[escape.row] / DEG),
        "events": [_way_out(event, way) for event, way in escape.ways.items()],
        "stopping_m": escape.stopping,
        "flight": plain(escape.flight),
    }


def _way_out(event: str, way: WayOut | None) -> Field:
    if way is None:
        return {"event": event, "way": None}
    return {"event": event, "angle_deg": float(way.angle / DEG)} | picked(
        way, "way", "margin", "metres", "seconds", speed_m_s="speed"
    )


def study_fields(study: RouteStudy) -> Field:
    """The route itself."""
    table = columns(study)
    worst = int(study.margin.argmin())
    goal = study.goal
    return {
        "holds": study.holds,
        "setup": setup_fields(study.project, study.project.setup),
        **picked(study, best="options.mode", shape="paths.shape.name"),
        "speed_m_s": float(study.paths.legs[0].speed[0]),
        "to_deg": finite(goal.top / DEG),
        **picked(goal, hold_m="hold", least_margin="least_margin"),
        "margin": finite(study.margin[worst]),
        "worst": row_fields(table, worst),
        "length_m": study.length,
        "length_most_m": goal.length,
        "held_m": float(study.paths.held[0]),
        "seconds": float(study.seconds[-1]),
        "coasting": [float(leg.coasting[0]) for leg in study.paths.legs],
        "pieces": pieces(study, table),
        "limits": limit_fields(study),
        "shapes": [_shape(name, first) for name, first in study.firsts.items()],
        "load_factor": finite(load_factor(study).max()),
        "straight_margin": finite(study.straight),
        "points": len(study.margin),
        "cautions": list(study.project.cautions),
    }  # fmt: skip


def limit_fields(study: RouteStudy) -> list[Field]:
    """Every limit with its least room, and whether it is kept."""
    return [
        {
            "limit": name,
            "room": finite(rows.min()),
            "holds": name not in study.broken,
        }
        for name, rows in study.room.items()
        if name != "car.steer_limit_deg"  # said as steer_limit_deg
    ]


def row_fields(table: Field, row: int) -> Field:
    """One point as plain values."""
    return {
        name: plain(np.asarray(column[row]).item())
        for name, column in table.items()
    }


def pieces(study: RouteStudy, table: Field) -> list[Field]:
    """Each piece with its metres, seconds, angles and least margin."""
    found = []
    for name in study.paths.shape.pieces:
        rows = np.flatnonzero(table["piece"] == name)
        last = min(rows[-1] + 1, len(table["piece"]) - 1)
        worst = rows[study.margin[rows].argmin()]
        found.append({
            "piece": name,
            "metres": _span(table["way_m"], rows[0], last),
            "seconds": _span(table["seconds"], rows[0], last),
            "from_deg": float(table["roll_angle_deg"][rows[0]]),
            "to_deg": float(table["roll_angle_deg"][last]),
            "margin": finite(study.margin[worst]),
            "at_m": float(table["way_m"][worst]),
        })  # fmt: skip
    return found


def _span(values: Floats, first: int, last: int) -> float:
    return float(values[last] - values[first])


def _shape(name: str, first: First | None) -> Field:
    """The best first path of a shape on the table of margins."""
    renamed = {
        "length_m": "length",
        "speed_m_s": "speed",
        "straight_margin": "straight",
    }
    if first is None:
        return {"shape": name} | dict.fromkeys(("margin", *renamed))
    return {"shape": name} | picked(first, "margin", **renamed)
