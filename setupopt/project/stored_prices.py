"""The limit prices that a project keeps of its proposal: shown only if they are of exactly these inputs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

from setupopt.files import read_regular
from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.model import Project, Setup
from setupopt.project.writing import setup_as_dict

FILE = "proposal.json"
PICTURE = "trade_off_svg"  # its key, in the file that the project keeps
_LARGEST = 5_000_000  # bytes


class StoredPrices(NamedTuple):
    """`proposal`: the kept answer of `propose`, or None; then `why` tells what is missing."""

    proposal: dict[str, Any] | None
    why: str

    @property
    def picture(self) -> str:
        """The kept SVG of the trade-offs; empty where there is none."""
        found = (self.proposal or {}).get(PICTURE)
        return found if isinstance(found, str) else ""


def proposal_file(project: Project, setup: Setup) -> Path:
    """Where the answer of `propose` that made exactly this setup is kept in its project."""
    return (
        project.folder
        / "proved"
        / f"{setup_checksum(project, setup)}-proposal.json"
    )


def stored_route(project: Project, setup: Setup) -> dict[str, Any] | None:
    """The answer of `route` in the project, where it is of exactly this setup."""
    try:
        found: dict[str, Any] = json.loads(
            read_regular(project.folder / "route.json", _LARGEST)
        )
        same = found["setup"]["checksum"] == setup_checksum(project, setup)
        return found if same and is_plain(found) else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def stored_prices(proposed: Project | None) -> StoredPrices:
    """The prices of the proposed setup, `proposed` standing on it; None where there is none."""
    if proposed is None:
        return StoredPrices(
            None, "there is no proposed.toml, so no limit has a price yet"
        )
    kept = _read(proposed, proposal_file(proposed, proposed.setup))
    return kept if kept.proposal else _read(proposed, proposed.folder / FILE)


def _read(proposed: Project, path: Path) -> StoredPrices:
    try:
        found = json.loads(read_regular(path, _LARGEST))
    except FileNotFoundError:
        return StoredPrices(None, f"there is no {FILE} in this project")
    except (OSError, ValueError, RecursionError):
        return StoredPrices(None, f"{FILE} could not be read")
    return _judged(found, project_checksum(proposed), proposed.setup)


def _judged(found: Any, own: str, setup: Setup) -> StoredPrices:
    kept = found.get("project_checksum") if isinstance(found, dict) else None
    if not isinstance(kept, str):
        return StoredPrices(
            None, f"{FILE} does not say which inputs it belongs to"
        )
    if kept != own:
        return StoredPrices(
            None, f"{FILE} belongs to other inputs (checksum {kept[:12]})"
        )
    if _settings(found.get("setup")) != _settings(setup_as_dict(setup)):
        return StoredPrices(
            None, f"{FILE} belongs to another setup than proposed.toml"
        )
    if not (_is_whole(found) and is_plain(found)):
        return StoredPrices(None, f"{FILE} is not an answer of propose")
    return StoredPrices(found, "")


def _settings(setup: Any) -> Any:
    """A setup by the keys of its file, without the name, which decides nothing; None for no setup."""
    if not isinstance(setup, dict) or not isinstance(setup.get("setup"), dict):
        return None
    return setup | {"setup": setup["setup"].get("body")}


def is_plain(found: Any) -> bool:
    """Whether JSON has words for all of it: a file may also hold numbers that are none."""
    try:
        json.dumps(found, allow_nan=False)
    except (ValueError, RecursionError):
        return False
    return True


def _is_whole(found: dict[str, Any]) -> bool:
    """Whether everything that is shown is there, each in its kind."""
    rows, kinds = (
        found.get("limit_prices"),
        {"limit": str, "unit": str, "key": str, "agrees": bool},
    )
    if not isinstance(rows, list) or not isinstance(found.get("holds"), bool):
        return False
    return all(
        isinstance(row, dict)
        and all(isinstance(row.get(name), kind) for name, kind in kinds.items())
        and isinstance(row.get("margin_per_unit"), int | float)
        and isinstance(row.get("solved_again"), int | float | None)
        for row in rows
    )
