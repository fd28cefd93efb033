"""The answer of `prove` that a project keeps for exactly one setup."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from setupopt.files import read_regular
from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project, Setup
from setupopt.project.writing import Entries

MOST_BYTES = 20_000_000  # of a proof; one of 259 cases has 0.2 million
USUAL_DIRECTIONS = 16
USUAL_BUILDS = 1024
_HUGE = 1e12  # above any figure of a proof; NaN is not below it either


def proof_file(project: Project, setup: Setup) -> Path:
    """Where the proof of exactly this setup is kept in its project."""
    return project.folder / "proved" / f"{setup_checksum(project, setup)}.json"


def stored_proof(project: Project, setup: Setup) -> Entries | None:
    """The proof of exactly this setup, or None: missing, damaged, or of another setup."""
    file = proof_file(project, setup)
    return stored_answer(file, MOST_BYTES, project, setup, _is_sound)


def stored_answer(
    file: Path,
    most: int,
    project: Project,
    setup: Setup,
    is_sound: Callable[[Entries], bool],
) -> Entries | None:
    """An answer of exactly this setup from a file of at most so many bytes, or None."""
    try:
        found: Entries = json.loads(read_regular(file, most))
        same = found["setup"]["checksum"] == setup_checksum(project, setup)
        return found if same and is_sound(found) else None
    except (
        OSError,
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        RecursionError,
    ):
        return None


# ---- how much a proof tried --------------------------------------------------------------------------------


class ProofExtent(NamedTuple):
    """How much a proof tried: the more of each, the finer the proof. `seconds`: of each ride."""

    directions: int
    builds: int
    seeds: int
    rides: int
    seconds: float
    # Places of the sweep from one that was looked at to the next
    every: int

    @property
    def is_quick(self) -> bool:
        """Whether it tried less than `prove` does when no option says how much."""
        return (
            self.every > 1
            or self.directions < USUAL_DIRECTIONS
            or self.builds < USUAL_BUILDS
        )

    def __str__(self) -> str:
        places = (
            f"every {self.every} places of the sweep and the worst, "
            if self.every > 1
            else ""
        )
        quick = f"QUICK, for a first look: {places}" if self.is_quick else ""
        return (
            f"{quick}{self.directions} directions of the wind, {self.builds} builds, "
            f"{self.seeds} seeds of the road, {self.rides} rides of {self.seconds:g} s"
        )


def proof_extent(proof: Mapping[str, Any]) -> ProofExtent | None:
    """What the answer of `prove` says about its extent; None where it does not say. No rides where every case
    loses contact."""
    try:
        road = proof["road"] or {"rides": [], "run_seconds": 0.0}
        rides = [int(ride["rides"] + ride["lost"]) for ride in road["rides"]]
        return ProofExtent(
            directions=len(proof["wind"]),
            builds=int(proof["build"]["cloud"]["builds"]),
            seeds=max(rides, default=0),
            rides=sum(rides),
            seconds=float(road["run_seconds"]),
            every=int(proof.get("every", 1)),
        )
    except (KeyError, TypeError, ValueError):
        return None


def is_coarser(proof: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether a proof tried less of anything than another one of the same setup.

    A proof on a measured road and one on random roads are compared by wind and builds alone.
    """
    mine = proof_extent(proof)
    others = proof_extent(other)
    if mine is None or others is None:
        return mine is None and others is not None
    pairs = list(zip(mine[:-1], others[:-1], strict=True))
    if _is_measured(proof) != _is_measured(other):
        pairs = pairs[:2]
    return mine.every > others.every or any(
        tried < before for tried, before in pairs
    )


def _is_measured(proof: Mapping[str, Any]) -> bool:
    return bool((proof["road"] or {}).get("measured"))


# ---- whether a stored proof is whole -----------------------------------------------------------------------


def _is_sound(proof: Entries) -> bool:
    """Whether all that a run card takes from a proof is there, of the right kind; KeyError if not."""
    if not (
        proof["cases"]
        and proof["wind"]
        and type(proof["holds"]) is bool
        and _is_number(proof["floor"])
    ):
        return False
    return (
        all(_fits(row, _CASE) for row in proof["cases"])
        and all(
            _fits(row, _WIND) and _is_number(row["from_deg"])
            for row in proof["wind"]
        )
        and all(
            _fits(row, _VERDICT) and row["what"] is not None
            for row in proof["verdicts"]
        )
    )


def _fits(row: Entries, kinds: Mapping[str, Callable[[Any], bool]]) -> bool:
    return all(
        row[key] is None or fits(row[key]) for key, fits in kinds.items()
    )


def _is_number(value: Any) -> bool:
    return type(value) in (int, float) and abs(value) < _HUGE


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


_CASE_NAME = {"roll_angle_deg": _is_number, "attitude": _is_text}
_CASE = _CASE_NAME | {
    "bump_mm": _is_number,
    "bump_length_m": _is_number,
    "bump_track": _is_text,
}
_WIND = _CASE_NAME | {"gust_m_s": _is_number, "steady_m_s": _is_number}
_VERDICT = {"what": _is_text, "holds": lambda value: isinstance(value, bool)}
