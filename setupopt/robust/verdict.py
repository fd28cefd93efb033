"""One row for each thing that a setup has to stand: how much it stands, what breaks first, what to change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Records
from setupopt.physics.ride_run import STOOD, TRACE
from setupopt.project.model import AXLES, Setup
from setupopt.robust.best_single_step import Change, best_change
from setupopt.robust.builds.build_variation import SCALES
from setupopt.robust.builds.study import BoxStudy
from setupopt.robust.bump import MOST, BumpRides
from setupopt.robust.gust import GustRides
from setupopt.robust.obstacle import TRACKS, Obstacle
from setupopt.robust.ride_model import NO_DRIVER, REASONS, RideModel
from setupopt.robust.road.linear_road_response import LinearRoad
from setupopt.robust.robustness import RobustnessReport
from setupopt.robust.wind import STRONGEST, with_wind
from setupopt.units import DEG, MM

_BEYOND = 1.25  # times what is stood: the situation that a change is to mend
_ROAD_SIGMAS = 3.0
# Kinds of faults, and the words that their names have in common.
_FAULTS = (
    ("loss of drive", "drive"), ("one wheel locked", "locked"), ("flat tyre", "flat"),
    ("2 deg too much steer", "steer"),
)  # fmt: skip
# A trace with no room: a ride that is not stood goes on all the same.
_ON = np.zeros((1, len(TRACE)))
Rides = TypeVar("Rides", bound=RideModel)


@dataclass(frozen=True)
class Verdict:
    """One disturbance. `found` and `asked` in `unit`; None: all that was tried is stood, nothing asked.

    What is asked is at least, or at most where `is_chance`. `holds` is None where nothing was asked. `row`:
    the case that breaks first, None where none does. `measured`: what a change gains.
    """

    what: str
    unit: str
    found: float | None
    asked: float | None
    holds: bool | None
    row: int | None
    how: str
    change: Change | None
    is_chance: bool = False
    measured: str = "margin"


def verdicts(proof: RobustnessReport) -> tuple[Verdict, ...]:
    """Every row, the broken ones first."""
    makers = (
        _as_set,
        _build,
        _inputs,
        _road,
        _bump,
        _seam,
        _gust,
        _wind_step,
        _wind,
    )
    found = [
        *(make(proof) for make in makers),
        *(_fault(proof, *words) for words in _FAULTS),
    ]
    rows = [verdict for verdict in found if verdict is not None]
    return tuple(sorted(rows, key=lambda verdict: verdict.holds is not False))


def _change(
    proof: RobustnessReport, measure: Callable[[Setup], float]
) -> Change | None:
    """The single step that mends a situation best."""
    return best_change(proof.project, proof.setup, measure, proof.plan.floor)


def _axle(proof: RobustnessReport, row: int) -> str:
    """Which axle goes first in a steady case."""
    answer = proof.steady.answers[0, row]
    if not answer["contact"]:
        return "contact is lost"
    axle = AXLES[int(answer["limiting"])]
    return (
        f"the car slides, the {axle} axle first"
        if answer["slides"]
        else f"the {axle} axle slides first"
    )


def _has_ride(proof: RobustnessReport, row: int) -> bool:
    """Whether there is a ride about a case: it keeps contact and does not slide."""
    answer = proof.steady.answers[0, row]
    return bool(answer["contact"] and not answer["slides"])


def _steadily(proof: RobustnessReport, row: int) -> Callable[[Setup], float]:
    """The steady margin of one case, for a search."""
    model = Model(proof.project.car)
    case = proof.steady.cases.pick([row])
    return lambda setup: float(
        model.run(model.settings(setup), case).search_margin[0, 0]
    )


# ---- as set, build, inputs ---------------------------------------------------------------------------------


def _as_set(proof: RobustnessReport) -> Verdict:
    row = int(proof.steady.worst[0])
    floor = proof.plan.floor
    margin = float(proof.steady.worst_margin[0])
    stands = margin if np.isfinite(margin) else None
    return Verdict(
        "margin as set", "margin", stands, floor, margin >= floor, row, _axle(proof, row),
        _change(proof, _steadily(proof, row)),
    )  # fmt: skip


def _build(proof: RobustnessReport) -> Verdict:
    return _box(proof, "build error", "times", proof.build.build)


def _inputs(proof: RobustnessReport) -> Verdict | None:
    study = proof.build.inputs
    return (
        None
        if study is None
        else _box(proof, "uncertain inputs", "times", study)
    )


def _box(
    proof: RobustnessReport, what: str, unit: str, study: BoxStudy
) -> Verdict:
    """A box of errors; its worst corner must keep the floor."""
    worst, case = study.worst, proof.steady.cases.pick([study.worst.case])

    def measure(setup: Setup) -> float:
        errors = np.array(list(worst.errors.values()))
        return float(
            replace(study.errors, setup=setup)
            .result(errors, case)
            .search_margin[0, 0]
        )

    costly = ", ".join(
        f"{cost.name} {cost.error:+g}" for cost in worst.costs[:2]
    )
    how = (
        f"worst margin {worst.margin:.3f}"
        if np.isfinite(worst.margin)
        else "contact is lost"
    )
    return Verdict(
        what, unit, study.stands if study.stands < SCALES[-1] else None, 1.0,
        worst.margin >= proof.plan.floor, worst.case, f"{how}; costliest: {costly}" if costly else how,
        _change(proof, measure),
    )  # fmt: skip


# ---- in motion ---------------------------------------------------------------------------------------------


def _used(rides: RideModel, ride: Records) -> float:
    """What a ride leaves of drift, sideslip and time without contact: 1 at rest, 0 at what is allowed."""
    allowed = rides.allowed
    used = (
        ride["drift"][0] / allowed.drift,
        ride["sideslip"][0] / allowed.sideslip,
        ride["airborne"][0] / max(allowed.airborne, 1e-3),
    )
    return 1.0 - float(max(used))


def _spare(
    proof: RobustnessReport,
    row: int,
    kind: type[Rides],
    ride: Callable[[Rides], Records],
) -> Callable[[Setup], float]:
    """What a ride leaves in one case, for a search; minus infinity where no driver holds the car."""
    case = proof.steady.cases.pick([row])

    def measure(setup: Setup) -> float:
        rides = kind(proof.project, setup, case)
        if not rides.rides(0) or not rides.driver(0).holds:
            return -np.inf
        return _used(rides, ride(rides))

    return measure


def _no_ride(
    proof: RobustnessReport, what: str, unit: str, asked: float | None, row: int
) -> Verdict:
    """Nothing is stood where there is no ride, or no driver of the reaction time holds the car."""
    if _has_ride(proof, row):
        how = f"{REASONS[NO_DRIVER]}, even without any disturbance"
    else:
        how = f"{_axle(proof, row)} without any disturbance"
    return Verdict(
        what,
        unit,
        0.0,
        asked,
        False,
        row,
        how,
        _change(proof, _steadily(proof, row)),
    )


def _road(proof: RobustnessReport) -> Verdict:
    """Share of the rides that are not stood, of the cases that were ridden."""
    study = proof.road
    asked = 100.0 * proof.plan.chance
    worst = int(proof.steady.worst[0])
    if study is None or not _has_ride(proof, worst):
        lost = _no_ride(proof, "rough road", "% of runs", asked, worst)
        return replace(lost, found=100.0, is_chance=True)
    ridden = max(study.ridden, key=lambda one: one.sums.chance_fallen()[0])
    sums, row, plan = ridden.sums, ridden.row, proof.plan
    chance = sums.chance_fallen()[0]
    case = proof.steady.cases.pick([row])

    def measure(setup: Setup) -> float:
        answer = LinearRoad(
            proof.project,
            setup,
            case,
            study.plan.road,
            plan.seconds,
            plan.floor,
        )([0])[0]
        return float(
            answer["margin"] - _ROAD_SIGMAS * answer["sigma_use"].max()
        )

    ends = [
        f"{count:.0f}: {REASONS[number]}"
        for number, count in enumerate(sums.reasons)
        if count and number != STOOD
    ]
    why = f"; {'; '.join(ends)}" if ends else ""
    how = (
        f"{sum(sums.reasons):.0f} runs of {plan.seconds:g} s in each of {len(study.ridden)} cases; largest "
        f"drift {sums.drift / MM:.0f} mm, sideslip {sums.sideslip / DEG:.1f} deg off the trim's{why}"
    )
    return Verdict(
        "rough road", "% of runs", 100.0 * chance, asked, chance <= plan.chance, row, how,
        _change(proof, measure), is_chance=True,
    )  # fmt: skip


def _bump(proof: RobustnessReport) -> Verdict:
    allowance = proof.bump.allowance
    row, asked = allowance.worst, proof.plan.bump
    height, length = float(allowance.height[row]), float(allowance.length[row])
    if not height > 0.0:
        return _no_ride(proof, "bump", "mm", _in(asked, MM), row)
    if np.isnan(length):
        how = f"every bump up to {MOST / MM:.0f} mm is stood"
        return _verdict(proof, "bump", "mm", None, asked, MM, row, how, None)
    measure = _spare(
        proof,
        row,
        BumpRides,
        lambda rides: rides.cross(
            0, allowance.obstacle(row, _BEYOND), trace=_ON
        ),
    )
    how = (
        f"{length:.2f} m long, {_tracks(int(allowance.track[row]))}; beyond it "
        f"{REASONS[int(allowance.reason[row])]}. Instantaneous number, no verdict: the margin at one instant "
        f"falls to the minimum at {allowance.instant[row] / MM:.3g} mm of this bump"
    )
    return _verdict(
        proof, "bump", "mm", height / MM, asked, MM, row, how, measure
    )


def _tracks(track: int) -> str:
    return (
        "under both tracks"
        if TRACKS[track] == "both"
        else f"under the {TRACKS[track]} track"
    )


def _seam(proof: RobustnessReport) -> Verdict:
    allowance = proof.bump.allowance
    row, asked = allowance.worst_seam, proof.plan.seam
    seam, ramp = float(allowance.seam[row]), float(allowance.ramp[row])
    if not abs(seam) > 0.0:
        return _no_ride(proof, "seam", "mm", _in(asked, MM), row)
    if np.isnan(ramp):
        how = f"every step up or down to {MOST / MM:.0f} mm is stood"
        return _verdict(proof, "seam", "mm", None, asked, MM, row, how, None)
    obstacle = Obstacle(
        _BEYOND * seam, ramp, TRACKS.index("both"), is_seam=True
    )
    measure = _spare(
        proof, row, BumpRides, lambda rides: rides.cross(0, obstacle, trace=_ON)
    )
    how = f"step {'up' if seam > 0.0 else 'down'} over a ramp of {ramp / MM:.0f} mm, across the whole way"
    return _verdict(
        proof, "seam", "mm", abs(seam) / MM, asked, MM, row, how, measure
    )


def _gust(proof: RobustnessReport) -> Verdict:
    found = proof.gust.found[proof.gust.worst]
    row, asked = int(found["case"]), proof.plan.gust
    speed, length, direction = (
        float(found[name]) for name in ("speed", "length", "direction")
    )
    if row < 0:
        how = f"every gust up to {STRONGEST:g} m/s is stood"
        return _verdict(proof, "gust", "m/s", None, asked, 1.0, None, how, None)
    if not speed > 0.0:
        return _no_ride(proof, "gust", "m/s", asked, row)
    measure = _spare(
        proof, row, GustRides,
        lambda rides: rides.through(0, direction, _BEYOND * speed, length, trace=_ON),
    )  # fmt: skip
    how = (
        f"from {direction / DEG:.0f} deg, {length:.0f} m long; beyond it {REASONS[int(found['reason'])]}. "
        f"Instantaneous number, no verdict: the margin at one instant falls to the minimum at "
        f"{found['instant']:.3g} m/s"
    )
    return _verdict(proof, "gust", "m/s", speed, asked, 1.0, row, how, measure)


def _wind_step(proof: RobustnessReport) -> Verdict:
    found = proof.gust.found[proof.gust.worst_step]
    row, speed = int(found["case"]), float(found["step"])
    how = f"from {found['direction'] / DEG:.0f} deg, there at once and then steady"
    return _verdict(
        proof, "wind step", "m/s", None if np.isnan(speed) else speed, proof.plan.step, 1.0,
        row if row >= 0 else None, how, None,
    )  # fmt: skip


def _wind(proof: RobustnessReport) -> Verdict:
    wind, asked = proof.gust.steady, proof.plan.wind
    at = wind.worst
    speed, row, direction = (
        float(wind.speed[at]),
        int(wind.case[at]),
        float(wind.direction[at]),
    )
    if row < 0 or not np.isfinite(speed):
        how = f"every wind up to {STRONGEST:g} m/s is held"
        return _verdict(
            proof, "steady wind", "m/s", None, asked, 1.0, None, how, None
        )

    def measure(setup: Setup) -> float:
        model = Model(proof.project.car)
        case = with_wind(
            proof.steady.cases.pick([row]), max(_BEYOND * speed, 0.5), direction
        )
        return float(model.run(model.settings(setup), case).search_margin[0, 0])

    how = f"from {direction / DEG:.0f} deg, by the margin in it"
    return _verdict(
        proof, "steady wind", "m/s", speed, asked, 1.0, row, how, measure
    )


def _fault(proof: RobustnessReport, what: str, words: str) -> Verdict | None:
    """Share of the roll angles at which one kind of fault is stood, whichever wheel or side has it."""
    found = proof.faults.of(words)
    if not found.size:
        return None
    rows = np.unique(found["row"])
    failed = found[found["reason"] != STOOD]
    share = 100.0 * (1.0 - np.unique(failed["row"]).size / rows.size)
    quickest = found[int(found["seconds"].argmin())]
    time = (
        f"{quickest['seconds']:.2f} s"
        if np.isfinite(quickest["seconds"])
        else "longer than is judged"
    )
    name = proof.faults.names
    how = f"the driver has {time} ({name[int(quickest['fault'])]})"
    row = int(quickest["row"])
    if failed.size:
        first = failed[0]
        row = int(first["row"])
        how = f"first not stood: {name[int(first['fault'])]}, {REASONS[int(first['reason'])]}; {how}"
    asked = 100.0 if proof.plan.faults else None
    return Verdict(
        what,
        "% of angles",
        share,
        asked,
        None if asked is None else share >= asked,
        row,
        how,
        None,
    )


def _in(asked: float | None, factor: float) -> float | None:
    return None if asked is None else asked / factor


def _verdict(
    proof: RobustnessReport, what: str, unit: str, stands: float | None, asked: float | None, factor: float,
    row: int | None, how: str, measure: Callable[[Setup], float] | None,
) -> Verdict:  # fmt: skip
    """A row for which something may have been asked, in SI."""
    wanted = _in(asked, factor)
    kept = None if wanted is None else stands is None or stands >= wanted
    change = None if measure is None else _change(proof, measure)
    measured = "margin" if what == "steady wind" else "room"
    return Verdict(
        what, unit, stands, wanted, kept, row, how, change, measured=measured
    )
