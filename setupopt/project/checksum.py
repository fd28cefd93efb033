"""A short checksum of what decides a result: so that a sheet, a proof and a project can be held together."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from setupopt.project.model import Project, Setup

_DIGITS = 12


def project_checksum(project: Project) -> str:
    """Checksum of car, venue and limits: of their numbers, not of comments or notation in the files."""
    return _digits(asdict(project.car), asdict(project.venue), project.limits and asdict(project.limits))


def setup_checksum(project: Project, setup: Setup) -> str:
    """Checksum of a setup in its project; its name does not count.

    The same number of hexadecimal digits as `project_checksum`; another one for any setting that differs.
    """
    return _digits(project_checksum(project), asdict(setup.front), asdict(setup.rear))


def _digits(*parts: Any) -> str:
    text = json.dumps(parts, sort_keys=True)  # floats as repr writes them: to the last bit
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]
