"""The state of the car in one case, as a picture needs it: wheels, plates of the body, gaps, contact patches.

The view is along the venue's axis from behind, in the plane that touches the surface under the centre of
gravity: `s` round the section to the left, `z` off the surface, m (docs/model.md, the surface).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any

import numpy as np

from setupopt.evaluation.drawn_parts import Gap, Patch, Plate, Wheel
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics import surface
from setupopt.physics.balance import WORK, balance
from setupopt.physics.case_state import (
    CASE_STATE,
    ROADBED,
    prepare,
    set_heading,
)
from setupopt.physics.inputs import (
    POINT,
    RISE,
    SIDESLIP,
    STEER,
    Floats,
    Record,
)
from setupopt.physics.jit import kernel
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.model import AXLES, WHEELS, Car, Project

_ROUND, _ACROSS = 48, 9  # points of a wheel's outline
_CONTACT_POINTS = 201  # across a tread
_THIN = 8  # of them, inside the patch, from one that is drawn to the next
# station, side and offset over the floor line, m
_Point = tuple[float, float, float]


@dataclass(frozen=True)
class DrawnState:
    """The car in one case. Without `has_contact` it is shown as it stands on the setup pad.

    `slides`: there is no trim at full friction, and the car is shown with the least friction that holds it.
    `cg`: centre of gravity, s and z. `sideslip`, positive where the velocity points left of the nose, and
    `steer`, positive to the left, in rad.
    """

    has_contact: bool
    slides: bool
    sideslip: float
    steer: float
    case: Record
    wheels: tuple[Wheel, ...]
    plates: tuple[Plate, ...]
    gaps: tuple[Gap, ...]
    cg: tuple[float, float]

    def height(self, s: Floats | float) -> Floats:
        """Height of the surface at `s`, without bumps."""
        return _height(self.case, s)

    @property
    def tightest(self) -> float:
        """The largest curvature of the surface in sight, either way, 1/m."""
        return float(
            max(abs(self.case["curvature"]), np.abs(self.case["beyond"]).max())
        )


def drawn_state(project: Project, result: Result, row: int) -> DrawnState:
    """How the project's car stands in case `row` of its result."""
    case = _SolvedCase(project, result, row)
    has_contact = case.has_contact
    cg = (0.0, float(case.vehicle["cg_height"][0] + case.state[0]))
    wheels = tuple(_wheel(case, w) for w in range(4))
    gaps = tuple(_gaps(case)) if has_contact else ()
    slides = has_contact and bool(case.answers["slides"][0, 0])
    angles = (float(case.state[SIDESLIP]), float(case.state[STEER]))
    return DrawnState(
        has_contact,
        slides,
        *angles,
        case.cases[0],
        wheels,
        tuple(_plates(case)),
        gaps,
        cg,
    )


class _SolvedCase:
    """One case at its solved trim. Its forces come from the balance of the physics itself."""

    def __init__(self, project: Project, result: Result, row: int) -> None:
        model = Model(project.car)
        self.car = project.car
        self.settings = model.settings(project.setup)
        self.vehicle, self.elements, _ = model.packed_for(self.settings[0])
        self.cases = result.cases.records[row : row + 1]
        self.answers = result.answers[:1, row : row + 1].copy()
        self.has_contact = bool(self.answers["contact"][0, 0])
        if not self.has_contact:
            self.answers["state"] = 0.0
        self.state = np.ascontiguousarray(self.answers["state"][0, 0])
        self.case_state = np.zeros(1, CASE_STATE)[0]
        # stays empty of forces where contact is lost
        self.work = np.zeros(1, WORK)[0]
        self._balance()

    def _balance(self) -> None:
        road = np.zeros(self.elements.size, ROADBED)
        prepare(self.vehicle[0], self.cases[0], 0.0, self.case_state)
        set_heading(
            self.vehicle[0],
            self.cases[0],
            float(self.state[SIDESLIP]),
            self.case_state,
        )
        if not self.has_contact:
            return
        factor = 1.0
        if self.answers["slides"][0, 0]:
            factor = float(self.answers["friction_factor"][0, 0])
        x = np.append(self.state, factor)
        car = (self.vehicle[0], self.elements, self.settings[0])
        balance(*car, self.cases[0], self.case_state, road, x, self.work)

    def answer(self, name: str, w: int) -> float:
        """A wheel's answer."""
        return float(self.answers[name][0, 0, w])

    def around(self, x: Any, y: Any) -> Floats:
        """Coordinate round the section."""
        course = float(self.cases["surface_heading"][0])
        heading = course - float(self.state[SIDESLIP])
        return np.asarray(x * sin(heading) + y * cos(heading))

    def axle(self, station: float) -> int:
        """The axle that a station is nearer to."""
        return int(station > 0.5 * self.car.wheelbase)


