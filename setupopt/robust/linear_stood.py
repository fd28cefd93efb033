"""How much of a bump, a seam, a gust and the road a car stands by its linear equations of motion.

About a trim, with slip that lags (physics/ride_motion.py) and a driver who answers late. It is the first
answer, for a search: a tyre that lifts, a stop and full sliding are no straight line. Rides decide.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from setupopt.evaluation.motion import Motion, motion_at
from setupopt.evaluation.ride_modes import damping_records
from setupopt.physics.contacts import columns
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.ride_motion import FORWARD, MOTION, motion_rates
from setupopt.physics.slopes import LOADS
from setupopt.project.limits_model import Disturbed, Require, disturbed
from setupopt.project.model import Project
from setupopt.robust.driver import PLANAR, REACTION, planar
from setupopt.robust.linear_march import SAMPLES, STEP, lasting, marched
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.spectrum import Contacts, Road
from setupopt.robust.road.waves import Complex, Waves, under, waves
from setupopt.units import DEG

# By name: the field of Require, and the disturbance's unit in SI: one metre, one m/s, the road as it is.
KINDS = ("bump", "seam", "gust", "road")
# What is looked at of each: obstacles of unit height, as long as `prove` looks at (8 m, mostly the worst);
# seconds that a gust takes to pass, and where it comes from, rad: the left and the right; the road.
VARIANTS: dict[str, list[Any]] = {
    "bump": [
        Obstacle(1.0, length, track)
        for length in (1.0, 3.5, 8.0)
        for track in range(3)
    ],
    "seam": [
        Obstacle(way, 0.05, track, is_seam=True)
        for way in (1.0, -1.0)
        for track in range(3)
    ],
    "gust": [
        (passing, way * 0.5 * np.pi)
        for passing in (0.25, 1.0)
        for way in (1.0, -1.0)
    ],
    "road": [None],
}
# A random road is stood where so many rms are: of the peaks of a narrow band one in 2,000 is higher.
_SIGMAS = 3.9
_WAVES = 81
# A driver weighs an error of what is allowed like a steer angle of this, rad.
_STEER = 3.0 * DEG
_MOST = 1e3  # times; more is not told apart
_HELD = 1e-9


class Answer(NamedTuple):
    """The linear car with its driver: x' = `law` x + `road` e + `road_speed` e' + `wind` gust (ahead, left).

    `seen` (6, states): drift, sideslip and the four wheel loads; `seen_road` (6, columns) what the road adds.
    """

    law: Floats
    road: Floats
    road_speed: Floats
    wind: Floats
    seen: Floats
    seen_road: Floats
    loads: Floats
    contacts: Contacts
    speed: float
    gap: float  # m, of all wheels that are off the surface in the trim

    def met(self, road: Waves) -> tuple[Complex, Any, Complex]:
        """Waves as each contact meets them, (points, contacts, halves), the rates at which they come, 1/s,
        and what they push x' by, (points, states, halves).
        """
        heights = under(self.contacts, road)
        rate = 2j * np.pi * self.speed * road.wavenumber[:, None, None]
        push = self.road @ heights + rate * (self.road_speed @ heights[:, :4])
        return heights, rate, push


@dataclass(frozen=True)
class LinearStood:
    """Disturbances stood by a project's car, of the kinds that `asked` names."""

    project: Project
    asked: Require

    @property
    def kinds(self) -> tuple[str, ...]:
        """Those that are asked, in the order of KINDS."""
        return tuple(kind for kind in KINDS if getattr(self.asked, kind))

    @property
    def allowed(self) -> Disturbed:
        """What a disturbed car may do."""
        return disturbed(self.project.limits)

    @property
    def _reaction(self) -> float:
        return self.project.car.driver_reaction or REACTION

    def linear(
        self,
        packed: tuple[Records, Records, Records],
        setting: Record,
        setup: Record,
        case: Record,
        base: Record,
    ) -> Answer:
        """The linear car about `base`, an ANSWER with a trim at full friction.

        `packed`: VEHICLE, ELEMENT and POINT of this setup; its SETTING and SETUP records, and a CASE. Raises
        InputError where car.toml lacks dampers or inertias.
        """
        damping = damping_records(self.project, setup, packed[0])
        motion = motion_at(packed, setting, case, damping, base)
        slopes = motion.slopes()
        return self._car(motion, packed, base, slopes, self._gains(slopes))

    def of_ride(self, model: RideModel, row: int) -> Answer:
        """The linear car of one case of a ride model, with the driver who rides."""
        loop = model.loop(row)
        gains = np.append(loop.driver.gains, 0.0)
        motion = model.motion(row)
        base = model.base(row)[0]
        return self._car(motion, model.packed, base, loop.slopes, gains)

    def stood(
        self, car: Answer, kind: str, variant: int | None = None
    ) -> tuple[float, int]:
        """How much of a disturbance is stood over what is asked, and the worst of its VARIANTS.

        With `variant`, of that one alone.
        """
        chosen = range(len(VARIANTS[kind])) if variant is None else [variant]
        each: dict[str, Callable[[Answer, list[Any]], Floats]] = {
            "bump": self.heights, "seam": self.heights, "gust": self.peaks, "road": self._road
        }  # fmt: skip
        # a car that no driver holds leaves what can be counted
        with np.errstate(over="ignore", invalid="ignore"):
            found = each[kind](
                car, [VARIANTS[kind][number] for number in chosen]
            )
        shares = np.minimum(np.nan_to_num(found), _MOST) / float(
            getattr(self.asked, kind)
        )
        worst = int(shares.argmin())
        return float(shares[worst]), chosen[worst]

    # ---- the linear car ------------------------------------------------------------------------------------

    def _car(
        self,
        motion: Motion,
        packed: tuple[Records, Records, Records],
        base: Record,
        slopes: Floats,
        gains: Floats,
    ) -> Answer:
        wide = int(columns(motion.elements))
        contacts = Contacts(*motion.contacts())
        gap = float(np.maximum(-motion.work["wheels"]["depth"], 0.0).sum())
        wind = _by_wind(motion, wide)
        kept = np.flatnonzero(np.arange(MOTION) != FORWARD)
        slow = np.searchsorted(kept, PLANAR)
        law = slopes[np.ix_(kept, kept)]
        steer = slopes[kept, MOTION]
        with_driver = _closed(law, steer, slow, gains, self._reaction)
        extra = ((0, 1), (0, 0))
        first_road = MOTION + 1
        road = np.pad(slopes[kept, first_road : first_road + wide], extra)
        road_speed = np.pad(slopes[kept, first_road + wide :], extra)
        mean, by_state, by_road = motion.outputs(packed[2], base)
        seen = np.zeros((6, len(with_driver)))
        seen[0, slow[1]] = 1.0
        seen[1, slow[3]] = 1.0 / motion.m[FORWARD]
        seen[2:, :7] = by_state[LOADS]
        seen_road = np.vstack([np.zeros((2, wide)), by_road[LOADS]])
        wind = np.pad(wind[kept], extra)
        speed = float(motion.case["speed"])
        return Answer(
            with_driver,
            road,
            road_speed,
            wind,
            seen,
            seen_road,
            mean[LOADS],
            contacts,
            speed,
            gap,
        )

    def _gains(self, slopes: Floats) -> Floats:
        """Steer per planar motion and per state of the driver's lag (5), of least cost.

        A linear-quadratic regulator by the stable half of its Hamiltonian matrix (J. E. Potter, SIAM J. Appl.
        Math. 14 (1966) 496-501).
        """
        slow, by_steer = planar(slopes)
        late = 2.0 / self._reaction
        system = np.zeros((5, 5))
        system[:4, :4], system[:4, 4], system[4, 4] = slow, by_steer, -late
        turned = np.append(-by_steer, 2.0 * late)[:, None]
        wish = np.diag(
            [self.allowed.sideslip**-2, self.allowed.drift**-2, 0.0, 0.0, 0.0]
        )
        swept = _STEER**2 * turned @ turned.T
        around = np.block(
            [[system, -swept], [-wish - _HELD * np.eye(5), -system.T]]
        )
        rates, ways = np.linalg.eig(around)
        stable = ways[:, np.argsort(rates.real)[:5]]
        ahead = np.linalg.solve(stable[:5].T, stable[5:].T).T.real
        return np.asarray(_STEER**2 * turned.T @ ahead)[0]

    # ---- what is stood -------------------------------------------------------------------------------------

    def heights(self, car: Answer, obstacles: list[Obstacle]) -> Floats:
        """Heights that are stood of obstacles of unit height, m."""
        roads = [
            one.road(car.contacts, car.speed, 2.0 * STEP) for one in obstacles
        ]
        road = np.stack([lasting(one) for one in roads], axis=1)
        speed = np.gradient(road[..., :4], STEP, axis=0)
        push = road @ car.road.T + speed @ car.road_speed.T
        states = marched(car.law, push)
        return self.judged(car, states @ car.seen.T + road @ car.seen_road.T)

    def peaks(self, car: Answer, passes: list[tuple[float, float]]) -> Floats:
        """Peaks of gusts that are stood, m/s, by the seconds they take to pass and where they come from."""
        seconds, direction = np.array(passes).T
        blows = np.stack([np.cos(direction), np.sin(direction)], axis=-1)
        seen = np.einsum("tpws,pw->tps", self.in_gusts(car, seconds), blows)
        return self.judged(car, seen)

    def in_gusts(self, car: Answer, seconds: Floats) -> Floats:
        """What is seen in gusts of 1 m/s from ahead and from the left, (times, gusts, 2, 6)."""
        times = STEP * np.arange(SAMPLES)[:, None]
        turn = np.minimum(2.0 * np.pi * times / seconds, 2.0 * np.pi)
        gust = 0.5 - 0.5 * np.cos(turn)
        push = gust[:, :, None, None] * car.wind.T
        states = marched(car.law, push.reshape(SAMPLES, -1, len(car.law)))
        return (states @ car.seen.T).reshape(*gust.shape, 2, -1)

    def judged(self, car: Answer, seen: Floats) -> Floats:
        """How much of disturbances, `seen` (times, disturbances, 6), is stood, each."""
        peak = np.maximum(np.abs(seen[..., :2]).max(axis=0), 1e-12)
        dips = np.minimum(seen[..., 2:], -1e-12)
        lifts = np.maximum(car.loads, 0.0) / -dips
        second = np.sort(lifts, axis=-1)[..., 1]
        late = round(self.allowed.airborne / STEP)
        in_air = np.sort(second, axis=0)[late]
        return np.minimum.reduce(
            [
                self.allowed.drift / peak[:, 0],
                self.allowed.sideslip / peak[:, 1],
                in_air,
            ]
        )

    def _road(self, car: Answer, _: list[None]) -> Floats:
        """How many times the venue's road, in height, is stood."""
        road = Road(self.project.venue.roughness or 0.0)
        return np.array([self.times_of(car, road)])

    def times_of(self, car: Answer, road: Road) -> float:
        """How many times a road, in height, is stood."""
        return float(self._in_rms(car, road).min()) / _SIGMAS

    def _in_rms(self, car: Answer, random: Road) -> Floats:
        """What is allowed of drift, sideslip and the lighter loads on a road, in rms (3)."""
        track = float(2.0 * np.abs(car.contacts.side[0]))
        road = waves(random, track, _WAVES)
        met, turn, push = car.met(road)
        states = np.linalg.solve(turn * np.eye(len(car.law)) - car.law, push)
        seen = car.seen @ states + car.seen_road @ met
        density = (np.abs(seen) ** 2).sum(axis=-1)
        waves_per_s = (car.speed * road.wavenumber[:, None]) ** 2
        sigma, rate = (
            np.sqrt(np.trapezoid(part, road.wavenumber, axis=0))
            for part in (density, waves_per_s * density)
        )
        sigma = np.maximum(sigma, 1e-12)
        rate = rate / sigma
        allowed = (
            np.append(
                (self.allowed.drift, self.allowed.sideslip),
                np.maximum(car.loads, 0.0),
            )
            / sigma
        )
        # A swing of amplitude A and rate n lies under -L for acos(L / A) / (pi n): how long is allowed.
        quick = np.cos(
            np.minimum(np.pi * rate[2:] * self.allowed.airborne, 0.5 * np.pi)
        )
        allowed[2:] = np.where(
            quick > _HELD, allowed[2:] / np.maximum(quick, _HELD), _MOST
        )
        return np.append(allowed[:2], np.sort(allowed[2:])[1])


