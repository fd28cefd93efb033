"""The car's model once more, as plain as it can be written: the outside check of the package.

Sections 1 to 8 of the model, one case at a time, in scalar Python with adaptive quadrature. It
shares no code with the package. It takes what a TOML reader returns, in file units; inside all is
SI and radians. Nothing here is written for speed.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np
from plain_car import DEG, MM, Car, Point, Stand, Table, read_car, read_radius, read_stand
from plain_forces import (
    State,
    Wheel,
    axle_pairs,
    downforce,
    floor_gap,
    residual,
    set_forces,
    standing_wheels,
)
from scipy.optimize import brentq, root

WHEELS = ("fl", "fr", "rl", "rr")
SOLVED = 1e-12  # largest residual over the weight
MOST_USE = 100.0  # of grip, by an axle in the air
SCALE = 1e-3  # the solver counts in mm and mrad
EASED = ("roll_angle_deg", "acceleration_m_s2", "path_curvature_per_m")
FLAT = {"turn_radius_m": 0.0, "radius_mm": None}
FIELDS = [
    "margin",
    "use_front",
    "use_rear",
    "first_axle",
    "front_gap_mm",
    "rear_gap_mm",
    "downforce_N",
    "drag_N",
    "heave_mm",
    "pitch_deg",
    "body_roll_deg",
    "least_clearance_mm",
    "travel_left_mm",
    "x",
    "residual",
]
WHEEL_FIELDS = ("load_{}_N", "grip_{}_N", "inclination_{}_deg", "patch_{}_mm2")


# --- finding the equilibrium ------------------------------------------------------------------


def solve_case(
    car: Table,
    venue: Table,
    setup: Table,
    case: Table,
    start: State | None = None,
    *,
    as_printed: bool = False,
) -> Table:
    """One load case in file units: the fields of a case, the unknowns `x` and the `residual`.

    `as_printed` leaves out the moment of the sprung mass's own offset along the car.
    """
    si_car = read_car(car, setup, venue["venue"]["surface_grip"])
    balance = Balance(si_car, venue, case, as_printed)
    state = balance.solve(start)
    if state is None:
        return dict.fromkeys(field_names()) | {"contact": False}
    return report(si_car, balance.stand(), state) | {"residual": balance.error(state)}


@dataclass(frozen=True)
class Balance:
    """A case's equilibrium as a root to be found."""

    car: Car
    venue: Table
    case: Table
    as_printed: bool

    def stand(self) -> Stand:
        return read_stand(self.car, self.venue, self.case)

    def missing(self, state: State) -> np.ndarray:
        return np.array(residual(self.car, self.stand(), state, self.as_printed))

    def error(self, state: State) -> float:
        return float(max(abs(self.missing(state))))

    def solve(self, start: State | None) -> list[float] | None:
        if start is not None:
            return self.settle(start)
        return self.settle([0.0] * 7) or self.settle(self.resting()) or self.led_up()

    def resting(self) -> list[float]:
        """The pad state laid onto this surface: every wheel touches, so none can run away."""
        wheels = standing_wheels(self.car, self.stand(), [0.0] * 7)
        fl, fr, rl, rr = grounds = [wheel.ground for wheel in wheels]
        theta = (rl + rr - fl - fr) / 2 / self.car.wheelbase
        phi_b = (fl - fr + rl - rr) / 2 / (wheels[0].y - wheels[1].y)
        return [sum(grounds) / 4, theta, phi_b, *grounds]

    def led_up(self, step: float = 0.2, least_step: float = 0.002) -> list[float] | None:
        """From the pad, state after state: the air (0 to 1), then all the rest (1 to 2)."""
        state, done = [0.0] * 7, 0.0
        while done < 2 and step > least_step:
            ahead = min(2.0, done + step)
            found = self.eased(min(1.0, ahead), max(0.0, ahead - 1)).settle(state)
            if found is None:
                step /= 2
            else:
                state, done, step = found, ahead, step * 1.5
        return state if done == 2 else None

    def eased(self, air: float, rest: float) -> "Balance":
        """The same case with a part of the air's density and a part of all else that moves it."""
        place = self.venue["venue"]
        thin = place | {"air_density_kg_m3": air * place["air_density_kg_m3"]}
        parts = {key: rest * self.case.get(key, 0.0) for key in EASED}
        parts["bump_mm"] = [rest * bump for bump in self.case.get("bump_mm", [0.0] * 4)]
        turn, radius = self.case.get("turn_radius_m") or 0.0, read_radius(place, self.case) / MM
        parts |= {"turn_radius_m": turn / rest, "radius_mm": radius / rest} if rest else FLAT
        return replace(self, venue={"venue": thin}, case=self.case | parts)

    def settle(self, start: State) -> list[float] | None:
        found = root(lambda q: self.missing(q * SCALE), np.array(start) / SCALE, options={"eps": 1e-10})
        best = min(self.polished(found.x * SCALE), key=self.error)
        return best.tolist() if self.error(best) < SOLVED and self.stands(best) else None

    def stands(self, state: np.ndarray) -> bool:
        """A car about to tip over balances as well, but any push ends it: det(-J) < 0."""
        wheels = standing_wheels(self.car, self.stand(), state)
        return any(w.load > 0 for w in wheels) and np.linalg.det(-self.jacobian(state)) > 0

    def polished(self, state: np.ndarray) -> Iterator[np.ndarray]:
        """The state and what a few Newton steps make of it."""
        yield state
        for _ in range(4):
            if self.error(state) < SOLVED / 10 or self.error(state) > 1e-2:
                return
            state = state - np.linalg.lstsq(self.jacobian(state), self.missing(state))[0]
            yield state

    def jacobian(self, state: np.ndarray, step: float = 1e-8) -> np.ndarray:
        shifts = step * np.eye(7)
        slopes = [self.missing(state + s) - self.missing(state - s) for s in shifts]
        return np.array(slopes).T / (2 * step)


