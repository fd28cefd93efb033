"""The linear answer over a random road: rms of margin, load, gap and travel in every case, and crossings.

It holds while wheels keep to the surface and off their stops; rides in time stand beside it for the rest.
Crossings, and shares of the time off the surface while these are small, come out too high: a tyre pressed in
less is softer, so that load and grip fall by less than in proportion. Driven by an open differential they
may come out too low: a wheel that goes light takes the axle's limit with it, which no slope tells. A wheel
that is off the surface in the trim stays there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.integrate import simpson
from scipy.special import ndtr
from scipy.stats import norm

from setupopt.physics.inputs import Floats, Records, layout
from setupopt.physics.ride_time import SLID
from setupopt.physics.slopes import OUTPUTS
from setupopt.robust.level_crossings import chance_of_crossing, crossing_rate
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.linear_stood import Answer
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.spectrum import Road
from setupopt.robust.road.waves import Complex, Waves, waves

# What the road does to a case. margin: without road; mean_margin, sigma_margin: of the margin on the road
# (`margin_on_road`). crossing_rate: times a second that it falls through the floor; chance: that it does so
# in a run. sigma_...: rms about the mean. off_surface, on_stop: share of the time that a wheel is off the
# surface, or beyond a stop.
LINEAR = layout(
    one="margin mean_margin sigma_margin crossing_rate chance",
    axles="sigma_use sigma_gap",
    wheels="sigma_load sigma_travel off_surface on_stop",
)

POINTS = 401  # of the spectra over the road's band
_LEAST_DEVIATION = 3.0  # rms; chosen to suit rides of an example car, on roads of classes A to C
# A Gaussian by its values, in rms from the mean, and their shares.
_DEVIATION = np.linspace(-8.0, 8.0, 801)
_WEIGHT = norm.pdf(_DEVIATION) / norm.pdf(_DEVIATION).sum()
_USE, _LOAD, _GAP, _TRAVEL, _GRIP = (
    slice(0, 2),
    slice(2, 6),
    slice(6, 8),
    slice(8, 12),
    slice(12, 14),
)


# ---- moments of what is asked for --------------------------------------------------------------------------


class Slopes(NamedTuple):
    """Outputs of a trim (OUTPUTS,), and their slopes by state (OUTPUTS, 7) and by road (OUTPUTS, columns).

    In the order of physics/slopes.py, but with each axle's spare grip in the place of its capacity.
    """

    mean: Floats
    by_state: Floats
    by_road: Floats


def slopes(model: RideModel, row: int, floor: float) -> Slopes:
    """What is read off one case of a ride model. Raises ValueError where there is no ride.

    The spare grip of an axle is (1 - floor) C - F, with capacity C and force F, N: nothing where its use
    F / C is 1 - floor.
    """
    motion = model.motion(row)
    mean, by_state, by_road = motion.outputs(
        model.packed[2], model.base(row)[0]
    )
    left, capacity = 1.0 - floor - mean[_USE], mean[_GRIP].copy()
    mean[_GRIP] *= left
    for slope in (by_state, by_road):
        slope[_GRIP] = (
            left[:, None] * slope[_GRIP] - capacity[:, None] * slope[_USE]
        )
    return Slopes(mean, by_state, by_road)


def road_moments(
    car: Answer, slopes: Slopes, road: Waves
) -> tuple[Floats, Floats]:
    """Moments m0 and m2 (robust/level_crossings.py) of the outputs of a linear car, each (OUTPUTS + 1,).

    The last is that of the real cross spectrum of the two uses: in m0 their covariance.
    """
    found = road_response(car, slopes, road)
    cross = found[:, :1] * found[:, 1:2].conj()
    density = np.concatenate([np.abs(found) ** 2, cross.real], axis=1).sum(
        axis=-1
    )  # per cycle/m
    rate = (2.0 * np.pi * car.speed * road.wavenumber[:, None]) ** 2
    m0, m2 = (
        simpson(part, x=road.wavenumber, axis=0)
        for part in (density, rate * density)
    )
    return m0, m2


def road_response(car: Answer, slopes: Slopes, road: Waves) -> Complex:
    """Outputs on each half of the waves, (points, OUTPUTS, halves): of x' = law x + road e + road_speed e', by
    the modes of the law.
    """
    met, turn, push = car.met(road)
    roots, ways = np.linalg.eig(car.law)
    modes = (np.linalg.inv(ways) @ push) / (turn - roots[:, None])
    rides = slopes.by_state @ ways[: slopes.by_state.shape[1]]
    return rides @ modes + slopes.by_road @ met


# ---- what they mean ----------------------------------------------------------------------------------------


def larger_of_two(
    mean: Floats, variance: Floats, covariance: float
) -> tuple[float, float]:
    """Mean and variance of the larger of two Gaussian values, from their means and variances (2,).

    With a^2 the variance of their difference and alpha the difference of their means over a, the mean is
    m1 F(alpha) + m2 F(-alpha) + a f(alpha), and so on for the square: C. E. Clark, The greatest of a finite
    set of random variables, Oper. Res. 9 (1961) 145-162. Counted from the larger mean, which keeps the
    digits of a small variance.
    """
    most = float(mean.max())
    m1, m2 = mean - most
    a = max(float(variance.sum() - 2.0 * covariance), 1e-300) ** 0.5
    alpha = (m1 - m2) / a
    first, second, bell = ndtr(alpha), ndtr(-alpha), a * norm.pdf(alpha)
    middle = m1 * first + m2 * second + bell
    square = (
        (m1**2 + variance[0]) * first
        + (m2**2 + variance[1]) * second
        + (m1 + m2) * bell
    )
    return most + float(middle), max(float(square - middle**2), 0.0)


def margin_on_road(
    use: Floats, variance: Floats, covariance: float
) -> tuple[float, float]:
    """Mean and rms of the margin, from both axles' uses in the trim and their linear (co)variances.

    The road moves an axle's capacity, and hardly the force that is asked of it: so not the use is linear, but
    its reciprocal. The lesser of both reciprocals is taken for Gaussian, with mean and variance after Clark,
    but for its tail: it falls no further than three rms, chosen to suit rides (no source). The margin is
    counted from -1 up, as in rides. An axle that cannot lead has no part.
    """
    if use.max() <= 0.0:
        return 1.0, 0.0
    part = _may_lead(use, np.sqrt(variance))
    reserve, square = 1.0 / use[part], variance[part] / use[part] ** 4
    if part.all():
        most, least_square = larger_of_two(
            -reserve, square, covariance * float(np.prod(reserve**2))
        )
        least = -most
    else:
        least, least_square = float(reserve[0]), float(square[0])
    drawn = (
        least + np.maximum(_DEVIATION, -_LEAST_DEVIATION) * least_square**0.5
    )
    margin = 1.0 - 1.0 / np.maximum(drawn, 1.0 / (1.0 - SLID))
    mean = float(_WEIGHT @ margin)
    return mean, float(_WEIGHT @ (margin - mean) ** 2) ** 0.5


def _may_lead(use: Floats, sigma: Floats) -> np.ndarray:
    """Which axles may have the larger use, (2,): the one that has it in the trim, and one that nears it.

    A use that is small against its rms, while the larger one is not, is that of a force that comes and goes.
    """
    lead = int(use.argmax())
    is_steady = (sigma <= use) | (sigma[lead] > use[lead])
    return is_steady & (use > 0.0) & (use + 4.0 * sigma >= use[lead])


def share_under(mean: Floats, sigma: Floats) -> Floats:
    """Share of the time that Gaussian values are not above zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sigma > 0.0, ndtr(-mean / sigma), mean <= 0.0)