def _height(case: Record, s: Floats | float) -> Floats:
    heights = np.array(s, dtype=float, ndmin=1)
    _to_heights(case, heights)
    return heights


@kernel
def _to_heights(case: Record, at: Floats) -> None:
    """Put the height over the tangent plane in the place of each coordinate round the section."""
    for i in range(at.size):
        at[i] = surface.under_wheel(case, at[i])[0]


# ---- wheels ------------------------------------------------------------------------------------------------


def _wheel(case: _SolvedCase, w: int) -> Wheel:
    line: Floats = np.empty((0, 2))
    patch = load = slip = None
    bump = 0.0
    if case.has_contact:
        patch = _patch(case, w)
        bump = float(case.cases["bump"][0, w])
        line = _contact_line(case, w, patch, bump)
        load = case.answer("load", w)
        slip = case.answer("slip_angle", w)
    outline = _outline(case, w)
    plan = _wheel_plan(case, w)
    return Wheel(
        WHEELS[w], w // 2, outline, line, patch, load, bump, plan, slip
    )  # fmt: skip


def _wheel_plan(case: _SolvedCase, w: int) -> Floats:
    """Corners of the wheel from above, turned by steer at the front, and by toe-in towards the middle."""
    car = case.vehicle[0]
    turn = -car["side"][w] * case.settings["toe"][0, w]
    if w < 2:
        turn += case.state[STEER]
    ahead = np.array([1.0, 1.0, -1.0, -1.0]) * case.case_state.radius[w]
    left = np.array([1.0, -1.0, -1.0, 1.0]) * car["half_width"][w]
    x = car["x"][w] + ahead * cos(turn) - left * sin(turn)
    y = car["y"][w] + ahead * sin(turn) + left * cos(turn)
    return np.column_stack([x, y])


def _patch(case: _SolvedCase, w: int) -> Patch:
    return Patch(
        depth=float(case.work.wheels.depth[w]),
        slant=float(case.work.wheels.slant[w]),
        along=float(case.case_state.curve_along[w]),
        across=float(case.case_state.curve_across[w]),
        half_width=float(case.vehicle["half_width"][0, w]),
        foundation=float(case.settings["foundation"][0, w]),
        side=float(case.vehicle["side"][0, w]),
    )


def _contact_line(
    case: _SolvedCase, w: int, patch: Patch, bump: float
) -> Floats:
    across = np.linspace(-1.0, 1.0, _CONTACT_POINTS) * patch.half_width
    pressed = across[patch.depth_at(across) > 0.0]
    pressed = np.append(pressed[:-1:_THIN], pressed[-1:])
    s = _tread(case, w, pressed, np.array([-0.5 * pi]))[:, 0]
    return np.column_stack([s, _height(case.cases[0], s) + bump])


def _outline(case: _SolvedCase, w: int) -> Floats:
    """Outline of the whole wheel."""
    from scipy.spatial import ConvexHull

    half = float(case.vehicle["half_width"][0, w])
    around = np.linspace(0.0, 2.0 * pi, _ROUND, endpoint=False)
    points = _tread(case, w, np.linspace(-half, half, _ACROSS), around)
    return np.asarray(points[ConvexHull(points).vertices])