# --- margin and the fields of a case ----------------------------------------------------------


def axle_use(side: float, tractive: float, grips: list[float], open_differential: bool) -> float:
    """Force asked of an axle over the force it has."""
    if open_differential and tractive > 0:
        factor = open_reserve(abs(side), tractive, grips)
        return min(MOST_USE, 1 / factor) if factor > 0 else MOST_USE
    total = sum(grips)
    return min(MOST_USE, hypot(side, tractive) / total) if total > 0 else MOST_USE


def open_reserve(side: float, tractive: float, grips: list[float]) -> float:
    """How many times side and drive fit into the wheels' grip, each wheel driving one half."""

    def spare(factor: float) -> float:
        drive = factor * tractive / 2
        return sum(sqrt(max(0.0, grip**2 - drive**2)) for grip in grips) - factor * side

    spinning = 2 * min(grips) / tractive
    if spare(spinning) >= 0:
        return spinning
    return brentq(spare, 0.0, spinning, xtol=1e-16, rtol=1e-14)


def field_names() -> list[str]:
    return [name.format(wheel) for name in WHEEL_FIELDS for wheel in WHEELS] + FIELDS


def report(car: Car, stand: Stand, state: State) -> Table:
    wheels = standing_wheels(car, stand, state)
    grips = [wheel.grip() for wheel in wheels]
    return (
        {"contact": True, "x": list(state)}
        | report_wheels(wheels, grips)
        | report_margin(car, stand, wheels, grips)
        | report_body(car, stand, state, wheels)
    )


def report_wheels(wheels: list[Wheel], grips: list[float]) -> Table:
    fields: Table = {}
    for name, wheel, grip in zip(WHEELS, wheels, grips, strict=True):
        fields[f"load_{name}_N"] = wheel.load
        fields[f"grip_{name}_N"] = grip
        fields[f"inclination_{name}_deg"] = wheel.patch.tilt / DEG
        fields[f"patch_{name}_mm2"] = wheel.patch.area() / MM**2
    return fields


def report_margin(car: Car, stand: Stand, wheels: list[Wheel], grips: list[float]) -> Table:
    tractive = set_forces(car, stand).tractive
    sides = [sum(wheel.side for wheel in pair) for pair in axle_pairs(wheels)]
    pairs = (grips[:2], grips[2:])
    uses = [axle_use(sides[i], tractive[i], pairs[i], car.open_differential) for i in (0, 1)]
    return {
        "margin": 1 - max(uses),
        "use_front": uses[0],
        "use_rear": uses[1],
        "first_axle": "front" if uses[0] >= uses[1] else "rear",
    }


def report_body(car: Car, stand: Stand, state: State, wheels: list[Wheel]) -> Table:
    def gap_mm(point: Point) -> float:
        return floor_gap(stand, state, point) / MM

    front, rear = car.ride_points
    spare = [min(w.axle.bump_travel - w.travel, w.travel + w.axle.droop_travel) for w in wheels]
    return {
        "front_gap_mm": gap_mm(front),
        "rear_gap_mm": gap_mm(rear),
        "downforce_N": downforce(car, stand, state).force,
        "drag_N": set_forces(car, stand).drag,
        "heave_mm": state[0] / MM,
        "pitch_deg": state[1] / DEG,
        "body_roll_deg": state[2] / DEG,
        "least_clearance_mm": min(map(gap_mm, car.clearance_points), default=None),
        "travel_left_mm": min(spare) / MM,
    }
