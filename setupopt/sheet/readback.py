"""What was set against what was wanted: the margin as built, what each deviation costs, what to correct."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Record
from setupopt.project.bodies import with_body
from setupopt.project.measured_file import Measured
from setupopt.project.model import AXLES, WHEELS, Project, Setup
from setupopt.project.settings import BALANCE, SETTINGS, STATION, WING, Setting
from setupopt.robust.builds.build_variation import build_errors, worst_build
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.as_built import BuiltModel, built, cautions, with_clicks, with_field, with_own
from setupopt.sheet.build import as_written
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.wedge import wedge_words

_SAME = 1e-5  # of a setting's own size: a printed sheet shows six digits
_ALIKE = 1e-6  # of the file's unit, left against right
_ROOM = 0.005  # of margin, where no tolerance is given
_MOST_SETS = 4096
_AT_ONCE = 256  # builds solved together
_AXLE_FIELDS = ("anti_roll", "third")


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
        return self.tolerance is not None and abs(self.found - self.target) > self.tolerance * (1.0 + 1e-9)

    @property
    def cost(self) -> float:
        """What it is ranked by: the larger of both."""
        return max(self.gain, self.loss)


@dataclass(frozen=True)
class Correction:
    """A deviation to put right, and how. `for_floor`: the minimum margin needs it, not just the tolerance."""

    deviation: Deviation
    how: str
    for_floor: bool


@dataclass(frozen=True)
class ReadBack:
    """A car as built. Margins are worst steady margins over the sweep, minus infinity where contact is lost.

    `corrections`: the smallest set that reaches the floor, or the best set where none does, and then all
    else that is out of tolerance; `after`: margin with the set for the floor. `is_smallest`: whether every
    smaller set was tried.
    """

    project: Project
    target: Setup
    floor: float
    result: Result
    margin: float
    target_margin: float
    deviations: tuple[Deviation, ...]
    corrections: tuple[Correction, ...]
    after: float
    is_smallest: bool
    broken: tuple[Broken, ...]
    cautions: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether the car as built never slides or loses contact, and keeps minimum margin and limits."""
        return self.margin >= max(self.floor, 0.0) and not self.broken


def read_back(project: Project, target: Setup, measured: Measured, floor: float | None = None) -> ReadBack:
    """Judge what was measured, in the target's body. Raises InputError where it cannot belong together.

    `floor`: None for the target's own margin less what the tolerance itself may cost, so that what the
    mechanics can hold needs no correction.
    """
    project = with_body(project, target.body)
    cases = sweep_cases(project.venue)
    model = BuiltModel(project.car)
    stood = as_written(target)
    load = Pad(project, target).reading(stood).load
    left = float((load[0] + load[2]) / load.sum())
    found = built(target, with_clicks(measured, project), project.car, left)
    study = _Study(model, cases, with_own(stood, found, project.car), found)
    result = model.result([study.found], cases)
    wanted = float(study.worst([study.target])[0])
    least = _floor(project, target, cases, wanted) if floor is None else floor
    deviations = study.deviations(replace(project, setup=target))
    chosen, after, is_smallest = study.smallest(deviations, least)
    outside = [deviation for deviation in deviations if deviation.is_outside and deviation not in chosen]
    return ReadBack(
        project, target, least, result, float(result.worst_margin[0]), wanted, deviations,
        tuple(Correction(d, _how(project, target, d), d in chosen) for d in (*chosen, *outside)), after,
        is_smallest, broken(project, np.reshape(study.found, 1), result),
        (*project.cautions, *cautions(measured, project.car)),
    )  # fmt: skip


def _floor(project: Project, target: Setup, cases: CaseSet, margin: float) -> float:
    """The worst margin within the tolerance, or a little under the target's own; 0 where contact is lost."""
    if not np.isfinite(margin):
        return 0.0
    errors = build_errors(project, target)
    if errors is None or errors.tolerance is None:
        return margin - _ROOM
    worst = worst_build(errors.build_alone(), cases).margin
    return worst if np.isfinite(worst) else margin - _ROOM


