"""What is asked: how much each attitude counts, the least margin it must have, and what is to stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from setupopt.errors import UserError
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, Venue
from setupopt.project.settings import SETTINGS

# What keeps the body that the car wears.
BODY = "body"


@dataclass(frozen=True)
class Goal:
    """Weights and floors of the attitudes of a venue, in their order.

    An attitude of weight w counts as if the share of grip it uses were w times as large: a margin m counts
    as 1 - w (1 - m). Weight 0 leaves it out of what is raised; its floor, if it has one, holds all the
    same. Floors are margins; minus infinity where there is none.
    """

    names: tuple[str, ...]
    weights: Floats
    floors: Floats

    def counts(self, attitude: np.ndarray, margin: Floats) -> Floats:
        """Margins as they count; `attitude` (...) by number, `margin` (...)."""
        return np.asarray(1.0 - self.weights[attitude] * (1.0 - margin))

    @property
    def is_plain(self) -> bool:
        """Whether every attitude counts alike, and none has a floor of its own."""
        return bool((self.weights == 1.0).all() and np.isneginf(self.floors).all())


def goal_of(
    venue: Venue, weights: Mapping[str, float] | None = None, floors: Mapping[str, float] | None = None
) -> Goal:
    """The goal for a venue; attitudes that are not named count once.

    An attitude with a floor and no weight needs its floor only. Raises UserError for a name that the venue
    does not have, and where no attitude is left to be raised.
    """
    names = tuple(attitude.name for attitude in venue.attitudes)
    given, least = dict(weights or {}), dict(floors or {})
    for name in (*given, *least):
        _require(name, names)
    whole = dict.fromkeys(least, 0.0) | given
    heavy = np.array([whole.get(name, 1.0) for name in names])
    if not (heavy > 0.0).any():
        raise UserError("every attitude has a floor alone or no weight: leave one to be raised")
    return Goal(names, heavy, np.array([least.get(name, -np.inf) for name in names]))


def _require(name: str, names: tuple[str, ...]) -> None:
    if name not in names:
        near = get_close_matches(name, names, len(names), 0.0)
        known = ", ".join(f'"{one}"' for one in near)
        raise UserError(f'no attitude "{name}" in venue.toml; there are {known}')


def pinned(keep: Sequence[str]) -> frozenset[str]:
    """Names of the variables that are to stay, "front.camber_deg"; a key without an axle means both.

    "body" stays as it is. Raises UserError for what no setting is called.
    """
    known = {f"{axle}.{setting.key}": (f"{axle}.{setting.key}",) for axle in AXLES for setting in SETTINGS}
    both = {setting.key: tuple(f"{axle}.{setting.key}" for axle in AXLES) for setting in SETTINGS}
    whole = {**known, **both, BODY: (BODY,)}
    for name in keep:
        if name not in whole:
            near = ", ".join(get_close_matches(name, whole, 4, 0.0))
            raise UserError(f'no setting "{name}" to keep; nearest are {near}')
    return frozenset(one for name in keep for one in whole[name])
