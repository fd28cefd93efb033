"""What is raised: the weight of each attitude, the minimum margin it must have, and which settings stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from setupopt.errors import UserError
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, SIDES, Venue
from setupopt.project.settings import BALANCE, SETTINGS

# This name among the settings to keep fixes the body that the car wears.
BODY = "body"


@dataclass(frozen=True)
class Objective:
    """Weights and minimum margins of the attitudes of a venue, (attitudes), in its order.

    The weighted margin of a margin m is 1 - w (1 - m), as if the share of grip that is used were w times as
    large. An attitude of weight 0 is not raised; its minimum margin counts all the same. A minimum margin is
    minus infinity where there is none. `rear_reserve` and
    `most_growth`, 1/s: the handling limits, see ProposalOptions; None without them.
    """

    names: tuple[str, ...]
    weights: Floats
    minimum_margins: Floats
    rear_reserve: float | None = None
    most_growth: float | None = None

    def weighted(self, attitude: np.ndarray, margin: Floats) -> Floats:
        """Weighted margins; `attitude` (...) by number, `margin` (...)."""
        return np.asarray(1.0 - self.weights[attitude] * (1.0 - margin))

    @property
    def counts(self) -> np.ndarray:
        """Whether an attitude counts at all, (attitudes): it is raised or has a minimum margin."""
        return np.asarray(
            (self.weights > 0.0) | np.isfinite(self.minimum_margins)
        )

    @property
    def is_plain(self) -> bool:
        """Whether every attitude has weight 1 and none has a minimum margin of its own."""
        return bool(
            (self.weights == 1.0).all()
            and np.isneginf(self.minimum_margins).all()
        )

    def numbers(self, names: Sequence[str]) -> np.ndarray:
        """Attitudes by number."""
        return np.array([self.names.index(name) for name in names], dtype=int)


def objective_of(
    venue: Venue,
    weights: Mapping[str, float] | None = None,
    minimum_margins: Mapping[str, float] | None = None,
    rear_reserve: float | None = None,
    most_growth: float | None = None,
) -> Objective:
    """The objective for a venue. An attitude that is not named has weight 1.

    An attitude with a minimum margin and no weight has weight 0. Raises UserError for an attitude that the
    venue does not have, and where all weights are 0.
    """
    names = tuple(attitude.name for attitude in venue.attitudes)
    least = dict(minimum_margins or {})
    given = dict.fromkeys(least, 0.0) | dict(weights or {})
    for name in given:
        if name not in names:
            near = get_close_matches(
                name,
                names,
                len(names),
                0.0,
            )
            known = ", ".join(f'"{one}"' for one in near)
            raise UserError(
                f'no attitude "{name}" in venue.toml; there are {known}'
            )
    every = np.array([given.get(name, 1.0) for name in names])
    if not (every > 0.0).any():
        raise UserError(
            "every attitude has a floor alone or no weight: leave one to be raised"
        )
    minimums = np.array([least.get(name, -np.inf) for name in names])
    return Objective(names, every, minimums, rear_reserve, most_growth)


def fixed_settings(keep: Sequence[str]) -> frozenset[str]:
    """Names of the settings that stay, such as "front.camber_deg"; `evaluation.variables.is_kept` reads them.

    A key without an axle means both axles, an axle all its settings. The name "body" fixes the body. Raises
    UserError for a name that is no setting.
    """
    keys = [setting.key for setting in SETTINGS]
    places = [*AXLES, *(f"{axle}.{side}" for axle in AXLES for side in SIDES)]
    known = [
        BODY,
        *keys,
        *places,
        *(f"{place}.{key}" for place in places for key in keys),
    ]
    known += [
        "balance",
        *(setting.key for setting in BALANCE),
        "wings",
        "ballast",
    ]
    for name in keep:
        if name not in known and not name.startswith(("wings.", "ballast.")):
            near = ", ".join(
                get_close_matches(
                    name,
                    known,
                    4,
                    0.0,
                )
            )
            raise UserError(f'no setting "{name}" to keep; nearest are {near}')
    return frozenset(keep)
