"""The name of a study that is kept: a hash of all that decides its numbers."""

from __future__ import annotations

from dataclasses import fields

from setupopt.jobs.fingerprint import fingerprint
from setupopt.project.model import Project

# Where a project is, and what is said about it, decide no number.
_ASIDE = ("folder", "cautions")


def study_name(project: Project, *options: object) -> str:
    """The fingerprint of a project and of options, as whole dataclasses: every field of both counts."""
    inputs = [
        (f.name, getattr(project, f.name))
        for f in fields(project)
        if f.name not in _ASIDE
    ]
    return fingerprint(inputs, *options)
