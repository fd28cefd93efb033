"""How the car stands in one case, as a picture needs it: wheels, plates of the body, gaps, contact patches.

Seen along the venue's axis from behind, in the plane that touches the surface under the centre of gravity:
`s` round the section to the left, `z` off the surface, m (docs/model.md, the surface).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any

import numpy as np

from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics import surface
from setupopt.physics.balance import WORK, balance
from setupopt.physics.inputs import POINT, STRIPS, Floats, Record, Records
from setupopt.physics.place import FLOW, PLACE, prepare
from setupopt.physics.point_gaps import point_gaps
from setupopt.project.model import AXLES, WHEELS, Car, Project
from setupopt.report.page.patch import Patch

_ROUND, _ACROSS = 48, 9  # points of a wheel's outline


@dataclass(frozen=True)
class Wheel:
    """A wheel. `hull` (n, 2): its outline; `touch` (n, 2): its patch on the surface, empty if lifted.

    `patch` is None in a case that is not solved. `bump`: height of the bump under it.
    """

    name: str
    axle: int
    hull: Floats
    touch: Floats
    patch: Patch | None
    load: float | None  # N; None in a case that is not solved
    bump: float


@dataclass(frozen=True)
class Plate:
    """An air element as the plate that the files tell of: its four corners (4, 2). `axles`: it is near to."""

    name: str
    axles: tuple[int, ...]
    corners: Floats


@dataclass(frozen=True)
class Gap:
    """A gap under the car: from the surface at `s` up to `under`. `least`: what it needs; None: not said."""

    name: str
    axle: int
    s: float
    under: float
    gap: float
    least: float | None


@dataclass(frozen=True)
class Stand:
    """The car in one case. Not `held`: contact is lost, and it is shown as it stands on the setup pad."""

    held: bool
    case: Record
    wheels: tuple[Wheel, ...]
    plates: tuple[Plate, ...]
    gaps: tuple[Gap, ...]
    cg: tuple[float, float]

    def height(self, s: Floats | float) -> Floats:
        """Height of the surface at `s`, without bumps."""
        return np.array([surface.under_wheel(self.case, one)[0] for one in np.atleast_1d(s)])

    @property
    def tightest(self) -> float:
        """The largest curvature of the surface in sight, either way, 1/m."""
        return float(max(abs(self.case["curvature"]), np.abs(self.case["beyond"]).max()))


def stand(project: Project, result: Result, row: int) -> Stand:
    """How the project's car stands in case `row` of its result."""
    return _Standing(project, result, row).stand()


