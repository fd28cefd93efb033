"""The answer of `prove` that stands in a project for exactly one setup."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project, Setup


def proof_file(project: Project, setup: Setup) -> Path:
    """Where the proof of exactly this setup is kept in its project."""
    return project.folder / "proved" / f"{setup_checksum(project, setup)}.json"


def kept_proof(project: Project, setup: Setup) -> dict[str, Any] | None:
    """The proof of exactly this setup, or None: missing, unreadable, or of another setup."""
    try:
        found = json.loads(proof_file(project, setup).read_text(encoding="utf-8"))
        same = found["setup"]["checksum"] == setup_checksum(project, setup)
        complete = {"holds", "floor", "verdicts", "cases", "wind"} <= found.keys()
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return found if same and complete else None
