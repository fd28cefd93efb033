"""The car as it was built: every wheel on its own, and the corner loads that the scales showed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import car_of
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Record
from setupopt.project.bodies import body_label
from setupopt.project.consistency import TWIST, floor_twist
from setupopt.project.measured_file import (
    BODY,
    BOTH_SIDES,
    CROSS,
    WEIGHT,
    Measured,
    ballast_key,
    clicks_key,
    wing_key,
)
from setupopt.project.model import AXLES, WHEELS, Car, Project, Setup
from setupopt.project.settings import BALANCE, SETTINGS
from setupopt.project.static_checks import corner_loads
from setupopt.project.toml_positions import quoted
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.build import BUILD, as_written, changed
from setupopt.units import MM

# Bounds within which scales, tape and car file belong together; common practice, no source. Scales and fuel
# differ by so much; more is another car, or a pad that is not level.
TOTAL = 0.02  # of the car's weight
SIDES = 0.02
FRONT = 0.01  # of the weight, front share
_LEAN = 0.001  # m; sides that differ by more get a caution. Common practice, no source
_EVEN = 1e-5  # of the weight on a diagonal: a printed sheet rounds to that
_NOTED = 0.002  # of the weight; a cross weight noted beside corner weights is rounded, and read apart


def built(
    target: Setup, measured: Measured, car: Car, left: float | None = None
) -> Record:
    """BUILD record: the target with all that was measured put into it. Raises InputError where it cannot be.

    A ride height or toe that is missing on one side counts as that on the other. Of the scales' readings only
    the cross weight counts. Their sum and their shares in front and on the left are checked; then the car's
    own are used, because the car must be at rest on the pad on which it was measured. `left`: the share that
    the scales should show on the left, None for that of the statics.
    """
    check_body(measured, target)
    check_heights(measured, car)
    whole = as_written(target)
    for setting in SETTINGS:
        name = setting.field
        values: Floats = measured.get(setting.key)
        if setting.key in BOTH_SIDES:
            # the other side's value where one side has none
            sides = values.reshape(2, 2)
            values = np.where(np.isnan(sides), sides[:, ::-1], sides).ravel()
        elif setting.per == "axle":
            values = values[::2]
        whole[name] = np.where(np.isnan(values), whole[name], values)
    _whole_car(whole, target, measured)
    whole["cross_share"] = _cross_share(
        measured, car_of(car, whole), float(whole["cross_share"]), left
    )
    return whole


def _whole_car(whole: Record, target: Setup, measured: Measured) -> None:
    """Put shares, wing angles and ballast stations into a BUILD record."""
    for setting in BALANCE[:2]:
        value = measured.get(setting.key)[0]
        if not np.isnan(value):
            whole[setting.field] = value
    slots = {
        wing_key(name): ("wing", slot)
        for slot, (name, _) in enumerate(target.wings)
    }
    slots |= {
        ballast_key(piece.name): ("station", slot)
        for slot, piece in enumerate(target.ballast)
    }
    for key, values in measured.values.items():
        if "." not in key or np.isnan(values[0]):
            continue
        if key not in slots:
            expected = "one of the target's: " + (
                ", ".join(slots) or "it has none"
            )
            raise measured.error(key, quoted(key), expected)
        field, slot = slots[key]
        whole[field][slot] = values[0]


def with_clicks(measured: Measured, project: Project) -> Measured:
    """What was measured, dampers by their rates. Raises InputError for clicks without a table, or outside."""
    values = dict(measured.values)
    for setting in SETTINGS:
        key = clicks_key(setting.field)
        clicks = measured.get(key)
        if not setting.field.startswith("damper") or np.isnan(clicks).all():
            continue
        rates = measured.get(setting.key).copy()
        for wheel in np.flatnonzero(~np.isnan(clicks)):
            table = axle_tools(project, int(wheel) // 2).clicks(setting.field)
            if clicks[wheel] not in range(len(table)):
                least = (
                    f"a whole number from 0 to {len(table) - 1}"
                    if table
                    else "a table in [adjuster]"
                )
                raise measured.error(
                    key,
                    f"{clicks[wheel]:g} clicks at {WHEELS[wheel].upper()}",
                    least,
                )
            rates[wheel] = table[int(clicks[wheel])]
        values[setting.key] = rates
    return replace(measured, values=values)


def with_own(target: Record, found: Record, car: Car) -> Record:
    """The target with the car's own dampers and shares wherever the found one has its own."""
    own: dict[str, Floats] = {}
    for setting in (*SETTINGS, *BALANCE[:2]):
        field = setting.field
        if not setting.is_optional:
            continue
        pair = (car.front, car.rear) if setting.per == "wheel" else (car,)
        each = [
            np.nan if getattr(part, field) is None else getattr(part, field)
            for part in pair
        ]
        whole = (
            np.repeat(each, 2) if setting.per == "wheel" else np.array(each[0])
        )
        own[field] = np.where(
            np.isnan(target[field]) & ~np.isnan(found[field]),
            whole,
            target[field],
        )
    return changed(target, **own)


