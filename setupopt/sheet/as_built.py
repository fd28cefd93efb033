"""The car as it was built: every wheel on its own, and the corner loads that the scales showed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setupopt.evaluation import pack
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, Floats, Record
from setupopt.project.bodies import body_label
from setupopt.project.measured_file import BODY, PER_AXLE, WEIGHT, Measured
from setupopt.project.model import AXLES, Car, Setup
from setupopt.project.settings import SETTINGS
from setupopt.project.toml_positions import quoted
from setupopt.sheet.build import BUILD, as_written, changed
from setupopt.units import MM

# Bounds within which scales, tape and car file belong together; common practice, no source. Scales and fuel
# differ by so much; more is another car, or a pad that is not level.
TOTAL = 0.02  # of the car's weight
SIDES = 0.02
FRONT = 0.01  # of the weight, front share
TWIST = 0.002  # m at the wheels: a floor bends by less
_LEAN = 0.001  # m; sides that differ by more get a caution. Common practice, no source
_EVEN = 1e-5  # of the weight on a diagonal: a printed sheet rounds to that


def built(target: Setup, measured: Measured, car: Car) -> Record:
    """BUILD record: the target with all that was measured put into it. Raises InputError where it cannot be.

    Ride heights count by the mean of both sides. Of the scales' readings only the cross weight counts. Their
    sum and their shares in front and on the left are checked; then the car's own are used, because the car
    must be at rest on the pad on which it was measured.
    """
    check_body(measured, target)
    check_heights(measured, car)
    whole = as_written(target)
    for setting in SETTINGS:
        name = setting.field
        values: Floats = measured.get(setting.key)
        if name == "ride_height":
            values = _mean(values)
        elif setting.per == "axle":
            values = values[::2]
        elif setting.key in PER_AXLE:
            values = np.repeat(values[::2], 2)
        whole[name] = np.where(np.isnan(values), whole[name], values)
    whole["wedge"] = _wedge(measured, car)
    return whole


def _mean(values: Floats) -> Floats:
    """Of both sides, or of the one that there is."""
    sides = values.reshape(2, 2)
    left = sides[:, 0]
    right = sides[:, 1]
    both = np.where(np.isnan(left), right, np.where(np.isnan(right), left, 0.5 * (left + right)))
    return np.asarray(both)


def check_body(measured: Measured, target: Setup) -> None:
    """A body that was noted must be the target's: another one has other air loads."""
    wanted = body_label(target.body)
    if measured.body and measured.body != wanted:
        expected = f"{quoted(wanted)}, the body of the target; or another target, in the body that is on"
        raise measured.error(BODY, quoted(measured.body), expected)


def check_heights(measured: Measured, car: Car) -> None:
    """Four ride heights must lie under one rigid floor."""
    fl, fr, rl, rr = measured.get("ride_height_mm")
    if np.isnan([fl, fr, rl, rr]).any():
        return
    front = (fl - fr) / car.front.track
    rear = (rl - rr) / car.rear.track
    twist = abs(front - rear) * 0.5 * (car.front.track + car.rear.track)
    if twist > TWIST:
        raise measured.error(
            "ride_height_mm",
            f"heights that twist the floor by {1e3 * twist:.1f} mm from front to rear",
            f"at most {1e3 * TWIST:g} mm: measure again, pad level and bars off, or look for a bent floor",
        )


def _wedge(measured: Measured, car: Car) -> Floats:
    """Wedge of a build by the scales (4), N; none where they were not read at all four wheels."""
    weights = measured.get(WEIGHT)
    if np.isnan(weights).any():
        return np.zeros(4)
    for found, expected in _mismatches(weights, car):
        raise measured.error(WEIGHT, found, expected)
    cross = float((weights[1] + weights[2]) / weights.sum())
    return np.zeros(4) if abs(cross - 0.5) < _EVEN else wedge(car, cross)


def wedge(car: Car, cross_share: float) -> Floats:
    """Loads (4) above the even ones, N, that put so much of the weight on front right and rear left.

    A wedge loads one diagonal and relieves the other. It rolls the car over by nothing where its share on an
    axle goes as 1 over the track.
    """
    vehicle = Model(car).packed[0]
    weight = vehicle["static_load"][0].sum()
    shape = np.array([1.0, -1.0, -1.0, 1.0]) / np.abs(vehicle["y"][0])
    return np.asarray((0.5 - cross_share) * weight * shape / (shape[0] + shape[3]))


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
            yield f"The floor stands {abs(lean) / MM:.1f} mm higher {axle} {side}: the mean counts."


def _mismatches(weights: Floats, car: Car) -> Iterator[tuple[str, str]]:
    """Why scales and car cannot belong together: what was found, what is expected."""
    fl, fr, rl, rr = weights
    total = weights.sum()
    if abs(total - car.mass) > TOTAL * car.mass:
        yield f"{total:.1f} kg in all", f"{car.mass:g} kg within {100 * TOTAL:g} %, as car.toml says"
    front = (fl + fr) / total
    if abs(front - car.front_share) > FRONT:
        expected = f"{100 * car.front_share:.1f} % within {100 * FRONT:g} points, as car.toml says"
        yield f"{100 * front:.1f} % of it on the front axle", expected
    side = (fl + rl - fr - rr) / total
    if abs(side) > SIDES:
        way = "heavier" if side > 0 else "lighter"
        expected = f"at most {100 * SIDES:g} %: the CG of the model lies on the centre line"
        yield f"the left side {100 * abs(side):.1f} % of the weight {way}", expected


class BuiltModel:
    """The car ready for many builds."""

    def __init__(self, car: Car) -> None:
        self.model = Model(car)

    def result(self, builds: Sequence[Record], cases: CaseSet) -> Result:
        """Every build, a BUILD record, in every case; builds with the same wedge are solved together."""
        every = np.array(builds, BUILD)
        answers = np.zeros((len(every), len(cases)), ANSWER)
        vehicle, *air = self.model.packed
        wedges, kinds = np.unique(every["wedge"], axis=0, return_inverse=True)
        for kind, wedge_of_kind in enumerate(wedges):
            alike = kinds.ravel() == kind
            own = vehicle.copy()
            own["static_load"] += wedge_of_kind
            settings = pack.settings(self.model.car, own, every[alike])
            found = sweep.run((own, *air), settings, cases.records)
            answers[alike] = found.reshape(-1, len(cases))
        answers["growth"] = np.nan
        return Result(cases, answers, vehicle[0])

    def cross_share(self, build: Record) -> float:
        """Share of the weight on front right and rear left."""
        load = self.model.packed[0]["static_load"][0] + build["wedge"]
        return float((load[1] + load[2]) / load.sum())


def with_field(build: Record, field: str, places: Sequence[int], source: Record) -> Record:
    """A build with some places of one field taken from another."""
    values = build[field].copy()
    values[list(places)] = source[field][list(places)]
    return changed(build, **{field: values})
