"""The single-track model: its worked figures, and the package on flat ground, which must reproduce it.

H. B. Pacejka, Tyre and Vehicle Dynamics, chapter 1, and J. Y. Wong, Theory of Ground Vehicles, chapter 5;
their figures are from memory, worked out again. An axle's force stands its pneumatic trail t behind the axle.
With a = a_f - t_f and b = b_r + t_r from the CG to the forces, cornering stiffness C_f, C_r of the axles:

    slip angles  alpha_f = m v^2 kappa b / (a + b) / C_f ,  alpha_r = m v^2 kappa a / (a + b) / C_r
    sideslip     beta = b_r kappa - alpha_r
    steer        delta = l kappa + alpha_f - alpha_r = l kappa + K v^2 kappa / g  (K: understeer coefficient)
    K > 0: at the characteristic speed sqrt(g l / K) steer is twice that at a crawl
    K < 0: over the critical speed sqrt(g l / -K) the car leaves its path by itself
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import sqrt

import numpy as np
import pytest
from at_trim import Bench
from cars import (
    GRAVITY,
    PLAIN_SETUP,
    evenly_driven,
    load_cases,
    plain_car,
    set_both,
    solve,
    venue,
)

from setupopt.evaluation.model import Model
from setupopt.physics.inputs import SIDESLIP, STEER
from setupopt.physics.wheel import BY_SIDESLIP
from setupopt.project.model import Car

ROUND_G = 9.81
YAW_INERTIA = 2000.0
TRACK = 1.5
# Slips of millirad: a brush gives 1 - C s / (3 mu F) of its stiffness, and friction is 30 here.
GENTLE = 0.2  # m/s2
SETUP = set_both(PLAIN_SETUP, spring=1e7)


@dataclass(frozen=True)
class SingleTrack:
    """Mass kg, wheelbase m, front share of the weight, cornering stiffness of the axles N/rad, trails m."""

    mass: float
    wheelbase: float
    front_share: float
    front: float
    rear: float
    trail_front: float = 0.0
    trail_rear: float = 0.0

    @property
    def to_front(self) -> float:
        """From the CG to the front axle's force."""
        return self.wheelbase * (1.0 - self.front_share) - self.trail_front

    @property
    def to_rear(self) -> float:
        """From the CG to the rear axle's force."""
        return self.wheelbase * self.front_share + self.trail_rear

    def slip_angles(self, lateral: float) -> tuple[float, float]:
        """Front and rear under an acceleration."""
        arms = self.to_front + self.to_rear
        force = self.mass * lateral
        return (
            force * self.to_rear / arms / self.front,
            force * self.to_front / arms / self.rear,
        )

    @property
    def understeer(self) -> float:
        """Coefficient, rad per g."""
        front, rear = self.slip_angles(GRAVITY)
        return front - rear

    def growth(self, speed: float) -> float:
        """Largest real part of the eigenvalues of sideways and yaw motion, 1/s."""
        a, b, v = self.to_front, self.to_rear, speed
        a_axle, b_axle = (
            self.wheelbase * (1.0 - self.front_share),
            self.wheelbase * self.front_share,
        )
        f, r = self.front, self.rear
        matrix = [
            [
                -(f + r) / (self.mass * v),
                -v - (a_axle * f - b_axle * r) / (self.mass * v),
            ],
            [
                -(a * f - b * r) / (YAW_INERTIA * v),
                -(a * a_axle * f + b * b_axle * r) / (YAW_INERTIA * v),
            ],
        ]
        return float(np.linalg.eigvals(np.array(matrix)).real.max())


PACEJKA = SingleTrack(1600.0, 3.0, 1.6 / 3.0, 60e3, 60e3)
WONG = SingleTrack(20_105.0 / ROUND_G, 2.8, 0.535, 2 * 38.92e3, 2 * 38.25e3)


def test_worked_figures_of_pacejka() -> None:
    """Table 1.1: axle loads 8371 and 7325 N (g = 9.81), 0.0174 rad, static margin 0.0333. Half a digit."""
    front = PACEJKA.mass * ROUND_G * PACEJKA.front_share
    assert front == pytest.approx(8371.0, abs=0.6)
    assert PACEJKA.mass * ROUND_G - front == pytest.approx(7325.0, abs=0.6)
    assert PACEJKA.understeer == pytest.approx(0.0174, abs=5e-5)
    f, r = PACEJKA.front, PACEJKA.rear
    margin = (PACEJKA.to_rear * r - PACEJKA.to_front * f) / (
        PACEJKA.wheelbase * (f + r)
    )
    assert margin == pytest.approx(0.0333, abs=5e-5)


def test_worked_figures_of_wong() -> None:
    """Example 5.1: 0.0160 rad and 149 km/h. Half a digit each."""
    assert WONG.understeer * ROUND_G / GRAVITY == pytest.approx(
        0.0160, abs=5e-5
    )
    speed = sqrt(ROUND_G * WONG.wheelbase / 0.0160)
    assert 3.6 * speed == pytest.approx(149.0, abs=0.5)


