"""The car as it was built: every wheel on its own, and the corner loads that the scales showed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import per_wheel
from setupopt.evaluation.result import Result
from setupopt.physics import sweep
from setupopt.physics.inputs import ANSWER, SETTING, Floats, Records
from setupopt.physics.pad import set_penetration
from setupopt.project.bodies import told
from setupopt.project.measured_file import BODY, WEIGHT, Measured
from setupopt.project.model import AXLES, Car, Setup
from setupopt.project.settings import SETTINGS
from setupopt.project.toml_positions import quoted
from setupopt.units import MM

# Bounds within which scales, tape and car file belong together; common practice, no source. Scales and fuel
# differ by so much; more is another car, or a pad that is not level.
TOTAL, SIDES = 0.02, 0.02  # of the car's weight
FRONT = 0.01  # of the weight, front share
TWIST = 0.002  # m at the wheels: a floor bends by less
_LEAN = 0.001  # m; sides that differ by more are told. Common practice, no source
_EVEN = 1e-5  # of the weight on a diagonal: a printed sheet rounds to that


@dataclass(frozen=True, eq=False)
class Built:
    """One build, SI: wheels (4), axles (2); `load` (4) N on the pad, None for the even ones of the car."""

    camber: Floats
    spring: Floats
    pressure: Floats
    ride_height: Floats  # (2)
    anti_roll: Floats  # (2)
    third: Floats  # (2)
    load: Floats | None

    @classmethod
    def of(cls, setup: Setup) -> Built:
        """A setup exactly as it is written."""

        def pair(name: str) -> Floats:
            return np.array([getattr(setup.front, name), getattr(setup.rear, name)], dtype=float)

        camber, spring, pressure = (np.repeat(pair(name), 2) for name in ("camber", "spring", "pressure"))
        ride_height, anti_roll, third = (pair(name) for name in ("ride_height", "anti_roll", "third"))
        return cls(camber, spring, pressure, ride_height, anti_roll, third, None)


def built(target: Setup, measured: Measured, car: Car) -> Built:
    """The target with everything that was measured put into it. Raises InputError where it cannot be.

    Ride heights count by the mean of both sides. Of what the scales show the cross weight is taken; how much
    stands in front and on the left, and the sum, are checked and then the car's own: with anything else the
    car would not be at rest on the pad on which it was measured.
    """
    check_body(measured, target)
    check_heights(measured, car)
    whole = Built.of(target)
    found = {}
    for setting in SETTINGS:
        values = measured.get(setting.key)
        if setting.field in ("camber", "spring", "pressure"):
            found[setting.field] = np.where(np.isnan(values), getattr(whole, setting.field), values)
        elif setting.field in ("ride_height", "anti_roll", "third"):
            own = values.reshape(2, 2)[:, 0] if setting.field != "ride_height" else _mean(values)
            found[setting.field] = np.where(np.isnan(own), getattr(whole, setting.field), own)
    return Built(**found, load=_loads(measured, car))


def _mean(values: Floats) -> Floats:
    """Of both sides, or of the one that there is."""
    sides = values.reshape(2, 2)
    left, right = sides[:, 0], sides[:, 1]
    both = np.where(np.isnan(left), right, np.where(np.isnan(right), left, 0.5 * (left + right)))
    return np.asarray(both)


def check_body(measured: Measured, target: Setup) -> None:
    """A body that was noted must be the target's: another one has other air loads."""
    wanted = told(target.body)
    if measured.body and measured.body != wanted:
        expected = f"{quoted(wanted)}, the body of the target; or another target, in the body that is on"
        raise measured.error(BODY, quoted(measured.body), expected)


def check_heights(measured: Measured, car: Car) -> None:
    """Four ride heights must lie under one rigid floor."""
    fl, fr, rl, rr = measured.get("ride_height_mm")
    if np.isnan([fl, fr, rl, rr]).any():
        return
    front, rear = (fl - fr) / car.front.track, (rl - rr) / car.rear.track
    twist = abs(front - rear) * 0.5 * (car.front.track + car.rear.track)
    if twist > TWIST:
        raise measured.error(
            "ride_height_mm",
            f"heights that twist the floor by {1e3 * twist:.1f} mm from front to rear",
            f"at most {1e3 * TWIST:g} mm: measure again, pad level and bars off, or look for a bent floor",
        )


