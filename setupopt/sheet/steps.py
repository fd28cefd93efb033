"""The steps of a change list: what each is, and what it does to the car on the pad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.physics.inputs import Record
from setupopt.project.model import AXLES, WHEELS
from setupopt.project.settings import BALANCE
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.build import changed, with_changes
from setupopt.sheet.pad_state import Pad, PadReading
from setupopt.units import DEG, MM, PERCENT


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do on the pad, in a row of its own on the list.

    `job` is one of "body", "ballast", "wing", "prepare", "pressure", "spring", "damper bump",
    "damper rebound", "anti-roll bar", "third spring", "brake balance", "drive split", "camber", "toe",
    "ride height", "finish". `where` is "front", "rear" (each side alike), a wheel ("fl" ...), a wing, a piece
    of ballast, or "" for the whole car. Only "prepare" and "finish" turn nothing; they, a body to fit and what
    was not known before have no `amount`.
    """

    number: int  # from 1
    job: str
    where: str
    what: str  # plain words for the mechanic, with units
    amount: float | None  # signed change, in `unit`; each side
    unit: str  # "turns", "mm of shim", "bar", "N/mm", "clicks", ...; without an adjuster's table "mm", "deg"
    reading: PadReading  # what the pad shows after this step
    points: tuple[str, ...] = ()  # what belongs to it, each to be ticked off
    # Size in mm and count, to add or for a negative amount to take out
    shims: tuple[tuple[float, int], ...] = ()
    exact: float | None = (
        None  # amount before rounding to what the adjuster can do
    )
    slot: int = 0  # of a wing or a piece of ballast, in the stance
    # Whether the shims that are fitted now are to be noted
    asks_stack: bool = False
    # "finish" connects: rates of the front and rear bar, and of the front and rear third spring, N/m
    connects: tuple[float, ...] = ()

    @property
    def is_read(self) -> bool:
        """Whether the readings are worth printing: the driver is aboard."""
        return self.job in ("ride height", "finish")


FIELDS = {
    "pressure": "pressure", "spring": "spring", "damper bump": "damper_bump",
    "damper rebound": "damper_rebound", "ride height": "perch", "camber": "camber", "toe": "toe",
    "brake balance": "brake_front", "drive split": "drive_front",
}  # fmt: skip
_CAR = {setting.field for setting in BALANCE}


def wheels_of(where: str) -> tuple[int, ...]:
    """The wheels of an axle, or the one wheel.

    >>> wheels_of("rear"), wheels_of("fr")
    ((2, 3), (1,))
    """
    if where in WHEELS:
        return (WHEELS.index(where),)
    first = 2 * AXLES.index(where)  # type: ignore[arg-type]
    return first, first + 1


def damper_rates(pad: Pad, stance: Record, field: str) -> np.ndarray:
    """Rates of the four dampers, N s/m; not a number where neither setup nor car.toml has one."""
    car = pad.project.car
    own = np.array(
        [
            getattr(axle, field)
            for axle in (car.front, car.front, car.rear, car.rear)
        ],
        dtype=float,
    )
    return np.where(np.isnan(stance[field]), own, stance[field])


def apply(pad: Pad, step: Step, stance: Record) -> Record:
    """The stance after a step is done on it. Bars and third springs are off from "prepare" to "finish"."""
    if step.job == "prepare":
        return changed(stance, anti_roll=np.zeros(2), third=np.zeros(2))
    if step.job == "finish":
        return changed(
            stance,
            free_travel=pad.reading(stance).travel,
            anti_roll=np.array(step.connects[:2]),
            third=np.array(step.connects[2:]),
        )
    if step.amount is None:
        return stance
    if step.job == "wing":
        return with_changes(stance, "wing", (step.slot,), step.amount * DEG)
    if step.job == "ballast":
        field, factor = ("mass", 1.0) if step.unit == "kg" else ("station", MM)
        return with_changes(stance, field, (step.slot,), step.amount * factor)
    if step.job not in FIELDS:
        return stance
    field = FIELDS[step.job]
    if field in _CAR:
        own = getattr(pad.project.car, field)
        before = own if np.isnan(stance[field]) else float(stance[field])
        return changed(
            stance, **{field: np.array(before + step.amount * PERCENT)}
        )
    return _on_wheels(pad, step, stance, field)


def _on_wheels(pad: Pad, step: Step, stance: Record, field: str) -> Record:
    """A step on wheels or on an axle."""
    wheels = wheels_of(step.where)
    axle = wheels[0] // 2
    tools = axle_tools(pad.project, axle)
    amount = float(step.amount or 0.0)
    if field.startswith("damper"):
        rates = damper_rates(pad, stance, field)
        table = tools.clicks(field)
        for wheel in wheels:
            if step.unit == "clicks":
                rates[wheel] = table[
                    tools.click(field, rates[wheel]) + round(amount)
                ]
            else:
                rates[wheel] += amount * tools.per_unit(step.unit)
        return changed(stance, **{field: rates})
    return with_changes(
        stance, field, wheels, amount * tools.per_unit(step.unit)
    )
