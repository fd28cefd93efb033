"""A short checksum of all that decides a result: sheet, proof and project can be matched by it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from setupopt.project.bodies import own_body, with_bodywork
from setupopt.project.model import Project, Setup

_DIGITS = 12
# Checksums of files without them stay what they were
_LATER = {"least_static_gap", "ground_clearance_least", "along", "profile", "toe", "relaxation"}
_NO_RESULT = {"measured_pressure"}  # a caution hangs on it, no number


def project_checksum(project: Project) -> str:
    """Checksum of car, bodies, venue and limits: of their numbers, not of comments or notation in the files.

    Which body the car wears does not count.
    """
    car = with_bodywork(project.car, own_body(project))
    limits = project.limits
    return _digits(*map(_entries, (car, project.venue, limits, *project.bodies)))


def setup_checksum(project: Project, setup: Setup) -> str:
    """Checksum of a setup in its project; its name does not count.

    The same number of hexadecimal digits as `project_checksum`; another one for any setting that differs,
    and for another body.
    """
    body = [] if setup.body is None else [setup.body]
    return _digits(project_checksum(project), _entries(setup.front), _entries(setup.rear), *body)


def _entries(part: Any) -> dict[str, Any] | None:
    """All entries of a part of the project; left out count only those that there have been from the first."""
    if part is None:
        return None
    return asdict(part, dict_factory=_counted)


def _counted(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    return {k: v for k, v in pairs if k not in (_NO_RESULT if v is not None else _NO_RESULT | _LATER)}


def _digits(*parts: Any) -> str:
    text = json.dumps(parts, sort_keys=True)  # floats as repr writes them: to the last bit
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]
