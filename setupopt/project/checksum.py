"""A short checksum of all that decides a result: sheet, proof and project can be matched by it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass
from typing import Any

from setupopt.project.bodies import own_body, with_bodywork
from setupopt.project.model import Project, Setup

_DIGITS = 12
_NO_RESULT = {
    "measured_pressure",
    "running_temperature",
    "cold_temperature",
    "route",
    "require",
}  # no margin of the sweep hangs on it


def project_checksum(project: Project) -> str:
    """Checksum of car, bodies, venue and limits: of their numbers, not of comments or notation in the files.

    Which body the car wears does not count.
    """
    car = with_bodywork(project.car, own_body(project))
    limits = project.limits
    return _digits(
        *map(_entries, (car, project.venue, limits, *project.bodies))
    )


def setup_checksum(project: Project, setup: Setup) -> str:
    """Checksum of a setup in its project; its name does not count.

    The same number of hexadecimal digits as `project_checksum`; another one for any setting that differs,
    and for another body.
    """
    body = [] if setup.body is None else [setup.body]
    others = [
        _entries(part)
        for part in (setup.balance, setup.wings, setup.ballast)
        if part
    ]
    parts = (
        _entries(setup.front),
        _entries(setup.rear),
        *body,
        *filter(None, others),
    )
    return _digits(project_checksum(project), *parts)


def _entries(part: Any) -> Any:
    """All entries of a part of the project but those at their default: an entry that comes later changes no
    checksum of a file without it.
    """
    if isinstance(part, tuple):
        return [_entries(one) for one in part]
    if not is_dataclass(part):
        return part
    given = (
        (field, getattr(part, field.name))
        for field in fields(part)
        if field.name not in _NO_RESULT
    )
    return {
        field.name: _entries(value)
        for field, value in given
        if value != field.default
    }


def _digits(*parts: Any) -> str:
    text = json.dumps(
        parts, sort_keys=True
    )  # floats as repr writes them: to the last bit
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]
