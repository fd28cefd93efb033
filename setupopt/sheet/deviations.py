"""What of a measured setup differs from the target, what each deviation costs, the fewest corrections."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Floats, Record
from setupopt.project.model import AXLES, WHEELS, Project, Setup
from setupopt.project.settings import SETTING_OF, rounded
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.as_built import built_result, with_field

_SAME = 1e-5  # of a setting's own size: a printed sheet shows six digits
_ALIKE = 1e-6  # of the file's unit, left against right
_MOST_SETS = 4096
_AT_ONCE = 256  # builds solved together


@dataclass(frozen=True)
class Deviation:
    """One thing that is not as wanted; `target` and `found` in `unit`.

    `gain`: worst margin won when this alone is put right; `loss`: lost when it alone is there. Infinite
    where contact hangs on it. `tolerance` is None where none is given.
    """

    name: str
    field: str
    places: tuple[int, ...]  # wheels or axles
    unit: str
    target: float
    found: float
    tolerance: float | None
    gain: float
    loss: float

    @property
    def is_outside(self) -> bool:
        """Whether it is more than the mechanics' tolerance, if one is given."""
        return self.tolerance is not None and abs(
            self.found - self.target
        ) > self.tolerance * (1.0 + 1e-9)

    @property
    def cost(self) -> float:
        """What it is ranked by: the larger of both."""
        return max(self.gain, self.loss)


@dataclass(frozen=True)
class DeviationStudy:
    """Builds between the target and what was found."""

    model: Model
    cases: CaseSet
    target: Record
    found: Record

    def worst(self, builds: Sequence[Record]) -> Floats:
        """Worst margins."""
        parts = [
            builds[first : first + _AT_ONCE]
            for first in range(0, len(builds), _AT_ONCE)
        ]
        return np.concatenate(
            [
                built_result(self.model, part, self.cases).worst_margin
                for part in parts
            ]
        )

    def deviations(self, project: Project) -> tuple[Deviation, ...]:
        """Everything that differs, the costliest first."""
        differing = list(_differing(self.target, self.found, project.setup))
        if not differing:
            return ()
        righted = [
            with_field(self.found, field, places, self.target)
            for _, field, places in differing
        ]
        alone = [
            with_field(self.target, field, places, self.found)
            for _, field, places in differing
        ]
        margins = self.worst([self.found, self.target, *righted, *alone])
        gains, losses = np.split(margins[2:], 2)
        rows = zip(
            differing,
            _lost(gains, margins[0]),
            _lost(margins[1], losses),
            strict=True,
        )
        found = [
            self._deviation(project, *place, gain, loss)
            for place, gain, loss in rows
        ]
        return tuple(
            sorted(found, key=lambda d: (-round(d.cost, 6), not d.is_outside))
        )

    def _deviation(
        self,
        project: Project,
        name: str,
        field: str,
        places: tuple[int, ...],
        gain: float,
        loss: float,
    ) -> Deviation:
        """One deviation in the units of the files; corner weights by the share on one diagonal."""
        setting = SETTING_OF[field]
        target, found = (
            float(np.atleast_1d(build[field])[places[0]])
            for build in (self.target, self.found)
        )
        unit = "% cross weight" if field == "cross_share" else setting.unit
        held = tolerance_of(project, field, target, places[0])
        return Deviation(
            name, field, places, unit, rounded(target, setting), rounded(found, setting),
            None if held is None else held / setting.factor, gain, loss,
        )  # fmt: skip

    def smallest(
        self, deviations: tuple[Deviation, ...], floor: float
    ) -> tuple[tuple[Deviation, ...], float, bool]:
        """The smallest set of corrections that reaches the floor, the best of its size; or the best of all.

        Sets are tried by size, the costliest deviations first, until one reaches the floor or 4096 were. Then
        the best set goes on one correction at a time, and False means that it may not be the smallest.
        """
        best: tuple[tuple[Deviation, ...], float] = (
            (),
            float(self.worst([self.found])[0]),
        )
        tried = 0
        for size in range(1, len(deviations) + 1):
            if best[1] >= floor:
                break
            if tried >= _MOST_SETS:
                return self._further(*best, deviations, floor)
            sets = list(combinations(deviations, size))[: _MOST_SETS - tried]
            tried += len(sets)
            best = max(best, self._best(sets), key=lambda one: one[1])
        return *best, True

    def _further(
        self,
        chosen: tuple[Deviation, ...],
        margin: float,
        deviations: tuple[Deviation, ...],
        floor: float,
    ) -> tuple[tuple[Deviation, ...], float, bool]:
        """One more correction after another, each the best, until the floor is reached or none is left."""
        best = (chosen, margin)
        while best[1] < floor and len(chosen) < len(deviations):
            sets = [(*chosen, one) for one in deviations if one not in chosen]
            chosen, reached = self._best(sets)
            best = max(best, (chosen, reached), key=lambda one: one[1])
        return *best, False

    def _best(
        self, sets: Sequence[tuple[Deviation, ...]]
    ) -> tuple[tuple[Deviation, ...], float]:
        """The set of corrections with the highest worst margin, and that margin."""
        margins = self.worst([self._righted(chosen) for chosen in sets])
        top = int(margins.argmax())
        return sets[top], float(margins[top])

    def _righted(self, chosen: Sequence[Deviation]) -> Record:
        """The build with some deviations put right."""
        build = self.found
        for deviation in chosen:
            build = with_field(
                build, deviation.field, deviation.places, self.target
            )
        return build


