"""The car as it was built: every wheel on its own, and the corner loads that the scales showed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import car_of
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats, Record
from setupopt.project.bodies import body_label
from setupopt.project.consistency import TWIST, floor_twist
from setupopt.project.measured_file import BODY, PER_AXLE, WEIGHT, Measured
from setupopt.project.model import AXLES, Car, Setup
from setupopt.project.settings import SETTINGS
from setupopt.project.static_checks import corner_loads
from setupopt.project.toml_positions import quoted
from setupopt.sheet.build import BUILD, as_written, changed
from setupopt.units import MM

# Bounds within which scales, tape and car file belong together; common practice, no source. Scales and fuel
# differ by so much; more is another car, or a pad that is not level.
TOTAL = 0.02  # of the car's weight
SIDES = 0.02
FRONT = 0.01  # of the weight, front share
_LEAN = 0.001  # m; sides that differ by more get a caution. Common practice, no source
_EVEN = 1e-5  # of the weight on a diagonal: a printed sheet rounds to that


def built(target: Setup, measured: Measured, car: Car) -> Record:
    """BUILD record: the target with all that was measured put into it. Raises InputError where it cannot be.

    A ride height that is missing on one side counts as that on the other. Of the scales' readings only the
    cross weight counts. Their sum and their shares in front and on the left are checked; then the car's own
    are used, because the car must be at rest on the pad on which it was measured.
    """
    check_body(measured, target)
    check_heights(measured, car)
    whole = as_written(target)
    for setting in SETTINGS:
        name = setting.field
        values: Floats = measured.get(setting.key)
        if name == "ride_height":
            values = _both_sides(values)
        elif setting.per == "axle":
            values = values[::2]
        elif setting.key in PER_AXLE:
            values = np.repeat(values[::2], 2)
        whole[name] = np.where(np.isnan(values), whole[name], values)
    whole["cross_share"] = _cross_share(measured, car_of(car, whole), float(whole["cross_share"]))
    return whole


def _both_sides(values: Floats) -> Floats:
    """The other side's value where one side has none."""
    sides = values.reshape(2, 2)
    return np.where(np.isnan(sides), sides[:, ::-1], sides).ravel()


def check_body(measured: Measured, target: Setup) -> None:
    """A body that was noted must be the target's: another one has other air loads."""
    wanted = body_label(target.body)
    if measured.body and measured.body != wanted:
        expected = f"{quoted(wanted)}, the body of the target; or another target, in the body that is on"
        raise measured.error(BODY, quoted(measured.body), expected)


def check_heights(measured: Measured, car: Car) -> None:
    """Four ride heights must lie under one rigid floor."""
    twist = floor_twist(car, measured.get("ride_height_mm"))
    if twist > TWIST:
        raise measured.error(
            "ride_height_mm",
            f"heights that twist the floor by {1e3 * twist:.1f} mm from front to rear",
            f"at most {1e3 * TWIST:g} mm: measure again, pad level and bars off, or look for a bent floor",
        )


def _cross_share(measured: Measured, car: Car, wanted: float) -> float:
    """Share of the weight on front right and rear left by the scales; as wanted where they were not read."""
    weights = measured.get(WEIGHT)
    if np.isnan(weights).any():
        return wanted
    for found, expected in _mismatches(weights, car):
        raise measured.error(WEIGHT, found, expected)
    cross = float((weights[1] + weights[2]) / weights.sum())
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


def _mismatches(weights: Floats, car: Car) -> Iterator[tuple[str, str]]:
    """Why scales and car cannot belong together: what was found, what is expected."""
    fl, fr, rl, _ = weights
    total = weights.sum()
    if abs(total - car.mass) > TOTAL * car.mass:
        yield f"{total:.1f} kg in all", f"{car.mass:g} kg within {100 * TOTAL:g} %, as car.toml says"
    front = (fl + fr) / total
    if abs(front - car.front_share) > FRONT:
        expected = f"{100 * car.front_share:.1f} % within {100 * FRONT:g} points, as car.toml says"
        yield f"{100 * front:.1f} % of it on the front axle", expected
    left = (fl + rl) / total
    loads = corner_loads(car)
    wanted = (loads[0] + loads[2]) / sum(loads)
    if abs(left - wanted) > 0.5 * SIDES:
        expected = f"{100 * wanted:.1f} % within {50 * SIDES:g} points, as car.toml says"
        yield f"{100 * left:.1f} % of it on the left side", expected


class BuiltModel:
    """The car ready for many builds."""

    def __init__(self, car: Car) -> None:
        self.model = Model(car)

    def result(self, builds: Sequence[Record], cases: CaseSet) -> Result:
        """Every build, a BUILD record, in every case."""
        return self.model.run(self.model.settings(np.array(builds, BUILD)), cases)


def with_field(build: Record, field: str, places: Sequence[int], source: Record) -> Record:
    """A build with some places of one field taken from another."""
    values = np.atleast_1d(build[field]).copy()
    values[list(places)] = np.atleast_1d(source[field])[list(places)]
    return changed(build, **{field: values.reshape(np.shape(build[field]))})
