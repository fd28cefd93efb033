"""The answers that a project keeps of `propose` and `route`: shown only if they are of exactly these inputs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.model import Project, Setup
from setupopt.project.stored_proof import Kept, kept_answer, stored_answer
from setupopt.project.writing import Entries, setup_as_dict

FILE = "proposal.json"
PICTURE = "trade_off_svg"  # its key, in the file that the project keeps
_LARGEST = 5_000_000  # bytes


class _Price(Kept):
    limit: str
    unit: str
    key: str
    agrees: bool
    margin_per_unit: float
    solved_again: float | None = None


class _Proposal(Kept):
    """All that is shown of an answer of `propose`."""

    holds: bool
    limit_prices: list[_Price]


def proposal_file(project: Project, setup: Setup) -> Path:
    """Where the answer of `propose` that made exactly this setup is kept in its project."""
    return (
        project.folder
        / "proved"
        / f"{setup_checksum(project, setup)}-proposal.json"
    )


def stored_route(project: Project, setup: Setup) -> Entries | None:
    """The answer of `route` in the project, where it is of exactly this setup."""
    route = project.folder / "route.json"
    return stored_answer(route, _LARGEST, project, setup, is_plain)


def stored_prices(project: Project) -> Entries | None:
    """The answer of `propose` that the project keeps of exactly its inputs and the setup it stands on."""
    return _read(project, proposal_file(project, project.setup)) or _read(
        project, project.folder / FILE
    )


def _read(project: Project, path: Path) -> Entries | None:
    """The answer in a file; None for one of other inputs or another setup, and for any other file."""
    checksum = project_checksum(project)
    own = _settings(setup_as_dict(project.setup))

    def is_own(found: Entries) -> bool:
        return (
            found["project_checksum"] == checksum
            and _settings(found["setup"]) == own
            and _Proposal.fits(found)
            and is_plain(found)
        )

    return kept_answer(path, _LARGEST, is_own)


def _settings(setup: Entries) -> Entries:
    """A setup by the keys of its file, without the name, which decides nothing."""
    return setup | {"setup": setup["setup"].get("body")}


def is_plain(found: Any) -> bool:
    """Whether JSON has words for all of it: a file may also hold numbers that are none."""
    try:
        json.dumps(found, allow_nan=False)
    except (ValueError, RecursionError):
        return False
    return True