def _by_wind(motion: Motion, wide: int) -> Floats:
    """Slopes of the rates by headwind and crosswind, (MOTION, 2)."""
    hold = motion.hold
    smooth, still = np.zeros(wide), np.zeros(4)
    slopes = np.zeros((MOTION, 2))
    rate = np.zeros(MOTION)
    for column, name in enumerate(("headwind", "crosswind")):
        rest = float(hold[name])
        for probe in (1e-4, -1e-4):
            hold[name] = rest + probe
            motion_rates(
                *motion[:9], smooth, still, motion.m, *motion[10:], rate
            )
            slopes[:, column] += 0.5 * rate / probe
        hold[name] = rest
    return slopes


def _closed(
    law: Floats, steer: Floats, slow: np.ndarray, gains: Floats, reaction: float
) -> Floats:
    """The law with a driver who steers -gains x motion, late as (1 - s T/2) / (1 + s T/2); one more state."""
    size = len(law)
    late = 2.0 / reaction
    whole = np.zeros((size + 1, size + 1))
    whole[:size, :size] = law
    answer = np.zeros(size + 1)
    answer[slow] = gains[:4]
    answer[size] = gains[4]
    whole[:size] += np.outer(steer, answer)
    whole[:size, size] += steer
    whole[size] -= 2.0 * late * answer
    whole[size, size] -= late
    return whole
