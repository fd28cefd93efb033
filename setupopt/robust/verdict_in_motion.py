"""What is stood of the road, obstacles, wind and faults, by what the car does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.physics.inputs import Records
from setupopt.physics.ride_run import STOOD, TRACE
from setupopt.project.model import Setup
from setupopt.robust.bump import MOST, BumpRides
from setupopt.robust.faults import KINDS
from setupopt.robust.gust import GustRides
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.obstacle import TRACKS, Obstacle, track_words
from setupopt.robust.ride_model import REASONS, RideModel
from setupopt.robust.robustness import RobustnessReport
from setupopt.robust.verdict import (
    Verdict,
    change_for,
    first_axle,
    in_unit,
    judged,
    without_ride,
)
from setupopt.robust.wind import STRONGEST, with_wind
from setupopt.units import DEG, MM

_BEYOND = 1.25  # times what is stood: the situation that a change is to mend


# A trace with no room: a ride that is not stood goes on all the same.
_ON = np.zeros((1, len(TRACE)))


Rides = TypeVar("Rides", bound=RideModel)


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
        if not rides.is_driven():
            return -np.inf
        return _used(rides, ride(rides))

    return measure


def _road(proof: RobustnessReport) -> Verdict:
    """Share of the rides that are not stood, of the cases that were ridden."""
    study = proof.road
    asked = 100.0 * proof.plan.chance
    worst = int(proof.steady.worst[0])
    if study is None or not is_judged(proof.steady.answers[0, worst]):
        lost = without_ride(proof, "rough road", "% of runs", asked, worst)
        return replace(lost, found=100.0, is_chance=True)
    ridden = max(study.ridden, key=lambda one: one.sums.chance_fallen()[0])
    sums, row, plan = ridden.sums, ridden.row, proof.plan
    chance, low, high = sums.chance_fallen()
    case = proof.steady.cases.pick([row])

    def measure(setup: Setup) -> float:
        rides = LikelyRides(proof.project, setup, case)
        if not rides.is_driven():
            return -np.inf
        return rides.stood.times_of(rides.linear_car(0), study.plan.road)

    ends = [
        f"{count:.0f}: {REASONS[number]}"
        for number, count in enumerate(sums.reasons)
        if count and number != STOOD
    ]
    why = f"; {'; '.join(ends)}" if ends else ""
    cases = f"{len(study.ridden)} case{'s' if len(study.ridden) > 1 else ''}"
    how = (
        f"{sum(sums.reasons):.0f} runs of {plan.seconds:g} s, ridden in {cases}; failed by them (95 %): "
        f"{100.0 * low:.2g} to {100.0 * high:.2g} %; largest "
        f"drift {sums.drift / MM:.0f} mm, sideslip {sums.sideslip / DEG:.1f} deg off the trim's{why}"
    )
    return Verdict(
        "rough road", "% of runs", 100.0 * chance, asked, chance <= plan.chance, row, how,
        change_for(proof, measure), is_chance=True, measured="height of the road that the linear answer leaves",
    )  # fmt: skip


def _bump(proof: RobustnessReport) -> Verdict:
    allowance = proof.bump.allowance
    row = allowance.worst
    bump = allowance.obstacle(row)
    how = (
        f"{bump.length:.2f} m long, {track_words(bump.track)}; beyond it {REASONS[int(allowance.reason[row])]}. "
        "Instantaneous number, no verdict: the margin at one instant falls to the minimum at "
        f"{allowance.instant[row] / MM:.3g} mm of this bump"
    )
    return _obstacle(proof, "bump", proof.plan.bump, row, bump, how)


def _seam(proof: RobustnessReport) -> Verdict:
    allowance = proof.bump.allowance
    row = allowance.worst_seam
    height, ramp = float(allowance.seam[row]), float(allowance.ramp[row])
    seam = Obstacle(height, ramp, TRACKS.index("both"), is_seam=True)
    way = "up" if height > 0.0 else "down"
    how = f"step {way} over a ramp of {ramp / MM:.0f} mm, across the whole way"
    return _obstacle(proof, "seam", proof.plan.seam, row, seam, how)


def _obstacle(
    proof: RobustnessReport, what: str, asked: float | None, row: int, highest: Obstacle, how: str
) -> Verdict:  # fmt: skip
    """The highest obstacle of a kind that is stood; without a length where all that were tried are."""
    height = abs(highest.height)
    if not height > 0.0:
        return without_ride(proof, what, "mm", in_unit(asked, MM), row)
    if np.isnan(highest.length):
        kind = "step up or down" if highest.is_seam else "bump up"
        how = f"every {kind} to {MOST / MM:.0f} mm is stood"
        return judged(proof, what, "mm", None, asked, MM, row, how, None)
    more = highest._replace(height=_BEYOND * highest.height)
    measure = _spare(
        proof, row, BumpRides, lambda rides: rides.cross(0, more, trace=_ON)
    )
    return judged(proof, what, "mm", height / MM, asked, MM, row, how, measure)


def _gust(proof: RobustnessReport) -> Verdict:
    found = proof.gust.found[proof.gust.worst]
    row, asked = int(found["case"]), proof.plan.gust
    speed, length, direction = (
        float(found[name]) for name in ("speed", "length", "direction")
    )
    if row < 0:
        how = f"every gust up to {STRONGEST:g} m/s is stood"
        return judged(proof, "gust", "m/s", None, asked, 1.0, None, how, None)
    if not speed > 0.0:
        lost = without_ride(proof, "gust", "m/s", asked, row)
        reason = int(found["reason"])
        if reason == STOOD:
            return lost
        how = f"{REASONS[reason]}, even in the least gust that is tried"
        return replace(lost, how=how)
    measure = _spare(
        proof, row, GustRides,
        lambda rides: rides.through(0, direction, _BEYOND * speed, length, trace=_ON),
    )  # fmt: skip
    how = (
        f"from {direction / DEG:.0f} deg, {length:.0f} m long; beyond it {REASONS[int(found['reason'])]}. "
        f"Instantaneous number, no verdict: the margin at one instant falls to the minimum at "
        f"{found['instant']:.3g} m/s"
    )
    return judged(proof, "gust", "m/s", speed, asked, 1.0, row, how, measure)


def _wind_step(proof: RobustnessReport) -> Verdict:
    found = proof.gust.found[proof.gust.worst_step]
    row, speed = int(found["case"]), float(found["step"])
    if speed == 0.0:
        return without_ride(proof, "wind step", "m/s", proof.plan.step, row)
    how = f"from {found['direction'] / DEG:.0f} deg, there at once and then steady"
    return judged(
        proof, "wind step", "m/s", None if np.isnan(speed) else speed, proof.plan.step, 1.0,
        row if row >= 0 else None, how, None,
    )  # fmt: skip


def _wind(proof: RobustnessReport) -> Verdict:
    found, asked = proof.gust.found[proof.gust.worst_steady], proof.plan.wind
    speed, row = float(found["steady_speed"]), int(found["steady_case"])
    direction = float(found["direction"])
    if row < 0 or not np.isfinite(speed):
        how = f"every wind up to {STRONGEST:g} m/s is held"
        return judged(
            proof, "steady wind", "m/s", None, asked, 1.0, None, how, None
        )

    def measure(setup: Setup) -> float:
        model = Model(proof.project.car)
        case = with_wind(
            proof.steady.cases.pick([row]), max(_BEYOND * speed, 0.5), direction
        )
        return float(model.run(model.settings(setup), case).safe_margin[0, 0])

    how = f"from {direction / DEG:.0f} deg, by the margin in it"
    return judged(
        proof, "steady wind", "m/s", speed, asked, 1.0, row, how, measure
    )


def _fault(proof: RobustnessReport, what: str, words: str) -> Verdict | None:
    """Share of the roll angles at which one kind of fault is stood, whichever wheel or side has it.

    Where a case slides or loses contact without a fault, its roll angle stands none.
    """
    found = proof.faults.of(words)
    if not found.size:
        return None
    failed = found[found["reason"] != STOOD]
    lost = np.flatnonzero(~is_judged(proof.steady.answers[0]))
    at = proof.steady.cases.at
    fallen = np.unique(at[np.concatenate([failed["row"], lost]).astype(int)])
    share = 100.0 * (1.0 - fallen.size / np.unique(at).size)
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
    if lost.size:
        how = f"{first_axle(proof, int(lost[0]))} without any fault in {lost.size} of {at.size} cases; {how}"
    asked = 100.0 if proof.plan.faults else None
    return Verdict(
        what,
        "% of angles stood",
        share,
        asked,
        None if asked is None else share >= asked,
        row,
        how,
        None,
    )


def faults(proof: RobustnessReport) -> list[Verdict | None]:
    """Every kind of fault; None: not looked at."""
    return [_fault(proof, *kind) for kind in KINDS.items()]


# What is judged by what the car does, and the steady wind.
IN_MOTION = (_road, _bump, _seam, _gust, _wind_step, _wind)