def _loads(measured: Measured, car: Car) -> Floats | None:
    """Corner loads, N, of the car's own weight; None where the scales were not read at all four wheels."""
    weights = measured.get(WEIGHT)
    if np.isnan(weights).any():
        return None
    for found, expected in _mismatches(weights, car):
        raise measured.error(WEIGHT, found, expected)
    cross = float((weights[1] + weights[2]) / weights.sum())
    return None if abs(cross - 0.5) < _EVEN else wedged(car, cross)


def wedged(car: Car, cross_share: float) -> Floats:
    """Corner loads (4), N, with so much of the weight on front right and rear left.

    A wedge loads one diagonal and relieves the other. It rolls the car over by nothing where its share on an
    axle goes as 1 over the track.
    """
    body = Model(car).packed[0]
    loads, wedge = body["static_load"][0], np.array([1.0, -1.0, -1.0, 1.0]) / np.abs(body["y"][0])
    return np.asarray(loads + (0.5 - cross_share) * loads.sum() * wedge / (wedge[0] + wedge[3]))


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


def _mismatches(weights: Floats, car: Car) -> list[tuple[str, str]]:
    """Why scales and car cannot belong together: what was found, what is expected."""
    fl, fr, rl, rr = weights
    total, said = weights.sum(), []
    if abs(total - car.mass) > TOTAL * car.mass:
        said.append((f"{total:.1f} kg in all", f"{car.mass:g} kg within {100 * TOTAL:g} %, as car.toml says"))
    front = (fl + fr) / total
    if abs(front - car.front_share) > FRONT:
        expected = f"{100 * car.front_share:.1f} % within {100 * FRONT:g} points, as car.toml says"
        said.append((f"{100 * front:.1f} % of it on the front axle", expected))
    side = (fl + rl - fr - rr) / total
    if abs(side) > SIDES:
        found = f"the left side {100 * abs(side):.1f} % of the weight {'heavier' if side > 0 else 'lighter'}"
        said.append((found, f"at most {100 * SIDES:g} %: the CG of the model lies on the centre line"))
    return said


class BuiltModel:
    """The car ready for many builds."""

    def __init__(self, car: Car) -> None:
        self.model = Model(car)

    def result(self, builds: Sequence[Built], cases: CaseSet) -> Result:
        """Every build in every case; builds with the same corner loads are solved together."""
        answers = np.zeros((len(builds), len(cases)), ANSWER)
        own = self.model.packed[0]
        for load in {id(build.load): build.load for build in builds}.values():
            places = [i for i, build in enumerate(builds) if build.load is load]
            body = own.copy()
            if load is not None:
                body["static_load"][0] = load
            settings = self._settings(body, [builds[i] for i in places])
            found = sweep.run((body, *self.model.packed[1:]), settings, cases.records)
            answers[places] = found.reshape(len(places), len(cases))
        return Result(cases, answers, own[0])

    def alone(self, build: Built, point: int, cases: CaseSet) -> Floats:
        """Gap of one floor point of a build, (cases) m; an answer otherwise tells the least of all points."""
        body, elements, points = self.model.packed
        body = body.copy()
        if build.load is not None:
            body["static_load"][0] = build.load
        car = body, elements, points[point : point + 1]
        return np.asarray(sweep.run(car, self._settings(body, [build]), cases.records)["clearance"])

    def _settings(self, body: Records, builds: Sequence[Built]) -> Records:
        """SETTING (builds), wheel by wheel."""
        car = self.model.car
        ratio = per_wheel(car, lambda axle: axle.motion_ratio)
        rise = per_wheel(car, lambda axle: axle.tyre.foundation_per_pressure)
        base = per_wheel(car, lambda axle: axle.tyre.foundation)
        rows = np.zeros(len(builds), SETTING)
        for row, build in zip(rows, builds, strict=True):
            row["camber"], row["wheel_rate"] = build.camber, build.spring * ratio**2
            row["foundation"] = base + rise * build.pressure
            row["ride_height"], row["anti_roll"], row["third"] = (
                build.ride_height,
                build.anti_roll,
                build.third,
            )
        set_penetration(body, rows)
        return rows


def with_field(build: Built, field: str, places: list[int], source: Built) -> Built:
    """A build with some places of one field taken from another; a load always as a whole."""
    if field == "load":
        return replace(build, load=source.load)
    values = getattr(build, field).copy()
    values[places] = getattr(source, field)[places]
    return replace(build, **{field: values})
