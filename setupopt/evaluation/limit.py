"""One limit: what it asks, of what, and the room that is left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from setupopt import units
from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats, Records

Sense = Literal["at least", "at most"]
AT_LEAST: Sense = "at least"
AT_MOST: Sense = "at most"
_FACTORS = {"mm": units.MM, "N": 1.0, "deg": units.DEG}
_LENGTH_SCALE = 0.01  # m


@dataclass(frozen=True)
class Evaluated:
    """SETUP records (setups), their ANSWER records (setups, cases), gaps (setups, cases, floor points), m, and
    how much larger the tyres are than at rest, (cases, wheels), m.
    """

    setups: Records
    answers: Records
    gaps: Floats
    growth: Floats


Values = Callable[[Evaluated], Floats]


@dataclass(frozen=True)
class Limit:
    """One limit.

    `key`: as JSON and screens name it; `end` follows it in the file. `part`: wheel, axle or floor point that
    it belongs to, empty for the whole car. `values`: in SI, (setups, cases, places), of a limit at rest
    (setups, 1, places); `required` likewise, or one number. `past`: what a search takes off the room where
    `values` cannot fall any more. `where`: the places, those of `part` unless given. `attitude`: the one
    whose cases it limits; None for all cases. `reported_for`: limits of one key and one such name are one row
    of a report. `scale`: the size in SI that counts as one in the search.
    """

    key: str
    sense: Sense
    required: float | Values
    values: Values
    part: str = ""
    where: tuple[str, ...] = ()
    end: str = ""
    past: Values | None = None
    is_at_rest: bool = False
    attitude: str | None = None
    unit: str = "mm"
    scale: float = _LENGTH_SCALE
    reported_for: str | None = None

    @property
    def name(self) -> str:
        """A name that no other limit of the car has, "packaging.rake_mm.to"."""
        return f"{self.key}{self.end} {self.part}".strip()

    @property
    def typed_at(self) -> str:
        """File and key where the user types it."""
        table, _, key = self.key.partition(".")
        if table == "clearance":
            return f"car.toml clearance '{self.part}' {key}"
        file = {"packaging": "limits", "setup": "setup"}.get(table, "car")
        return f"{file}.toml {self.key}{self.end}"

    @property
    def factor(self) -> float:
        """The unit of the files in SI."""
        return _FACTORS[self.unit]

    @property
    def group(self) -> tuple[str, str, str]:
        """The same for limits that are reported together, by the worst of them."""
        part = self.part if self.reported_for is None else self.reported_for
        return self.key, self.sense, part

    @property
    def places(self) -> tuple[str, ...]:
        """Name of each place of `values`."""
        return self.where or (self.part,)

    def required_of(self, evaluated: Evaluated) -> Any:
        """What is required, SI; a number, or by setup and place."""
        return (
            self.required(evaluated)
            if callable(self.required)
            else self.required
        )

    def cases_of(self, cases: CaseSet) -> np.ndarray:
        """Rows of the cases that it limits."""
        if self.attitude is None:
            return np.arange(len(cases))
        return np.flatnonzero(
            np.array(cases.attitude, dtype=object) == self.attitude
        )

    def search_room(self, evaluated: Evaluated) -> Floats:
        """`room` that goes on falling where `values` have come to their end."""
        room = self.room(evaluated)
        return room if self.past is None else room - self.past(evaluated)

    def room(self, evaluated: Evaluated) -> Floats:
        """Room left in SI, as `values`; negative where the limit is broken."""
        values = self.values(evaluated)
        required = self.required_of(evaluated)
        return (
            values - required if self.sense == AT_LEAST else required - values
        )
