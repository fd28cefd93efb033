"""The answer of `prove` that stands in a project for exactly one setup."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from setupopt.files import read_regular
from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project, Setup

MOST_BYTES = 20_000_000  # of a proof; one of the examples has a few thousand
_HUGE = 1e12  # no figure of a proof; not a number is not below it either


def proof_file(project: Project, setup: Setup) -> Path:
    """Where the proof of exactly this setup is kept in its project."""
    return project.folder / "proved" / f"{setup_checksum(project, setup)}.json"


def stored_proof(project: Project, setup: Setup) -> dict[str, Any] | None:
    """The proof of exactly this setup, or None: missing, damaged, or of another setup."""
    try:
        found: dict[str, Any] = json.loads(read_regular(proof_file(project, setup), MOST_BYTES))
        same = found["setup"]["checksum"] == setup_checksum(project, setup)
        return found if same and _is_sound(found) else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _is_sound(proof: dict[str, Any]) -> bool:
    """Whether all that a run card takes from a proof is there, of the right kind; KeyError if not."""
    if not (proof["cases"] and proof["wind"] and type(proof["holds"]) is bool and _is_number(proof["floor"])):
        return False
    return (
        all(_fits(row, _CASE) for row in proof["cases"])
        and all(_fits(row, _WIND) and _is_number(row["from_deg"]) for row in proof["wind"])
        and all(_fits(row, _VERDICT) and row["what"] is not None for row in proof["verdicts"])
    )


def _fits(row: dict[str, Any], kinds: Mapping[str, Callable[[Any], bool]]) -> bool:
    return all(row[key] is None or fits(row[key]) for key, fits in kinds.items())


def _is_number(value: Any) -> bool:
    return type(value) in (int, float) and abs(value) < _HUGE


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


_PLACE = {"roll_angle_deg": _is_number, "attitude": _is_text}
_CASE = _PLACE | {"bump_mm": _is_number, "bump_length_m": _is_number, "bump_track": _is_text}
_WIND = _PLACE | {"gust_m_s": _is_number, "steady_m_s": _is_number}
_VERDICT = {"what": _is_text, "holds": lambda value: isinstance(value, bool)}