@dataclass(frozen=True)
class LinearRoad:
    """The linear answer of one setup over a road, as work in chunks: called with rows of its cases.

    `seconds`: of a run; `floor`: of the margin.
    """

    rides: LikelyRides
    road: Road
    seconds: float
    floor: float = 0.0
    points: int = POINTS

    def __call__(self, rows: Sequence[int] | np.ndarray) -> Records:
        """LINEAR records (rows) of some cases; not a number where there is no ride (`RideModel.rides`)."""
        model = self.rides
        track = float(model.packed[0]["y"][0, 0] - model.packed[0]["y"][0, 1])
        road = waves(self.road, track, self.points)
        answers = np.empty(len(rows), LINEAR)
        answers[...] = np.nan
        for answer, row in zip(answers, rows, strict=True):
            if model.rides(row):
                self._answer(model, int(row), road, answer)
        return answers

    def _answer(
        self, model: LikelyRides, row: int, road: Waves, answer: Records
    ) -> None:
        """Fill the record of one case."""
        read = slopes(model, row, self.floor)
        m0: Floats = np.zeros(OUTPUTS + 1)
        m2 = m0
        if model.cases.records["speed"][row] > 0.0:
            m0, m2 = road_moments(model.linear_car(row), read, road)
        answer["margin"] = model.margin[row]
        answer["mean_margin"], answer["sigma_margin"] = margin_on_road(
            read.mean[_USE], m0[_USE], float(m0[OUTPUTS])
        )
        rate = _crossings(read.mean[_GRIP], m0[_GRIP], m2[_GRIP])
        is_under = model.margin[row] < self.floor
        answer["crossing_rate"] = rate
        answer["chance"] = (
            1.0 if is_under else chance_of_crossing(rate, self.seconds)
        )
        _set_spread(
            model.packed[0][0], read.mean, np.sqrt(m0[:OUTPUTS]), answer
        )


def _crossings(spare: Floats, m0: Floats, m2: Floats) -> float:
    """Times a second that the spare grip of either axle runs out: the sum of both axles' own rates.

    Exact where one axle leads by far, else an upper bound: an axle that has run out hides the other's.
    """
    axles = zip(spare.tolist(), m0.tolist(), m2.tolist(), strict=True)
    return sum(crossing_rate(*axle) for axle in axles if axle[1] > 0.0)


def _set_spread(
    body: Records, mean: Floats, sigma: Floats, answer: Records
) -> None:
    """The rms values, and shares of the time off the surface and beyond the stops."""
    for name, part in (
        ("use", _USE),
        ("load", _LOAD),
        ("gap", _GAP),
        ("travel", _TRAVEL),
    ):
        answer[f"sigma_{name}"] = sigma[part]
    answer["off_surface"] = share_under(mean[_LOAD], sigma[_LOAD])
    to_bump, to_droop = (
        body["bump_travel"] - mean[_TRAVEL],
        body["droop_travel"] + mean[_TRAVEL],
    )
    answer["on_stop"] = share_under(to_bump, sigma[_TRAVEL]) + share_under(
        to_droop, sigma[_TRAVEL]
    )
