"""The answer of `prove` that a project keeps for exactly one setup."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import BaseModel, Field, ValidationError

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
    return stored_answer(file, MOST_BYTES, project, setup, Proof.fits)


def stored_answer(
    file: Path,
    most: int,
    project: Project,
    setup: Setup,
    is_sound: Callable[[Entries], bool],
) -> Entries | None:
    """An answer of exactly this setup from a file of at most so many bytes, or None."""
    checksum = setup_checksum(project, setup)
    return kept_answer(
        file,
        most,
        lambda found: (
            found["setup"]["checksum"] == checksum and is_sound(found)
        ),
    )


def kept_answer(
    file: Path, most: int, is_sound: Callable[[Entries], bool]
) -> Entries | None:
    """What a JSON file of at most so many bytes says; None where it says nothing that is sound."""
    try:
        found: Entries = json.loads(read_regular(file, most))
        return found if is_sound(found) else None
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


# ---- whether a stored answer is whole ----------------------------------------------------------------------

Number = Annotated[float, Field(gt=-_HUGE, lt=_HUGE)]


class Kept(BaseModel, strict=True):
    """What must be in an answer that a project keeps, of which kind."""

    @classmethod
    def fits(cls, found: Entries) -> bool:
        """Whether all of it is there."""
        try:
            cls.model_validate(found)
        except ValidationError:
            return False
        return True


class _Named(Kept):
    roll_angle_deg: Number | None
    attitude: str | None


class _Case(_Named):
    bump_mm: Number | None
    bump_length_m: Number | None
    bump_track: str | None


class _Wind(_Named):
    from_deg: Number
    gust_m_s: Number | None
    steady_m_s: Number | None


class _Verdict(Kept):
    what: str
    holds: bool | None


class Proof(Kept):
    """All that a run card takes from a proof."""

    holds: bool
    floor: Number
    cases: list[_Case] = Field(min_length=1)
    wind: list[_Wind] = Field(min_length=1)
    verdicts: list[_Verdict]
