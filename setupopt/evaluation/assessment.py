"""An assessment: the result of one setup with its losses and broken limits. `report.assess` makes it text."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.losses import LossBudget, loss_budget
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Field, Result, finite, html_table
from setupopt.evaluation.ride_modes import RideModes, ride_modes
from setupopt.evaluation.sensitivity import Sensitivity, sensitivities
from setupopt.evaluation.summary import by_angle, wheels_in_air
from setupopt.evaluation.would_hold import WouldHold, would_hold
from setupopt.physics.inputs import Record
from setupopt.physics.stability import REACTION, STEADY
from setupopt.project.csv_write import frame_text
from setupopt.project.model import Car, Project
from setupopt.project.static_checks import tyre_groups
from setupopt.units import KPA


@dataclass(frozen=True)
class Assessment:
    """One setup of a project in all its cases. `floor`: the required minimum margin, None without one.

    `ride`: frequencies and damping; None where no case has a trim or car.toml lacks dampers or inertias.
    """

    project: Project
    result: Result
    budget: LossBudget
    broken: tuple[Broken, ...]
    floor: float | None
    ride: RideModes | None

    @property
    def worst(self) -> int:
        """Row of the worst case; a lost one is worse than any other."""
        return int(self.result.worst[0])

    @cached_property
    def worst_fields(self) -> Field:
        """The worst case's row of the case table."""
        return self.result.fields(self.worst)

    @property
    def worst_answer(self) -> Record:
        """The worst case's ANSWER record."""
        return self.result.answers[0][self.worst]

    @property
    def margin(self) -> float | None:
        """Worst margin; None where contact is lost in any case."""
        return finite(self.result.worst_margin[0])

    @property
    def is_under_floor(self) -> bool:
        """Whether a minimum margin is required and not reached; a lost case reaches none."""
        return self.floor is not None and (
            self.margin is None or self.margin < self.floor
        )

    @property
    def holds(self) -> bool:
        """Whether no case slides or loses contact, every limit is kept and any minimum margin is reached."""
        is_held = self.margin is not None and self.margin >= 0.0
        return is_held and not self.broken and not self.is_under_floor

    @cached_property
    def sensitivities(self) -> tuple[Sensitivity, ...]:
        """What each uncertain input of the car does to the worst margin, the one that matters most first."""
        return sensitivities(self.project, self.result)

    def _repr_html_(self) -> str:
        """For notebooks: the worst attitude at every roll angle."""
        return html_table(by_angle(self.result))

    @cached_property
    def would_hold(self) -> WouldHold | None:
        """What would hold a setup that slides or loses contact; None for one that holds."""
        return would_hold(self.project, self.result)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """Those of the project's files, then those that only the solved cases show."""
        solved = (
            *_low_pressures(self.project.car, self.result),
            *_two_positions(self.result),
            *_hardly_held(self.project.car, self.result),
        )
        ride = () if self.ride is None else self.ride.cautions
        return (*self.project.cautions, *solved, *ride)

    def as_dict(self) -> Field:
        """For scripts; plain Python values, None for what has no answer."""
        return {
            "worst": self.worst_fields,
            "by_angle": by_angle(self.result),
            "cases": len(self.result.cases),
            "contact_lost": self.result.lost(),
            "slides": self.result.sliding(),
            "wheels_in_air": [
                asdict(row) for row in wheels_in_air(self.result)
            ],
            "limits_broken": [asdict(limit) for limit in self.broken],
            "would_hold": self.would_hold and asdict(self.would_hold),
            "cautions": list(self.cautions),
            "assumed": list(self.project.assumed),
            "losses": _losses(self.budget),
            "ride_modes": None if self.ride is None else self.ride.rows,
            "floor": self.floor,
        }


def _low_pressures(car: Car, result: Result) -> Iterator[str]:
    """Cases in which the friction law is used at contact pressures under the one it was measured at.

    A tyre with a least pressure is clamped there; one without it gains friction without end.
    """
    answers = result.answers[0]
    has_trim = is_judged(answers)[:, None]
    patch = np.where(
        has_trim & (answers["patch"] > 0.0), answers["patch"], np.nan
    )
    pressure = answers["load"] / patch
    for wheels, axle, tyre in tyre_groups(car):
        own = pressure[:, wheels]
        low = (own < tyre.friction_pressure).any(axis=1)
        if (
            tyre.friction_exponent > 0.0
            and tyre.friction_least_pressure == 0.0
            and low.any()
        ):
            yield (
                f"car.toml tyre.{tyre.name}: in {low.sum()} of {low.size} cases the mean contact pressure of "
                f"a {axle} wheel lies under friction_pressure_kPa ({np.nanmin(own) / KPA:.0f} kPa "
                f"at the least, {tyre.friction_pressure / KPA:.0f} kPa in the file); the higher friction "
                "there is extrapolated, not measured: give friction_least_pressure_kPa"
            )


def _two_positions(result: Result) -> Iterator[str]:
    """Cases that have two trims at full friction: the answer is that of the lower margin."""
    if result.higher is None:
        return
    gain = np.nan_to_num(result.higher[0] - result.margin[0])
    if gain.any():
        row = int(gain.argmax())
        case = result.fields(row)
        yield (
            f"in {np.count_nonzero(gain)} of {gain.size} cases the car has two positions, and the lower "
            f"margin counts: at {case['roll_angle_deg']:g} deg, {case['attitude']}, it is "
            f"{result.margin[0, row]:.4f} in one and {result.higher[0, row]:.4f} in the other"
        )


def _hardly_held(car: Car, result: Result) -> Iterator[str]:
    """Cases that the car leaves faster than a driver with his reaction time can bring it back."""
    growth = np.nan_to_num(result.answers["growth"][0])
    reaction = car.driver_reaction or REACTION
    fast = growth * reaction > STEADY
    if fast.any():
        row = int(growth.argmax())
        case = result.fields(row)
        yield (
            f"in {np.count_nonzero(fast)} of {fast.size} cases a sideways motion grows faster than "
            f"{STEADY / reaction:.1f} 1/s, the fastest at {growth[row]:.1f} 1/s at "
            f"{case['roll_angle_deg']:g} deg, {case['attitude']}: a driver who reacts after "
            f"{reaction:g} s hardly holds that"
        )


def _losses(budget: LossBudget) -> list[dict[str, Any]]:
    return [asdict(loss) for loss in budget.losses]


def assess(
    project: Project,
    cases: CaseSet | None = None,
    floor: float | None = None,
    progress: Callable[[int], object] | None = None,
) -> Assessment:
    """The project's setup in `cases`, or in the venue's sweep. Raises UserError for impossible cases."""
    model = Model(project.car)
    settings = model.settings(project.setup)
    chosen = cases or sweep_cases(project.venue)
    result = model.run(settings, chosen, progress=progress, growth=True)
    budget = loss_budget(model, settings, chosen, int(result.worst[0]))
    limits = broken(project, project.setup, result)
    return Assessment(
        project, result, budget, limits, floor, ride_modes(project, result)
    )


def csv_text(result: Result) -> str:
    """The case table as CSV: numbers in full, true or false, nothing where there is no answer."""
    table = result.frame()
    table["contact"] = np.where(table["contact"], "true", "false")
    return frame_text(table)
