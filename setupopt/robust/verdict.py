"""One row for each thing that a setup has to stand: how much it stands, what breaks first, what to change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.model import Model
from setupopt.project.model import AXLES, Setup
from setupopt.robust.best_single_step import Change, best_change
from setupopt.robust.builds.build_variation import SCALES
from setupopt.robust.builds.study import BoxStudy
from setupopt.robust.bump import TRACKS, BumpRides
from setupopt.robust.gust import GustRides
from setupopt.robust.road.linear_road_response import LinearRoad
from setupopt.robust.robustness import RobustnessReport
from setupopt.robust.wind import STRONGEST, with_wind
from setupopt.units import DEG, MM

_BEYOND = 1.25  # times what is stood: the situation that a change is to mend
_ROAD_SIGMAS = 3.0


@dataclass(frozen=True)
class Verdict:
    """One disturbance. `found` and `asked` in `unit`; None: all that was tried is stood, nothing asked.

    What is asked is at least, or at most where `is_chance`. `holds` is None where nothing was asked. `row`:
    the case that breaks first, None where none does.
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


def verdicts(proof: RobustnessReport) -> tuple[Verdict, ...]:
    """Every row, the broken ones first."""
    makers = (_as_set, _build, _inputs, _road, _bump, _gust, _wind)
    rows = [verdict for make in makers if (verdict := make(proof)) is not None]
    return tuple(sorted(rows, key=lambda verdict: verdict.holds is not False))


def _change(proof: RobustnessReport, measure: Callable[[Setup], float]) -> Change | None:
    """The single step that mends a situation best."""
    return best_change(proof.project, proof.setup, measure, proof.plan.floor)


def _axle(proof: RobustnessReport, row: int) -> str:
    """Which axle goes first in a steady case."""
    answer = proof.steady.answers[0, row]
    if not answer["contact"]:
        return "contact is lost"
    axle = AXLES[int(answer["limiting"])]
    return f"the car slides, the {axle} axle first" if answer["slides"] else f"the {axle} axle slides first"


def _has_ride(proof: RobustnessReport, row: int) -> bool:
    """Whether there is a ride about a case: it keeps contact and does not slide."""
    answer = proof.steady.answers[0, row]
    return bool(answer["contact"] and not answer["slides"])


def _steadily(proof: RobustnessReport, row: int) -> Callable[[Setup], float]:
    """The steady margin of one case, for a search."""
    model = Model(proof.project.car)
    case = proof.steady.cases.pick([row])
    return lambda setup: float(model.run(model.settings(setup), case).search_margin[0, 0])


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
    return None if study is None else _box(proof, "uncertain inputs", "times", study)


def _box(proof: RobustnessReport, what: str, unit: str, study: BoxStudy) -> Verdict:
    """A box of errors; its worst corner must keep the floor."""
    worst, case = study.worst, proof.steady.cases.pick([study.worst.case])

    def measure(setup: Setup) -> float:
        errors = np.array(list(worst.errors.values()))
        return float(replace(study.errors, setup=setup).result(errors, case).search_margin[0, 0])

    costly = ", ".join(f"{cost.name} {cost.error:+g}" for cost in worst.costs[:2])
    how = f"worst margin {worst.margin:.3f}" if np.isfinite(worst.margin) else "contact is lost"
    return Verdict(
        what, unit, study.stands if study.stands < SCALES[-1] else None, 1.0,
        worst.margin >= proof.plan.floor, worst.case, f"{how}; costliest: {costly}" if costly else how,
        _change(proof, measure),
    )  # fmt: skip


# ---- road --------------------------------------------------------------------------------------------------


def _road(proof: RobustnessReport) -> Verdict:
    """Chance of going under the floor in a run: of the rides where there are any, linear in other cases.

    A case without a ride goes under the floor in every run.
    """
    study = proof.road
    worst = int(proof.steady.worst[0])
    if study is None or not _has_ride(proof, worst):
        how = f"there is no ride: {_axle(proof, worst)} on a smooth road"
        change = _change(proof, _steadily(proof, worst))
        asked = 100.0 * proof.plan.chance
        return Verdict("rough road", "% of runs", 100.0, asked, False, worst, how, change, is_chance=True)
    rides = {ridden.row: ridden.sums.chance_under()[0] for ridden in study.ridden}
    chances = study.linear["chance"].copy()
    chances[list(rides)] = list(rides.values())
    row = int(chances.argmax())
    chance, case, plan = float(chances[row]), proof.steady.cases.pick([row]), proof.plan

    def measure(setup: Setup) -> float:
        answer = LinearRoad(proof.project, setup, case, study.plan.road, plan.seconds, plan.floor)([0])[0]
        return float(answer["margin"] - _ROAD_SIGMAS * answer["sigma_use"].max())

    source = "in rides" if row in rides else "by the linear answer, mostly too high; --ride-cases rides more"
    how = f"goes under the floor in so many runs of {plan.seconds:g} s, {source}"
    return Verdict(
        "rough road", "% of runs", 100.0 * chance, 100.0 * plan.chance, chance <= plan.chance, row, how,
        _change(proof, measure), is_chance=True,
    )  # fmt: skip