class _Standing:
    """One case, opened again at its trim: forces are asked of the balance, not reckoned anew."""

    def __init__(self, project: Project, result: Result, row: int) -> None:
        self.car, model = project.car, Model(project.car)
        self.body, self.elements, _ = model.packed
        self.settings = model.settings(project.setup)
        self.cases = result.cases.records[row : row + 1]
        self.answers = result.answers[:1, row : row + 1].copy()
        self.held = bool(self.answers["contact"][0, 0])
        if not self.held:
            self.answers["state"] = 0.0
        self.place, self.work = self._opened()

    def _opened(self) -> tuple[Record, Record]:
        """PLACE and WORK at the trim; WORK is empty of forces where the case is lost."""
        place, work = np.zeros(1, PLACE)[0], np.zeros(1, WORK)[0]
        flow = np.zeros(self.elements.size * STRIPS, FLOW)
        prepare(self.body[0], self.elements, self.settings[0], self.cases[0], place, flow)
        if self.held:
            balance(self.body[0], self.elements, self.settings[0], place, flow, self.state, work)
        return place, work

    @property
    def state(self) -> Floats:
        return np.ascontiguousarray(self.answers["state"][0, 0])

    def stand(self) -> Stand:
        plates, gaps = self.plates(), self.gaps() if self.held else ()
        wheels = tuple(self.wheel(w) for w in range(4))
        cg = (0.0, float(self.body["cg_height"][0] + self.state[0]))
        return Stand(self.held, self.cases[0], wheels, plates, gaps, cg)

    # ---- wheels --------------------------------------------------------------------------------------------

    def wheel(self, w: int) -> Wheel:
        patch = self.patch(w) if self.held else None
        touching = np.linspace(-1.0, 1.0, 201) * self.body["half_width"][0, w]
        touching = touching[patch.depth_at(touching) > 0.0] if patch else touching[:0]
        bump = float(self.cases["bump"][0, w]) if self.held else 0.0
        tread = self.tread(w, touching, np.array([-0.5 * pi]))
        touch = np.column_stack([tread[:, 0], [self.ground(s) + bump for s in tread[:, 0]]])
        load = float(self.answers["load"][0, 0, w]) if self.held else None
        return Wheel(WHEELS[w], w // 2, self.hull(w), touch, patch, load, bump)

    def patch(self, w: int) -> Patch:
        return Patch(
            float(self.work.depth[w]), float(self.work.slant[w]), float(self.place.curve_along[w]),
            float(self.place.curve_across[w]), float(self.body["half_width"][0, w]),
            float(self.settings["foundation"][0, w]), float(self.body["side"][0, w]),
        )  # fmt: skip

    def hull(self, w: int) -> Floats:
        """Outline of the whole wheel."""
        from scipy.spatial import ConvexHull

        half = float(self.body["half_width"][0, w])
        around = np.linspace(0.0, 2.0 * pi, _ROUND, endpoint=False)
        points = self.tread(w, np.linspace(-half, half, _ACROSS), around)
        return np.asarray(points[ConvexHull(points).vertices])

    def tread(self, w: int, across: Floats, around: Floats) -> Floats:
        """Points of the unloaded tread, (n, 2): `across` outboard, `around` from straight ahead upwards."""
        body, side = self.body[0], float(self.body["side"][0, w])
        lean = self.lean(w)
        u, angle = (grid.ravel() for grid in np.meshgrid(across, around))
        radius = body["radius"][w] - 0.5 * body["crown"][w] * u * u
        centre = body["radius"][w] - self.settings["penetration"][0, w] + self.state[3 + w]
        up = radius * np.sin(angle)
        x = body["x"][w] + radius * np.cos(angle)
        y = body["y"][w] + side * (up * sin(lean) + u * cos(lean))
        return self.seen(x, y, centre + up * cos(lean) - u * sin(lean))

    def lean(self, w: int) -> float:
        """Inclination to the normal of the plane, top outwards positive, rad."""
        if not self.held:
            return float(self.settings["camber"][0, w])
        return float(self.answers["inclination"][0, 0, w] - self.body["side"][0, w] * self.place.tilt[w])

    # ---- body ----------------------------------------------------------------------------------------------

    def plates(self) -> tuple[Plate, ...]:
        """Every air element, from its own corners."""
        found = []
        for e in self.car.air.elements:
            corners = [
                (e.station + end * e.chord / 2.0, side * e.span / 2.0, e.offset)
                for end, side in ((-1, 1), (-1, -1), (1, -1), (1, 1))
            ]
            s, under, _ = self.under(corners)
            ends = (e.station - e.chord / 2.0, e.station + e.chord / 2.0)
            axles = tuple(sorted({self.axle(end) for end in ends}))
            found.append(Plate(e.name, axles, np.column_stack([s, under])))
        return tuple(found)

    def gaps(self) -> tuple[Gap, ...]:
        """At the ride-height stations, under the elements that feel the surface, at the named points."""
        named = list(_gap_points(self.car))
        s, under, gap = self.under([place for _, place, _ in named])
        return tuple(
            Gap(name, self.axle(place[0]), float(s[i]), float(under[i]), float(gap[i]), least)
            for i, (name, place, least) in enumerate(named)
        )

    def under(self, places: list[tuple[float, float, float]]) -> tuple[Floats, Floats, Floats]:
        """s, z and gap of places on the underside: station, side and offset over the floor line."""
        points = self.points(places)
        gap = point_gaps((self.body, self.elements, points), self.settings, self.cases, self.answers)[0, 0]
        s = self.around(points["x"], points["y"])
        return s, gap + np.array([self.ground(one) for one in s]), gap

    def points(self, places: list[tuple[float, float, float]]) -> Records:
        rows = np.zeros(len(places), dtype=POINT)
        for row, (station, side, offset) in zip(rows, places, strict=True):
            row["x"], row["y"] = self.body["to_front"][0] - station, side
            row["offset"] = offset
        return rows

    # ---- where things are seen -----------------------------------------------------------------------------

    def around(self, x: Any, y: Any) -> Floats:
        """Coordinate round the section."""
        heading = float(self.cases["surface_heading"][0])
        return np.asarray(x * sin(heading) + y * cos(heading))

    def seen(self, x: Any, y: Any, z: Any) -> Floats:
        return np.column_stack([self.around(x, y), z])

    def ground(self, s: float) -> float:
        return float(surface.under_wheel(self.cases[0], s)[0])

    def axle(self, station: float) -> int:
        """The axle that a place is nearer to."""
        return int(station > 0.5 * self.car.wheelbase)


_NamedPlace = tuple[str, tuple[float, float, float], float | None]


def _gap_points(car: Car) -> list[_NamedPlace]:
    """Name, place (station, side, offset) and least gap of all that is told of the gaps."""
    air = car.air
    stations = (air.front_ride_station, air.rear_ride_station)
    found: list[_NamedPlace] = [
        (f"floor line, {axle} ride-height station", (station, 0.0, 0.0), None)
        for axle, station in zip(AXLES, stations, strict=True)
    ]
    found += [
        (f"{e.name}, middle", (e.station, 0.0, e.offset), None) for e in air.elements if e.ground_area > 0.0
    ]
    return found + [(p.name, (p.station, p.side, p.offset), p.least_gap) for p in car.clearance]