def check_body(measured: Measured, target: Setup) -> None:
    """A body that was noted must be the target's: another one has other air loads."""
    wanted = body_label(target.body)
    if measured.body and measured.body != wanted:
        expected = f"{quoted(wanted)}, the body of the target; or another target, in the body that is on"
        raise measured.error(BODY, quoted(measured.body), expected)


def check_heights(measured: Measured, car: Car) -> None:
    """Four ride heights must lie under one rigid floor."""
    twist = abs(floor_twist(car, measured.get("ride_height_mm")))
    if twist > TWIST:
        raise measured.error(
            "ride_height_mm",
            f"heights that twist the floor by {1e3 * twist:.1f} mm from front to rear",
            f"at most {1e3 * TWIST:g} mm: measure again, pad level and bars off, or look for a bent floor",
        )


def _cross_share(
    measured: Measured, car: Car, wanted: float, left: float | None
) -> float:
    """Share of the weight on front right and rear left by the scales; as wanted where they were not read.

    The scales' own figure of the cross weight counts where corner weights are missing.
    """
    weights = measured.get(WEIGHT)
    noted = float(measured.get(CROSS)[0])
    if np.isnan(weights).any():
        return (
            wanted if np.isnan(noted) or abs(noted - wanted) < _EVEN else noted
        )
    for found, expected in _mismatches(weights, car, left):
        raise measured.error(WEIGHT, found, expected)
    cross = float((weights[1] + weights[2]) / weights.sum())
    if abs(noted - cross) > _NOTED:
        found = f"{100.0 * noted:g} % beside corner weights of which it is {100.0 * cross:.2f} %"
        raise measured.error(CROSS, found, "the same, or nothing")
    return wanted if abs(cross - wanted) < _EVEN else cross


def cautions(measured: Measured, car: Car) -> Iterator[str]:
    """What of the measured is not taken as it was read."""
    if all(np.isnan(values).all() for values in measured.values.values()):
        yield "Nothing was measured: this is the target's own margin."
    missing = np.isnan(measured.get(WEIGHT))
    if not missing.any():
        yield (
            f"The scales' {measured.get(WEIGHT).sum():.1f} kg are scaled to the car's {car.mass:g} kg; only "
            "the cross weight is taken from them."
        )
    elif not missing.all():
        yield "Corner weights are missing at some wheels; those measured are not used."
    heights = measured.get("ride_height_mm").reshape(2, 2)
    for axle, lean in zip(AXLES, heights[:, 0] - heights[:, 1], strict=True):
        if abs(lean) > _LEAN + 1e-9:
            side = "left" if lean > 0.0 else "right"
            yield f"The floor stands {abs(lean) / MM:.1f} mm higher {axle} {side}; it counts as it was read."


def _mismatches(
    weights: Floats, car: Car, wanted_left: float | None
) -> Iterator[tuple[str, str]]:
    """Why scales and car cannot belong together: what was found, what is expected."""
    fl, fr, rl, _ = weights
    total = weights.sum()
    if abs(total - car.mass) > TOTAL * car.mass:
        yield (
            f"{total:.1f} kg in all",
            f"{car.mass:g} kg within {100 * TOTAL:g} %, as car.toml says",
        )
    front = (fl + fr) / total
    if abs(front - car.front_share) > FRONT:
        expected = f"{100 * car.front_share:.1f} % within {100 * FRONT:g} points, as car.toml says"
        yield f"{100 * front:.1f} % of it on the front axle", expected
    left = (fl + rl) / total
    loads = corner_loads(car)
    wanted = (
        float(loads[0] + loads[2]) / loads.sum()
        if wanted_left is None
        else wanted_left
    )
    if abs(left - wanted) > 0.5 * SIDES:
        expected = (
            f"{100 * wanted:.1f} % within {50 * SIDES:g} points, as left_weight_percent of car.toml, which is for "
            "upright wheels, and the target's cambers and ballast say"
        )
        yield f"{100 * left:.1f} % of it on the left side", expected


def built_result(
    model: Model, builds: Sequence[Record], cases: CaseSet
) -> Result:
    """Every build, a BUILD record, in every case."""
    return model.run(model.settings(np.array(builds, BUILD)), cases)


def with_field(
    build: Record, field: str, places: Sequence[int], source: Record
) -> Record:
    """A build with some places of one field taken from another."""
    values = np.atleast_1d(build[field]).copy()
    values[list(places)] = np.atleast_1d(source[field])[list(places)]
    return changed(build, **{field: values.reshape(np.shape(build[field]))})