def _lost(before: Floats, after: Floats) -> Floats:
    """Margin lost; infinite where contact is, nothing where it was lost before."""
    before, after = np.broadcast_arrays(
        np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    )
    with np.errstate(invalid="ignore"):
        return np.where(
            np.isneginf(before) & np.isneginf(after), 0.0, before - after
        )


def _differing(
    target: Record, found: Record, setup: Setup
) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """Name, field and places of everything that differs; both wheels of an axle together where alike."""
    for field, setting in SETTING_OF.items():
        wanted = np.atleast_1d(target[field])
        off = np.atleast_1d(found[field]) - wanted
        size = np.maximum(np.abs(wanted), setting.factor)
        places = np.flatnonzero(np.abs(off) > _SAME * size).tolist()
        names = _names(field, setup)
        if setting.per != "wheel":
            yield from ((names[p], field, (p,)) for p in places)
            continue
        for axle, name in enumerate(AXLES):
            pair = [p for p in places if p // 2 == axle]
            if len(pair) == 2 and np.ptp(off[pair]) <= _ALIKE * setting.factor:
                yield f"{name} {field.replace('_', ' ')}", field, tuple(pair)
            else:
                yield from ((names[p], field, (p,)) for p in pair)


def _names(field: str, setup: Setup) -> list[str]:
    """What each place of a setting is called; `setup` has the names of wings and ballast."""
    words = field.replace("_", " ")
    named = {
        "brake_front": ["brake share front"],
        "drive_front": ["drive share front"],
        "cross_share": ["corner weights"],
        "wing": [f"wing {name}" for name, _ in setup.wings],
        "station": [f"ballast {piece.name}" for piece in setup.ballast],
    }
    if SETTING_OF[field].per == "axle":
        return [f"{axle} {words}" for axle in AXLES]
    return named.get(field, [f"{words} {wheel.upper()}" for wheel in WHEELS])


def tolerance_of(
    project: Project, field: str, target: float, wheel: int
) -> float | None:
    """Plus and minus, SI; nothing for what is set in clicks."""
    if field.startswith("damper"):
        return 0.0 if axle_tools(project, wheel // 2).clicks(field) else None
    held = project.limits.tolerance if project.limits else None
    if held is not None and field == "spring":
        return held.spring_share * target
    return getattr(held, field, None)
