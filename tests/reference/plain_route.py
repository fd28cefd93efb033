"""The best way of a point mass or a single-track car up a circular wall, by optimal control of its own.

It shares nothing with the package. Direct collocation by the trapezoidal rule, solved by an interior-point
method through `casadi`.

States by the share u of a given length: place round the section S, course chi, path curvature kappa; control:
kappa's slope. The speed may be paid for height with the coasting share c. The margin of a point is 1 less the
force across and along the path over friction times the press, of the axle that uses most; the least one is
raised. Single track: M. Mitschke and H. Wallentowitz, Dynamik der Kraftfahrzeuge, chapter on the linear
single-track model, from memory; the balances of forces and of yaw moments in two lines below.
"""

from __future__ import annotations

from dataclasses import dataclass

import casadi as ca
import numpy as np

G = 9.80665


@dataclass(frozen=True)
class PointMass:
    """Mass, kg; friction; areas of downforce and drag, m2; air density, kg/m3."""

    mass: float
    friction: float
    down_area: float
    drag_area: float
    density: float = 1.2

    def forces(self, radius, place, course, curvature, speed2, share):  # type: ignore[no-untyped-def]
        """Along, across and towards the surface, N. Works on numbers, arrays and casadi's symbols alike."""
        angle = place / radius
        lib = np if isinstance(place, np.ndarray | float) else ca
        pull = self.mass * G * lib.sin(angle)
        dynamic = 0.5 * self.density * speed2
        along = dynamic * self.drag_area + (1.0 - share) * pull * lib.sin(
            course
        )
        across = self.mass * speed2 * curvature + pull * lib.cos(course)
        press = self.mass * (
            G * lib.cos(angle) + speed2 * lib.sin(course) ** 2 / radius
        )
        return along, across, press + dynamic * self.down_area

    def axles(self, radius, place, course, curvature, speed2, share, yaw):  # type: ignore[no-untyped-def]
        """Along, across and towards the surface for each axle, N: all wheels as one."""
        return [self.forces(radius, place, course, curvature, speed2, share)]

    def margin(self, radius, place, course, curvature, speed2, share, yaw=0.0):  # type: ignore[no-untyped-def]
        """1 - force / (friction x press), of the axle that uses most."""
        axles = self.axles(radius, place, course, curvature, speed2, share, yaw)
        uses = [
            np.hypot(along, across) / (self.friction * press)
            for along, across, press in axles
        ]
        return 1.0 - np.max(uses, axis=0)


@dataclass(frozen=True)
class SingleTrack(PointMass):
    """Two axles with a wheelbase, m, the front one's share of the weight, and a yaw inertia, kgm2.

    CG on the surface, the air's press in the middle of the wheelbase, the force along even on both. Lateral
    forces from the balances across and in yaw.
    """

    wheelbase: float = 2.6
    front_weight: float = 0.5
    yaw_inertia: float = 0.0

    def axles(self, radius, place, course, curvature, speed2, share, yaw):  # type: ignore[no-untyped-def]
        """Front and rear: along, across and towards the surface, N; `yaw`: yaw acceleration, rad/s2."""
        along, across, press = self.forces(
            radius, place, course, curvature, speed2, share
        )
        air = 0.5 * self.density * speed2 * self.down_area
        turned = self.yaw_inertia * yaw / self.wheelbase
        return [
            (
                0.5 * along,
                weight * across + side * turned,
                weight * (press - air) + 0.5 * air,
            )
            for weight, side in (
                (self.front_weight, 1.0),
                (1.0 - self.front_weight, -1.0),
            )
        ]


def best_climb(
    car: PointMass,
    radius: float,
    top: float,
    speed: float,
    length: float,
    nodes: int = 60,
) -> tuple[float, np.ndarray]:
    """Highest least margin of a climb from the floor to `top`, rad, within a length, m; and its courses."""
    problem = ca.Opti()
    place = problem.variable(nodes + 1)
    course = problem.variable(nodes + 1)
    curvature = problem.variable(nodes + 1)
    slope = problem.variable(nodes + 1)
    share = problem.variable()
    way = problem.variable()
    least = problem.variable()
    step = way / nodes
    for k in range(nodes):
        for state, rate in (
            (place, ca.sin(course)),
            (course, curvature),
            (curvature, slope),
        ):
            problem.subject_to(
                state[k + 1] == state[k] + 0.5 * step * (rate[k] + rate[k + 1])
            )
    for k in range(nodes + 1):
        height = radius * (1.0 - ca.cos(place[k] / radius))
        speed2 = speed**2 - 2.0 * G * share * height
        slowing = -share * G * ca.sin(place[k] / radius) * ca.sin(course[k])
        yaw = speed2 * slope[k] + slowing * curvature[k]
        at = (radius, place[k], course[k], curvature[k], speed2, share, yaw)
        for along, across, press in car.axles(*at):
            grip = (1.0 - least) * car.friction * press
            problem.subject_to((along**2 + across**2) / 1e8 <= grip**2 / 1e8)
            problem.subject_to(press >= 0.0)
    problem.subject_to(
        [
            place[0] == 0,
            course[0] == 0,
            curvature[0] == 0,
            place[nodes] == radius * top,
        ]
    )
    problem.subject_to(
        [problem.bounded(0, share, 1), problem.bounded(0, course, 0.7)]
    )
    problem.subject_to([least <= 1, way <= length])
    problem.set_initial(place, np.linspace(0.0, radius * top, nodes + 1))
    problem.set_initial(course, np.arcsin(min(0.69, radius * top / length)))
    problem.set_initial(way, length)
    problem.set_initial(share, 0.3)
    problem.minimize(-least)
    problem.solver(
        "ipopt",
        {"print_time": False},
        {"print_level": 0, "sb": "yes", "max_iter": 500},
    )
    found = problem.solve()
    return float(found.value(least)), np.asarray(found.value(course))