class _Study:
    """Builds between the target and what was found."""

    def __init__(self, model: BuiltModel, cases: CaseSet, target: Record, found: Record) -> None:
        self.model = model
        self.cases = cases
        self.target = target
        self.found = found

    def worst(self, builds: Sequence[Record]) -> Floats:
        """Worst margins."""
        parts = [builds[first : first + _AT_ONCE] for first in range(0, len(builds), _AT_ONCE)]
        return np.concatenate([self.model.result(part, self.cases).worst_margin for part in parts])

    def deviations(self, project: Project) -> tuple[Deviation, ...]:
        """Everything that differs, the costliest first."""
        differing = list(_differing(self.target, self.found))
        differing += _differing_car(self.target, self.found, project.setup)
        if not differing:
            return ()
        righted = [with_field(self.found, field, places, self.target) for _, field, places in differing]
        alone = [with_field(self.target, field, places, self.found) for _, field, places in differing]
        margins = self.worst([self.found, self.target, *righted, *alone])
        gains, losses = np.split(margins[2:], 2)
        rows = zip(differing, _lost(gains, margins[0]), _lost(margins[1], losses), strict=True)
        found = [self._deviation(project, *place, gain, loss) for place, gain, loss in rows]
        return tuple(sorted(found, key=lambda d: (-round(d.cost, 6), not d.is_outside)))

    def _deviation(
        self, project: Project, name: str, field: str, places: tuple[int, ...], gain: float, loss: float
    ) -> Deviation:
        """One deviation in the units of the files; corner weights by the share on one diagonal."""
        setting = _OF[field]
        target, found = (float(np.atleast_1d(build[field])[places[0]]) for build in (self.target, self.found))
        unit = "% cross weight" if field == "cross_share" else setting.unit
        held = _tolerance(project, field, target, places[0])
        return Deviation(
            name, field, places, unit, _plain(target / setting.factor), _plain(found / setting.factor),
            None if held is None else held / setting.factor, gain, loss,
        )  # fmt: skip

    def smallest(
        self, deviations: tuple[Deviation, ...], floor: float
    ) -> tuple[tuple[Deviation, ...], float, bool]:
        """The smallest set of corrections that reaches the floor, the best of its size; or the best of all.

        Sets are tried by size, the costliest deviations first, until one reaches the floor or 4096 were. Then
        the best set goes on one correction at a time, and False means that it may not be the smallest.
        """
        best: tuple[tuple[Deviation, ...], float] = ((), float(self.worst([self.found])[0]))
        tried = 0
        for size in range(1, len(deviations) + 1):
            if best[1] >= floor:
                break
            if tried >= _MOST_SETS:
                return self._further(*best, deviations, floor)
            sets = list(combinations(deviations, size))[: _MOST_SETS - tried]
            margins = self.worst([self._righted(chosen) for chosen in sets])
            tried += len(sets)
            top = int(margins.argmax())
            if margins[top] > best[1]:
                best = (sets[top], float(margins[top]))
        return *best, True

    def _further(
        self, chosen: tuple[Deviation, ...], margin: float, deviations: tuple[Deviation, ...], floor: float
    ) -> tuple[tuple[Deviation, ...], float, bool]:
        """One more correction after another, each the best, until the floor is reached or none is left."""
        best = chosen
        reached = margin
        while reached < floor and len(chosen) < len(deviations):
            sets = [(*chosen, one) for one in deviations if one not in chosen]
            margins = self.worst([self._righted(one) for one in sets])
            chosen = sets[int(margins.argmax())]
            if margins.max() > reached:
                best = chosen
                reached = float(margins.max())
        return best, reached, False

    def _righted(self, chosen: Sequence[Deviation]) -> Record:
        """The build with some deviations put right."""
        build = self.found
        for deviation in chosen:
            build = with_field(build, deviation.field, deviation.places, self.target)
        return build


def _lost(before: Floats, after: Floats) -> Floats:
    """Margin lost; infinite where contact is, nothing where it was lost before."""
    before, after = np.broadcast_arrays(np.asarray(before, dtype=float), np.asarray(after, dtype=float))
    with np.errstate(invalid="ignore"):
        return np.where(np.isneginf(before) & np.isneginf(after), 0.0, before - after)


