"""What a proposal must stand, as further limits of the search: `[require]` of limits.toml."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Records
from setupopt.robust.linear_stood import KINDS, LinearStood
from setupopt.search.engine.index_points import IndexPoints

# A wider share says no more: logarithms of what is stood over what must be.
_FURTHEST = 4.0
# Of a kind the worst places that are added at a time, when the worst is broken by more.
_ADDED = 3
BROKEN = 0.005
# A gap under a wheel that takes 1 off, where something is not stood, m.
_GAP = 5e-3
# Kept back in the search, for steps of the settings and what lies between places.
_RESERVE = 0.02


# A disturbance by its number in KINDS, its variant or None for all of them, and a case or an index point.
Asked = tuple[int, int | None, int]


@dataclass(frozen=True)
class Requirement:
    """Disturbances that must be stood `times` what `[require]` says, held at `places`.

    A place: the disturbance by its number in KINDS and in its VARIANTS, the attitude by its number, and where
    on the index.
    """

    stood: LinearStood
    times: float = 1.0
    places: tuple[tuple[int, int, int, float], ...] = ()

    @property
    def index_points(self) -> IndexPoints:
        """All places, for a search to look at."""
        family = np.array([family for *_, family, _ in self.places], dtype=int)
        return IndexPoints(family, np.array([at for *_, at in self.places]))

    def at(self, index_points: IndexPoints) -> list[Asked]:
        """Disturbance, variant and index point of every place that is among index points."""
        found: list[Asked] = []
        for kind, variant, family, at in self.places:
            same = np.flatnonzero(
                (index_points.family == family) & (index_points.at == at)
            )
            found += [(kind, variant, int(row)) for row in same]
        return found

    def room(
        self,
        model: Model,
        setups: Records,
        cases: CaseSet,
        answers: Records,
        which: Sequence[Asked],
    ) -> tuple[Floats, np.ndarray, Floats]:
        """Logarithm of what is stood over what must be, the variants that are worst, and what is stood over
        what `[require]` says, (setups, which) each.

        The first is negative where something is not stood, and the more so the further wheels hang in the
        air: how little is stood with such a wheel does not say that it should come down. `which`:
        disturbance, variant or None for all of them, and case. A case without a trim has its margin, less 1.
        """
        rooms, shares = np.zeros((2, len(setups), len(which)))
        variants = np.zeros(rooms.shape, dtype=int)
        settings = model.settings(setups)
        judged = is_judged(answers)
        for row, setup in enumerate(setups):
            packed = model.packed_for(settings[row])
            by_case = defaultdict(list)
            for column, (*_, case) in enumerate(which):
                by_case[case].append(column)
            for case, own in by_case.items():
                answer = answers[row, case]
                if not judged[row, case]:
                    rooms[row, own] = answer["search_margin"] - 1.0
                    continue
                car = self.stood.linear(
                    packed, settings[row], setup, cases.records[case], answer
                )
                for column in own:
                    kind, variant, _ = which[column]
                    share, variants[row, column] = self.stood.stood(
                        car, KINDS[kind], variant
                    )
                    room = (
                        np.log(max(share, np.exp(-_FURTHEST)) / self.times)
                        - _RESERVE
                    )
                    rooms[row, column] = (
                        room - car.gap / _GAP if room < 0.0 else room
                    )
                    shares[row, column] = share
        return np.minimum(rooms, _FURTHEST), variants, shares

    def with_worst(
        self,
        room: Callable[[list[Asked]], tuple[Floats, np.ndarray]],
        index_points: IndexPoints,
    ) -> Requirement:
        """The requirement at more places: the worst of each disturbance where the worst of all is broken.

        `room` gives the rooms of one setup for disturbances and index points.
        """
        more = list(self.places)
        numbers = [KINDS.index(kind) for kind in self.stood.kinds]
        size = len(index_points)
        found = room(
            [(number, None, row) for number in numbers for row in range(size)]
        )
        each = (part.reshape(-1, size) for part in found)
        for number, rooms, variants in zip(numbers, *each, strict=True):
            worst = np.argsort(rooms, kind="stable")[:_ADDED]
            for row in worst[rooms[worst] < -BROKEN]:
                family, at = (
                    int(index_points.family[row]),
                    float(index_points.at[row]),
                )
                more.append((number, int(variants[row]), family, at))
        return replace(self, places=tuple(dict.fromkeys(more)))