# ---- bump and wind -----------------------------------------------------------------------------------------


def _bump(proof: RobustnessReport) -> Verdict:
    allowance = proof.bump.allowance
    row, asked = allowance.worst, proof.plan.bump
    height, length = float(allowance.height[row]), float(allowance.length[row])
    if np.isnan(height):
        how = f"{_axle(proof, row)} without a bump"
        return _verdict(proof, "bump", "mm", 0.0, asked, MM, row, how, _steadily(proof, row), holds=False)
    if np.isnan(length):
        how = "the instantaneous margin is kept over every bump up to 200 mm"
        return _verdict(proof, "bump", "mm", None, asked, MM, row, how, None)
    track = int(allowance.track[row])

    def measure(setup: Setup) -> float:
        rides = BumpRides(proof.project, setup, proof.steady.cases.pick([row]))
        if not rides.rides(0):
            return -np.inf
        return float(rides.trace(0, max(_BEYOND * height, 1e-3), length, track)[:, 1].min())

    sides = "both tracks" if TRACKS[track] == "both" else f"the {TRACKS[track]} track"
    how = f"{length:.2f} m long, under {sides}{_beside(proof)}"
    return _verdict(proof, "bump", "mm", height / MM, asked, MM, row, how, measure)


def _beside(proof: RobustnessReport) -> str:
    """What else happens when a bump beyond the allowance takes the instantaneous margin under the floor."""
    trace = proof.bump.traces[-1]
    fallen = trace[trace[:, 1] < proof.plan.floor]
    if not len(fallen):
        return ""
    load, clearance, travel = fallen[0, 2:]
    met = {"a wheel is off the surface": load <= 0.0, "the floor comes too close": clearance < 0.0,
           "a stop is hit": travel < 0.0}  # fmt: skip
    said = [words for words, so in met.items() if so]
    return f"; then {' and '.join(said)}" if said else ""


def _gust(proof: RobustnessReport) -> Verdict:
    gust = proof.gust
    at, asked = gust.worst, proof.plan.gust
    speed, row, length = float(gust.speed[at]), int(gust.case[at]), float(gust.length[at])
    if row < 0 or not np.isfinite(speed):
        how = f"every gust up to {STRONGEST:g} m/s is held"
        return _verdict(proof, "gust", "m/s", None, asked, 1.0, None, how, None)
    if not _has_ride(proof, row):
        how = f"{_axle(proof, row)} without a gust"
        return _verdict(proof, "gust", "m/s", 0.0, asked, 1.0, row, how, _steadily(proof, row), holds=False)
    direction = float(gust.direction[at])
    case = proof.steady.cases.pick([row])

    def measure(setup: Setup) -> float:
        if np.isnan(length):
            return _windy(proof, setup, row, _BEYOND * speed, direction)
        rides = GustRides(proof.project, setup, case)
        return rides.margin_in(0, direction, _BEYOND * speed, length) if rides.rides(0) else -np.inf

    kind = "as a steady wind" if np.isnan(length) else f"{length:.0f} m long"
    how = f"from {direction / DEG:.0f} deg, {kind}"
    return _verdict(proof, "gust", "m/s", speed, asked, 1.0, row, how, measure)


def _wind(proof: RobustnessReport) -> Verdict:
    wind, asked = proof.gust.steady, proof.plan.wind
    at = wind.worst
    speed, row, direction = float(wind.speed[at]), int(wind.case[at]), float(wind.direction[at])
    if row < 0 or not np.isfinite(speed):
        how = f"every wind up to {STRONGEST:g} m/s is held"
        return _verdict(proof, "steady wind", "m/s", None, asked, 1.0, None, how, None)

    def measure(setup: Setup) -> float:
        return _windy(proof, setup, row, max(_BEYOND * speed, 0.5), direction)

    how = f"from {direction / DEG:.0f} deg"
    return _verdict(proof, "steady wind", "m/s", speed, asked, 1.0, row, how, measure)


def _windy(proof: RobustnessReport, setup: Setup, row: int, speed: float, direction: float) -> float:
    """How a setup stands one case in a steady wind."""
    model, case = Model(proof.project.car), with_wind(proof.steady.cases.pick([row]), speed, direction)
    return float(model.run(model.settings(setup), case).search_margin[0, 0])


def _verdict(
    proof: RobustnessReport, what: str, unit: str, stands: float | None, asked: float | None, factor: float,
    row: int | None, how: str, measure: Callable[[Setup], float] | None, holds: bool | None = None,
) -> Verdict:  # fmt: skip
    """A row for which something may have been asked, in SI. `holds`: the verdict, if it is known already."""
    wanted = None if asked is None else asked / factor
    kept = holds
    if kept is None and wanted is not None:
        kept = stands is None or stands >= wanted
    change = None if measure is None else _change(proof, measure)
    return Verdict(what, unit, stands, wanted, kept, row, how, change)
