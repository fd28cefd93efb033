"""The way out: what the car can still do after a loss of drive, a gust or a puncture at a point of a route.

Two ways are tried: on along the planned route, and down: a turn towards the floor with a sideways
acceleration, then straight on that course. On both the car rolls without drive, slowed by drag and by what it
climbs. A way counts if every point of it has a trim at full friction. It ends where the car, going straight
along without drive, keeps a margin of `KEPT` or more however slow it gets. Driver and car follow at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.integrate import cumulative_trapezoid

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.inputs import Floats, Records
from setupopt.route.flight import Flight, flight
from setupopt.route.judged import Judge
from setupopt.route.leg import PathPoints, cases_of, straight
from setupopt.route.study import RouteStudy
from setupopt.units import BAR, GRAVITY

KEPT = 0.1  # margin of straight running without drive where a way out ends
_SPEEDS = (
    0.05,
    0.35,
    0.7,
    1.0,
)  # shares of the entry speed at which it is kept
_PLACES = 19  # at which it is solved, up to 90 deg on both sides of the floor
GUST = 6.0  # m/s across, where no attitude of the venue has a crosswind
FLAT_TYRE = 0.2 * BAR  # pressure of a punctured tyre
_TURNS = (5.0, 10.0, 15.0)  # m/s2 across the path, of the ways down
_DOWN = np.radians(25.0)  # the largest course of a way down
_STEP = 2.0  # m
_EVERY = 2  # steps between two points that are solved
_LONGEST = 150.0  # m
EVENTS = (
    "loss of drive",
    "gust from the left",
    "gust from the right",
    "puncture",
)


@dataclass(frozen=True)
class WayOut:
    """The best way out after an event: its least margin, metres, seconds, and the roll angle where it ends.

    None where no way keeps contact all along. `way`: "on" along the route, or "down".
    """

    event: str
    way: str
    margin: float
    metres: float
    seconds: float
    angle: float
    speed: float


@dataclass(frozen=True)
class Escape:
    """A point of the route (its row), the ways out by event, the flight after a loss of contact, and the way
    to a stop on the floor, m; None where there is no way out.
    """

    row: int
    ways: dict[str, WayOut | None]
    flight: Flight | None
    stopping: float | None


@dataclass(frozen=True)
class _Way:
    """A way without drive: its points (1 path), and seconds since its beginning."""

    name: str
    points: PathPoints
    seconds: Floats


def escapes(study: RouteStudy, rows: np.ndarray, stop: float) -> list[Escape]:
    """The ways out from points of a route. `stop`: deceleration on the floor, m/s2."""
    finder = _Finder(study)
    return [finder.escape(int(row), stop) for row in rows]


class _Finder:
    """Ways out of one study's route."""

    def __init__(self, study: RouteStudy) -> None:
        self.study = study
        self.judge = Judge(study.project, study.goal)
        self.surface = self.judge.surface
        car = study.car
        self.drag = (
            0.5 * study.project.venue.air_density * car.air.drag_area / car.mass
        )
        self.floor = self.surface.place(study.goal.start)
        winds = [
            abs(attitude.crosswind)
            for attitude in study.project.venue.attitudes
        ]
        self.gust = max(winds, default=0.0) or GUST
        self._straight: dict[tuple[str, int], tuple[Floats, Floats]] = {}

    def escape(self, row: int, stop: float) -> Escape:
        """The best way out of a point for every event."""
        answer = self.study.judged.result.answers[0][row]
        wheel = int(np.argmax(answer["load"]))
        ways = list(self._ways(row))
        found = {event: self._best(event, wheel, ways) for event in EVENTS}
        drive = found[EVENTS[0]]
        stopping = (
            None
            if drive is None
            else drive.metres + drive.speed**2 / (2.0 * stop)
        )
        return Escape(row, found, self._flight(row), stopping)

    def _flight(self, row: int) -> Flight | None:
        """Only of a circle: elsewhere the way to the other wall is not known here."""
        venue = self.study.project.venue
        if venue.section != "circle":
            return None
        points = self.study.judged.points
        radius = 1.0 / venue.curvature - self.study.car.cg_height
        angle = float(self.study.roll_angle[row])
        return flight(
            radius,
            angle,
            float(points.course[0, row]),
            float(points.speed[0, row]),
        )

    # ---- ways ----------------------------------------------------------------------------------------------

    def _ways(self, row: int) -> Iterator[_Way]:
        """On along the route, and down with every turn."""
        points = self.study.judged.points
        way = points.way[0]
        ahead = np.arange(0.0, min(_LONGEST, way[-1] - way[row]), _STEP)
        if ahead.size > 1:
            course, curvature, place = (
                np.interp(way[row] + ahead, way, column[0])
                for column in (points.course, points.curvature, points.place)
            )
            yield self._rolled(
                "on", float(points.speed[0, row]), place, course, curvature
            )
        for turn in _TURNS:
            yield self._down(row, turn)

    def _down(self, row: int, turn: float) -> _Way:
        """A turn towards the floor, then straight on a course of at most `_DOWN`."""
        points = self.study.judged.points
        place = float(points.place[0, row])
        course = float(points.course[0, row])
        speed = float(points.speed[0, row])
        target = self._nearest_floor(place)
        side = 1.0 if target > place else -1.0
        bend = side * turn / speed**2
        places = [place]
        courses = [course]
        curvatures = []
        while (
            len(places) * _STEP < _LONGEST
            and side * (target - places[-1]) > 0.0
        ):
            turning = side * courses[-1] < _DOWN
            curvatures.append(bend if turning else 0.0)
            middle = courses[-1] + 0.5 * _STEP * curvatures[-1]
            places.append(places[-1] + _STEP * float(np.sin(middle)))
            courses.append(courses[-1] + _STEP * curvatures[-1])
        curvatures.append(curvatures[-1] if curvatures else 0.0)
        return self._rolled(
            "down", speed, *map(np.array, (places, courses, curvatures))
        )

    def _nearest_floor(self, place: float) -> float:
        """The floor on the nearer side: beyond the top it is that of the other side."""
        trip = self.surface.round_trip
        if trip is None:
            return self.floor
        return self.floor + trip * round((place - self.floor) / trip)

    def _rolled(
        self,
        name: str,
        speed: float,
        place: Floats,
        course: Floats,
        curvature: Floats,
    ) -> _Way:
        """The way with the speed of a car that rolls: v dv = -(drag + climb) ds, the climb by trapezoids."""
        climb = GRAVITY * np.sin(self.surface.angle(place)) * np.sin(course)
        way = _STEP * np.arange(place.size)
        grown = np.exp(2.0 * self.drag * way)
        lost = cumulative_trapezoid(2.0 * climb * grown, way, initial=0.0)
        rolled = np.sqrt(np.maximum((speed**2 - lost) / grown, 1.0))
        slowing = -(self.drag * rolled**2 + climb)
        yaw = (
            np.gradient(curvature, _STEP) * rolled**2 + slowing * curvature
            if curvature.size > 1
            else 0.0 * curvature
        )
        columns = (way, way, place, course, curvature, yaw, rolled, slowing)
        seconds = cumulative_trapezoid(1.0 / rolled, way, initial=0.0)
        return _Way(
            name, PathPoints(*(column[None, :] for column in columns)), seconds
        )

    # ---- judged --------------------------------------------------------------------------------------------

    def _best(self, event: str, wheel: int, ways: list[_Way]) -> WayOut | None:
        """The way with the highest least margin up to where it ends."""
        found = [self._out(event, wheel, way) for way in ways]
        known = [one for one in found if one is not None and one.margin >= 0.0]
        return max(known, key=lambda one: one.margin, default=None)

    def _out(self, event: str, wheel: int, way: _Way) -> WayOut | None:
        points = way.points
        ends = np.flatnonzero(self._is_safe(event, wheel, points))
        if ends.size == 0:
            return None
        last = int(ends[0])
        upto = PathPoints(
            **{
                f.name: getattr(points, f.name)[:, : last + 1]
                for f in fields(PathPoints)
            }
        )
        cases = cases_of(
            self.study.project.venue, self.surface, upto, "way out"
        )
        margin = self._margins(
            event,
            wheel,
            cases.pick(np.unique([*range(0, last + 1, _EVERY), last])),
        )
        angle = float(self.surface.angle(points.place)[0, last])
        return WayOut(
            event, way.name, float(margin.min()), float(points.way[0, last]), float(way.seconds[last]), angle,
            float(points.speed[0, last]),
        )  # fmt: skip

    def _is_safe(
        self, event: str, wheel: int, points: PathPoints
    ) -> np.ndarray:
        """Where the car could go on straight along without drive, however slow it gets."""
        place, margin = self._running(event, wheel)
        away = points.place[0] - np.array(
            [self._nearest_floor(one) for one in points.place[0]]
        )
        return np.interp(self.floor + away, place, margin, -1.0, -1.0) >= KEPT

    def _running(self, event: str, wheel: int) -> tuple[Floats, Floats]:
        """Places, and least margins (places) of straight running without drive after an event."""
        key = (event, wheel if event == "puncture" else -1)
        if key not in self._straight:
            trip = self.surface.round_trip
            ends = self.study.judged.points.place[0]
            low, high = (
                (ends.min(), ends.max())
                if trip is None
                else (-0.25 * trip, 0.25 * trip)
            )
            grid = np.linspace(low, high, _PLACES) + (
                0.0 if trip is None else self.floor
            )
            speed = self.study.paths.legs[0].speed[0] * np.array(_SPEEDS)
            rolling = straight(
                0.0, 1.0, speed, np.linspace(0.0, 1.0, grid.size)
            )
            slowing = -self.drag * rolling.speed**2
            place = np.broadcast_to(grid, slowing.shape)
            cases = cases_of(
                self.study.project.venue,
                self.surface,
                replace(rolling, place=place, acceleration=slowing),
                "straight",
            )
            margins = self._margins(event, wheel, cases).reshape(slowing.shape)
            self._straight[key] = grid, margins.min(axis=0)
        return self._straight[key]

    def _margins(self, event: str, wheel: int, cases: CaseSet) -> Floats:
        """Margins of cases after an event, -2 at the least."""
        if event.startswith("gust"):
            cases.records["crosswind"] = (
                self.gust if event.endswith("left") else -self.gust
            )
        settings = (
            self._punctured(wheel)
            if event == "puncture"
            else self.judge.settings
        )
        return np.maximum(
            self.judge.model.run(settings, cases).safe_margin[0], -2.0
        )

    def _punctured(self, wheel: int) -> Records:
        """The setup on a tyre without pressure; the car then sinks on it from where it stood on the pad."""
        rows = by_wheel(self.study.project.setup).copy()
        rows["pressure"][:, wheel] = FLAT_TYRE
        flat = self.judge.model.settings(rows)
        flat["penetration"] = self.judge.settings["penetration"]
        return flat