def _differing(target: Record, found: Record) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """Name, field and places of everything that differs; both wheels of an axle together where alike."""
    for setting in SETTINGS:
        field = setting.field
        words = field.replace("_", " ")
        off = found[field] - target[field]
        differs = np.abs(off) > _SAME * np.maximum(np.abs(target[field]), setting.factor)
        if field in _AXLE_FIELDS:
            yield from ((f"{AXLES[a]} {words}", field, (a,)) for a in (0, 1) if differs[a])
            continue
        for axle in (0, 1):
            left = 2 * axle
            right = 2 * axle + 1
            if differs[left] and differs[right] and abs(off[left] - off[right]) <= _ALIKE * setting.factor:
                yield f"{AXLES[axle]} {words}", field, (left, right)
            else:
                yield from (
                    (f"{words} {WHEELS[w].upper()}", field, (w,)) for w in (left, right) if differs[w]
                )
    if found["cross_share"] != target["cross_share"]:
        yield "corner weights", "cross_share", (0,)


def _differing_car(target: Record, found: Record, setup: Setup) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """The same for shares, wings and ballast; `setup` has their names."""
    names = [("brake share front", "brake_front", 0), ("drive share front", "drive_front", 0)]
    names += [(f"wing {name}", "wing", slot) for slot, (name, _) in enumerate(setup.wings)]
    names += [(f"ballast {piece.name}", "station", slot) for slot, piece in enumerate(setup.ballast)]
    for words, field, slot in names:
        wanted, read = (float(np.atleast_1d(build[field])[slot]) for build in (target, found))
        if abs(read - wanted) > _SAME * max(abs(wanted), _OF[field].factor):
            yield words, field, (slot,)


_OF: dict[str, Setting] = {setting.field: setting for setting in (*SETTINGS, *BALANCE, WING, STATION)}


def _tolerance(project: Project, field: str, target: float, wheel: int) -> float | None:
    """Plus and minus, SI; nothing for what is set in clicks."""
    if field.startswith("damper"):
        return 0.0 if axle_tools(project, wheel // 2).clicks(field) else None
    held = project.limits.tolerance if project.limits else None
    if held is None:
        return None
    known = {
        "camber": held.camber, "ride_height": held.ride_height, "pressure": held.pressure,
        "spring": held.spring_share * target, "toe": held.toe,
    }  # fmt: skip
    return known.get(field)


def _how(project: Project, target: Setup, deviation: Deviation) -> str:
    """What to turn."""
    if deviation.field == "cross_share":
        return wedge_words(project, target, deviation.found / 100.0)
    setting = _OF[deviation.field]
    if setting.per == "car":
        return f"to {deviation.target:g} {deviation.unit}"
    move = (deviation.target - deviation.found) * setting.factor
    axle = deviation.places[0] if deviation.field in _AXLE_FIELDS else deviation.places[0] // 2
    tools = axle_tools(project, axle)
    where = "each side" if len(deviation.places) == 2 else f"at {WHEELS[deviation.places[0]].upper()} only"
    if tools.clicks(deviation.field):
        return f"to {tools.click(deviation.field, deviation.target * setting.factor)} clicks"
    if deviation.field == "camber":
        shims = tools.shims_for(move)
        return (
            tools.shim_words(shims, move, where)
            if shims or tools.per_shim is None
            else "less than half a shim"
        )
    if deviation.field == "ride_height":
        amount = tools.perch_amount(move)
        way = "raise" if move > 0.0 else "lower"
        return f"{way} by {tools.perch_words(amount)} {where}" if amount else "less than half a flat"
    if deviation.field == "anti_roll":
        rate, position = tools.position(deviation.target * setting.factor)
        return f"bar{position}, {rate / setting.factor:g} N/mm"
    return f"to {deviation.target:g} {deviation.unit}"


def _plain(value: float) -> float:
    """Without the noise of the conversion from SI."""
    return round(value, 6) + 0.0