def _tread(case: _SolvedCase, w: int, across: Floats, around: Floats) -> Floats:
    """Points of the unloaded tread, (n, 2): `across` outboard, `around` from straight ahead upwards."""
    car = case.vehicle[0]
    lean = _lean(case, w)
    u, angle = (grid.ravel() for grid in np.meshgrid(across, around))
    radius = case.case_state.radius[w] - 0.5 * car["crown"][w] * u * u
    at_rest = (
        car["radius"][w] * cos(case.settings["camber"][0, w])
        - case.settings["penetration"][0, w]
    )
    centre = at_rest + case.state[RISE + w]
    up = radius * np.sin(angle)
    x = car["x"][w] + radius * np.cos(angle)
    y = car["y"][w] + car["side"][w] * (up * sin(lean) + u * cos(lean))
    z = centre + up * cos(lean) - u * sin(lean)
    return np.column_stack([case.around(x, y), z])


def _lean(case: _SolvedCase, w: int) -> float:
    """Inclination to the normal of the plane, top outwards positive, rad."""
    if not case.has_contact:
        return float(case.settings["camber"][0, w])
    tilt = case.vehicle["side"][0, w] * case.case_state.tilt[w]
    return float(case.answer("inclination", w) - tilt)


# ---- body --------------------------------------------------------------------------------------------------


def _plates(case: _SolvedCase) -> Iterator[Plate]:
    """Every air element, from its own corners."""
    for element in case.car.air.elements:
        half = 0.5 * element.span
        ends = [
            element.station - 0.5 * element.chord,
            element.station + 0.5 * element.chord,
        ]
        around = ((0, half), (0, -half), (1, -half), (1, half))
        s, under, _ = _underside(
            case, [(ends[end], side, element.offset) for end, side in around]
        )
        axles = tuple(sorted({case.axle(end) for end in ends}))
        middle = case.vehicle["middle"][0]
        plan = np.array(
            [
                [case.vehicle["to_front"][0] - ends[end], side + middle]
                for end, side in around
            ]
        )
        yield Plate(element.name, axles, np.column_stack([s, under]), plan)


def _gaps(case: _SolvedCase) -> Iterator[Gap]:
    """At the ride-height stations, under the elements near the surface, at the floor points."""
    named = _gap_points(case.car)
    rows = zip(
        named, *_underside(case, [point for _, point, _ in named]), strict=True
    )
    for (name, point, least), s, under, gap in rows:
        yield Gap(
            name, case.axle(point[0]), float(s), float(under), float(gap), least
        )


def _underside(
    case: _SolvedCase, points: Sequence[_Point]
) -> tuple[Floats, Floats, Floats]:
    """s, z and gap of points on the underside."""
    records = np.zeros(len(points), dtype=POINT)
    station, records["y"], records["offset"] = np.array(points).T
    records["x"] = case.vehicle["to_front"][0] - station
    records["y"] += case.vehicle["middle"][0]
    packed = (case.vehicle, case.elements[None], records[None])
    alone = case.settings.copy()
    alone["car"] = 0.0  # the only one that is passed on
    gap = point_gaps(packed, alone, case.cases, case.answers)[0, 0]
    s = case.around(records["x"], records["y"])
    return s, gap + _height(case.cases[0], s), gap


def _gap_points(car: Car) -> list[tuple[str, _Point, float | None]]:
    """Name, point and least gap of all gaps that are reported."""
    air = car.air
    stations = zip(
        AXLES, (air.front_ride_station, air.rear_ride_station), strict=True
    )
    named = [
        (f"floor line, {axle} ride-height station", (at, 0.0, 0.0), None)
        for axle, at in stations
    ]
    named += [
        (f"{e.name}, middle", (e.station, 0.0, e.offset), None)
        for e in air.elements
        if e.ground_area > 0.0
    ]
    return named + [
        (p.name, (p.station, p.side, p.offset), p.least_gap)
        for p in car.clearance
    ]
