"""The report as one HTML page that needs nothing else: style and pictures inside, no script, no network."""

from __future__ import annotations

import re
import shlex
from base64 import b64encode
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from setupopt.evaluation.drawn_parts import Patch
from setupopt.evaluation.report_data import Part, Report
from setupopt.evaluation.result import Field
from setupopt.project.bodies import body_label, worn_words
from setupopt.project.checksum import project_checksum
from setupopt.project.stored_prices import PICTURE
from setupopt.project.stored_proof import proof_extent
from setupopt.report.page import case_tables
from setupopt.report.page import tables as page_tables
from setupopt.report.page.charts import (
    Shown,
    loads_picture,
    margins_picture,
    standing_picture,
    top_load,
)
from setupopt.report.page.drawing import near_drawing, section_drawing
from setupopt.report.page.patch import highest, patches_picture
from setupopt.report.page.plan import plan_drawing
from setupopt.report.page.shapes import NARROW
from setupopt.report.route.picture import along_picture
from setupopt.report.shared.route_file import is_sound
from setupopt.report.shared.template import HELPERS, text_room
from setupopt.units import MM

if TYPE_CHECKING:
    from markupsafe import Markup

_HERE = Path(__file__).parent
_REACH = 1.08  # of the largest patch or tread, to the edge of its picture


def html(report: Report) -> str:
    """The whole page; all text of the user is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    room = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    room.globals |= text_room().globals
    room.filters |= HELPERS
    style = Markup((_HERE / "page.css").read_text(encoding="utf-8"))
    project = report.today.project
    pictures = _Pictures(report)
    halves, group = page_tables.angles(report)
    # the body, where all setups wear the same one; the verdict tells others
    bodies = {part.project.setup.body for part in report.parts}
    return room.get_template("page.html").render(
        style=style,
        report=report,
        project=project,
        worn=worn_words(report.today.project, *bodies)
        if len(bodies) == 1
        else "",
        folder=shlex.quote(str(project.folder)),
        checksum=project_checksum(project),
        tables=page_tables,
        case_tables=case_tables,
        roles=[part.role for part in report.parts],
        body_label=body_label,
        proof_extent=proof_extent,
        angles=halves,
        group=group,
        margins=_inside(
            margins_picture(pictures.shown, report.today.assessment.floor),
            "margins",
        ),
        route_picture=_route_picture(report),
        standing=_inside(standing_picture(pictures.shown), "standing"),
        shown=list(map(pictures.part, report.parts, pictures.shown)),
        narrow=NARROW,
        trade_off=_trade_off(report.prices or {}),
    )


def _route_picture(report: Report) -> Markup | None:
    """The kept route at its marks; None where none is kept."""
    found = report.target.route
    if not found or not is_sound(found):
        return None
    marks = found["marks"]
    columns = {
        name: np.array([row[name] for row in marks]) for name in marks[0]
    }
    return _inside(
        along_picture(report.today.project, columns, found["least_margin"]),
        "route",
    )


def _trade_off(prices: Field) -> str:
    """A picture as an address of itself: an image runs no script, whatever its file holds; empty without one."""
    svg = prices.get(PICTURE)
    if not isinstance(svg, str):
        return ""
    return f"data:image/svg+xml;base64,{b64encode(svg.encode()).decode()}"


class _Pictures:
    """All pictures of a page: setups share their scales."""

    def __init__(self, report: Report) -> None:
        self.shown = [Shown(one.role, one.assessment) for one in report.parts]
        self.top = top_load(self.shown)
        every = [patch for part in report.parts for patch in _patches(part)]
        self.pressure = highest(every)
        edges = [max(patch.half_width, patch.half_length) for patch in every]
        self.reach = _REACH * max(edges, default=100.0 * MM)

    def part(self, part: Part, shown: Shown) -> Field:
        """Drawings and pictures of one setup; no patches where contact is lost."""
        assessment = part.assessment
        state = part.drawn
        at = float(assessment.result.cases.at[assessment.worst])
        patches = _patches(part)
        picture = (
            patches_picture(patches, self.pressure, self.reach)
            if patches
            else None
        )
        return {
            "part": part,
            "fields": assessment.worst_fields,
            "loads": _inside(
                loads_picture(shown, self.top), f"loads-{part.role}"
            ),
            "section": section_drawing(part.project.venue, state, at),
            "plan": plan_drawing(state),
            "near": [near_drawing(state, axle) for axle in (1, 0)],
            "patches": None
            if picture is None
            else _inside(picture, f"patches-{part.role}"),
        }


def _patches(part: Part) -> list[Patch]:
    return [
        wheel.patch for wheel in part.drawn.wheels if wheel.patch is not None
    ]


def _inside(svg: str, name: str) -> Markup:
    """A picture to stand in a page: without its file's head, its names apart from other pictures'."""
    from markupsafe import Markup

    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'\b(id="|href="#|url\(#)', rf"\g<1>{name}-", body)
    return Markup(body)  # matplotlib escapes what is text
