"""What one requirement of a proof finds, and words and measures that all of them have in common."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.project.model import AXLES, WHEELS, Setup
from setupopt.robust.best_single_step import Change
from setupopt.robust.ride_model import NO_DRIVER, REASONS
from setupopt.robust.robustness import RobustnessReport

_GRAZES = 0.0025  # of the weight on all wheels: such a load is gone at once


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


def change_for(
    proof: RobustnessReport, measure: Callable[[Setup], float]
) -> Change | None:
    """The single step that mends a situation best."""
    return proof.steps.best(measure, proof.plan.floor)


def first_axle(proof: RobustnessReport, row: int) -> str:
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


def steadily(proof: RobustnessReport, row: int) -> Callable[[Setup], float]:
    """The steady margin of one case, for a search."""
    model = Model(proof.project.car)
    case = proof.steady.cases.pick([row])
    return lambda setup: float(
        model.run(model.settings(setup), case).safe_margin[0, 0]
    )


def without_ride(
    proof: RobustnessReport, what: str, unit: str, asked: float | None, row: int
) -> Verdict:
    """Nothing is stood where there is no ride, or no driver of the reaction time holds the car."""
    if is_judged(proof.steady.answers[0, row]):
        how = f"{REASONS[NO_DRIVER]}, even without any disturbance"
    else:
        how = f"{first_axle(proof, row)} without any disturbance"
    return Verdict(
        what,
        unit,
        0.0,
        asked,
        False,
        row,
        how,
        change_for(proof, steadily(proof, row)),
    )


def grazing(proof: RobustnessReport, row: int | None) -> str:
    """Words on a wheel that only just touches the surface in the trim of a case, empty where none does.

    The car can then stand on another wheel as well. Rides are about the trim of the sweep, the one of the
    lower margin.
    """
    load = proof.steady.answers[0, row or 0]["load"]
    light = (load > 0.0) & (load < _GRAZES * load.sum())
    if row is None or not light.any():
        return ""
    wheel = int(np.flatnonzero(light)[0])
    return (
        f"; wheel {WHEELS[wheel]} carries only {load[wheel]:.1f} N without the disturbance: at the least push the "
        "car may rock onto another wheel, into a trim that its driver does not expect"
    )


def in_unit(asked: float | None, factor: float) -> float | None:
    return None if asked is None else asked / factor


def judged(
    proof: RobustnessReport, what: str, unit: str, stands: float | None, asked: float | None, factor: float,
    row: int | None, how: str, measure: Callable[[Setup], float] | None,
) -> Verdict:  # fmt: skip
    """A row for which something may have been asked, in SI."""
    wanted = in_unit(asked, factor)
    kept = None if wanted is None else stands is None or stands >= wanted
    change = None if measure is None else change_for(proof, measure)
    measured = "margin" if what == "steady wind" else "room"
    return Verdict(
        what, unit, stands, wanted, kept, row, how, change, measured=measured
    )
