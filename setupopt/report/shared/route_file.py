"""A route that `route --out` has written: what sheets and pages show of it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from setupopt.errors import InputError
from setupopt.evaluation.result import Field
from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project
from setupopt.project.stored_proof import kept_answer

MOST_BYTES = 20_000_000
_NUMBERS = (
    "way_m",
    "axis_m",
    "roll_angle_deg",
    "heading_deg",
    "speed_m_s",
    "speed_km_h",
    "seconds",
    "steer_deg",
)
_WHOLE = ("margin", "length_m", "seconds", "to_deg", "least_margin", "hold_m")
CARD = (
    "shape", "margin", "least_margin", "to_deg", "hold_m", "length_m", "seconds", "load_factor", "spread",
    "marks", "programme",
)  # fmt: skip
_RUN = (
    "run",
    "to_deg",
    "speed_m_s",
    "speed_km_h",
    "length_m",
    "margin",
    "worst_margin",
)


def read_route(file: str | Path, project: Project) -> Field:
    """The JSON of a route of the project's setup.

    Raises InputError for a file that is none, or that belongs to another setup: a card must not be driven
    with it.
    """
    found = kept_answer(Path(file), MOST_BYTES, is_sound)
    if found is None:
        raise InputError(
            str(file),
            None,
            "",
            "something else" if Path(file).exists() else "no such file",
            "a route.json that `setupopt route` wrote",
        )
    known = found["setup"]["checksum"]
    own = setup_checksum(project, project.setup)
    if known != own:
        expected = (
            f"{own}, the setup of this sheet: run `setupopt route` with it"
        )
        raise InputError(
            str(file), None, "setup.checksum", str(known), expected
        )
    return found


def is_sound(found: Any) -> bool:
    """Whether a kept answer has all that cards and pictures need."""
    try:
        runs = (found["programme"] or {"runs": []})["runs"]
        rows = [(found, _WHOLE), *((mark, _NUMBERS) for mark in found["marks"])]
        rows += [(run, _RUN) for run in runs]
        numbers = [row[name] or 0.0 for row, names in rows for name in names]
        judged = [found["holds"], *(one["holds"] for one in found["limits"])]
        finite = all(name in found for name in CARD) and all(
            map(math.isfinite, numbers)
        )
        return (
            finite
            and all(one in (True, False) for one in judged)
            and bool(found["setup"]["checksum"])
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        return False


def route_reasons(found: Field | None) -> tuple[str, ...]:
    """Why nobody may drive a route; empty where the model finds nothing, or there is no route."""
    if found is None or found["holds"]:
        return ()
    broken = [one["limit"] for one in found["limits"] if not one["holds"]]
    words = f" Limits broken: {', '.join(broken)}." if broken else ""
    least = (
        "contact lost"
        if found["margin"] is None
        else f"least margin {found['margin']:.3f}"
    )
    return (f"Route: {least}, at least {found['least_margin']:g}.{words}",)