def low_car(track: SingleTrack, shear: tuple[float, float]) -> Car:
    """CG on the road, hard springs and tread, so much friction that nothing slides."""
    car = evenly_driven(
        plain_car(
            mass=track.mass,
            cg_height=1e-3,
            track=TRACK,
            friction=30.0,
            area=0.0,
        )
    )
    car = replace(car, wheelbase=track.wheelbase, front_share=track.front_share)
    car = replace(
        car,
        yaw_inertia=YAW_INERTIA,
        pitch_inertia=YAW_INERTIA,
        roll_inertia=300.0,
    )
    tyre = replace(car.front.tyre, foundation=2e8)
    front = replace(
        car.front, tyre=replace(tyre, shear_per_foundation=shear[0])
    )
    rear = replace(car.rear, tyre=replace(tyre, shear_per_foundation=shear[1]))
    return replace(car, front=front, rear=rear)


@cache
def matched(track: SingleTrack) -> tuple[Car, SingleTrack]:
    """The package's car with these cornering stiffnesses, and the single track with its trails too.

    Stiffness and trail are the slopes of a straight trim's forces by sideslip; the first goes with the shear.
    """
    shear = (1.0, 1.0)
    for _ in range(4):
        car = low_car(track, shear)
        b = Bench(car, SETUP, load_cases(venue(), speed=20.0))
        wheels = b.forces(
            solve(car, SETUP, speed=20.0).answers[0, 0]["state"]
        ).wheels
        front, rear = (
            -wheels.across_slope[:, BY_SIDESLIP].reshape(2, 2).sum(axis=1)
        )
        shear = (shear[0] * track.front / front, shear[1] * track.rear / rear)
    trails = wheels.aligning_slope[:, BY_SIDESLIP].reshape(2, 2).sum(axis=1) / (
        front,
        rear,
    )
    assert (front, rear) == pytest.approx((track.front, track.rear), rel=1e-6)
    return car, replace(
        track, trail_front=float(trails[0]), trail_rear=float(trails[1])
    )


@pytest.mark.parametrize("track", [PACEJKA, WONG], ids=["Pacejka", "Wong"])
@pytest.mark.parametrize("speed", [10.0, 20.0, 40.0])
def test_steady_bend_is_the_single_tracks(
    track: SingleTrack, speed: float
) -> None:
    """Steer and sideslip in a bend at 0.2 m/s2, to 5e-4 of the slip angles that make them up.

    The brush is that much below its stiffness at these slips, and the bend yaws the patches a little.
    """
    car, like = matched(track)
    bend = GENTLE / speed**2
    state = solve(car, SETUP, speed=speed, path_curvature=bend).answers[0, 0][
        "state"
    ]
    front, rear = like.slip_angles(GENTLE)
    sideslip = like.wheelbase * like.front_share * bend - rear
    assert state[STEER] == pytest.approx(
        like.wheelbase * bend + front - rear, abs=5e-4 * front
    )
    assert state[SIDESLIP] == pytest.approx(sideslip, abs=5e-4 * front)


def understeer(track: SingleTrack) -> tuple[float, float]:
    """Coefficient of the package's car, rad per g: as it is, and less what its trails of 13 mm add."""
    car, like = matched(track)
    lateral = np.array([0.1, 0.2])
    bend = lateral / 900.0
    steer = solve(car, SETUP, speed=30.0, path_curvature=bend).answers[0][
        "state"
    ][:, STEER]
    found = float(
        np.diff(steer - like.wheelbase * bend)[0]
        / np.diff(lateral)[0]
        * GRAVITY
    )
    return found, found - (like.understeer - track.understeer)


@pytest.mark.parametrize(
    ("track", "published"),
    [(PACEJKA, 0.0174), (WONG, 0.0160)],
    ids=["Pacejka", "Wong"],
)
def test_understeer_coefficient(track: SingleTrack, published: float) -> None:
    """The slope of steer over l / rho by the acceleration is K: 0.5 %, which the brush's own curve takes.

    Less what the trails add to it, it is the books', to 1.5e-4 rad.
    """
    found, without_trails = understeer(track)
    assert found == pytest.approx(matched(track)[1].understeer, rel=5e-3)
    assert without_trails == pytest.approx(published, abs=1.5e-4)


def test_characteristic_speed() -> None:
    """At sqrt(g l / K) the same bend takes twice the steer of a crawl: 1e-3."""
    car, like = matched(PACEJKA)
    speed, bend = sqrt(GRAVITY * like.wheelbase / like.understeer), 1e-4
    steer = solve(car, SETUP, speed=speed, path_curvature=bend).answers[0, 0][
        "state"
    ][STEER]
    assert steer == pytest.approx(2.0 * like.wheelbase * bend, rel=1e-3)


def test_critical_speed() -> None:
    """A car with more of its weight behind leaves its path by itself from sqrt(g l / -K) on, and does so at
    the single track's rate, to 1 %.
    """
    car, like = matched(replace(PACEJKA, front_share=0.46))
    critical = sqrt(GRAVITY * like.wheelbase / -like.understeer)
    shares = np.array([0.97, 1.5, 2.0])
    model, cases = Model(car), load_cases(venue(), speed=critical * shares)
    growth = model.run(model.settings([SETUP]), cases, growth=True).answers[
        "growth"
    ][0]
    assert growth[0] == pytest.approx(0.0, abs=1e-3)
    assert growth[1:] == pytest.approx(
        [like.growth(critical * share) for share in shares[1:]], rel=0.01
    )
    assert growth[1] > 0.1
