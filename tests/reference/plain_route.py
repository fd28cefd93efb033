"""The best way of a point mass up a circular wall, by an optimal-control transcription of its own.

It shares nothing with the package. Direct collocation by the trapezoidal rule, solved by an interior-point
method through `casadi`.

States by the share u of a given length: place round the section S, course chi, path curvature kappa; control:
kappa's slope. The speed may be paid for height with the coasting share c. The margin of a point is 1 less the
force across and along the path over friction times the press; the least one is raised.
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

    def margin(self, radius, place, course, curvature, speed2, share):  # type: ignore[no-untyped-def]
        """1 - force / (friction x press)."""
        along, across, press = self.forces(
            radius, place, course, curvature, speed2, share
        )
        return 1.0 - np.hypot(along, across) / (self.friction * press)


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
        along, across, press = car.forces(
            radius, place[k], course[k], curvature[k], speed2, share
        )
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
