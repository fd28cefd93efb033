"""Points of paths judged: the margin of each, and by how much it keeps every limit of a goal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits import PackagingLimits
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.inputs import STEER, Floats, Records
from setupopt.project.car_as_set import car_as_set
from setupopt.project.model import Project
from setupopt.robust.speeds.motion import PathForces
from setupopt.route.goal import Goal
from setupopt.route.leg import PathPoints, cases_of, straight
from setupopt.route.surface import unrolled
from setupopt.units import GRAVITY

_ASIDE = 0.3  # m/s2; so much of acceleration moves a margin by some 0.01
_DIP = 0.03  # of margin


class Near(NamedTuple):
    """Answers (points) of a path, and the acceleration that was added to each case, m/s2."""

    answers: Records
    aside: Floats


@dataclass(frozen=True)
class Judged:
    """Points of paths with their answers; (paths, points) each, SI.

    `steer_rate` is that over time, from the neighbouring points. `power` is at the wheels, positive under
    drive. `near`: what paths a small step away are judged by.
    """

    points: PathPoints
    result: Result
    steer_rate: Floats
    power: Floats
    near: Near

    def column(self, name: str) -> Floats:
        """A field of ANSWER."""
        return (
            self.result.answers[0][name]
            .reshape(*self.points.way.shape, -1)
            .squeeze(-1)
        )


class Judge:
    """A project's setup on paths over its section."""

    def __init__(self, project: Project, goal: Goal) -> None:
        self.project = project
        self.goal = goal
        self.surface = unrolled(project.venue)
        self.model = Model(project.car)
        self.settings = self.model.settings(project.setup)
        self.mass = car_as_set(project.car, project.setup).mass
        self.packaging = PackagingLimits(
            project.car, project.limits.packaging if project.limits else None
        )

    def judged(
        self,
        points: PathPoints,
        near: Near | None = None,
        growth: bool = True,
        by_slope: bool = True,
    ) -> Judged:
        """Points of paths. `near`: of one path nearby, by whose slopes they are judged, or from whose answers.

        Without it every case is solved from a plain start, as `assess` does: where a case has several trims,
        its margin must not depend on the path that was looked at before.
        """
        cases = cases_of(self.project.venue, self.surface, points, "route")
        power = self.power(cases)
        if near is None:
            aside = np.zeros(len(cases))
            result = self.model.run(self.settings, cases, growth=growth)
            self._step_aside(result, aside)
        else:
            aside = np.tile(near.aside, points.way.shape[0])
            starts = np.tile(near.answers, points.way.shape[0])
            cases.records["acceleration"] += aside
            result = self.model.run(
                self.settings,
                cases,
                starts,
                by_slope=by_slope,
                quick=not by_slope,
                growth=growth,
            )
        steer = result.answers[0]["state"][:, STEER].reshape(points.way.shape)
        steer_rate = (
            np.gradient(steer, axis=1)
            / np.gradient(points.way, axis=1)
            * points.speed
        )
        return Judged(
            points,
            result,
            steer_rate,
            power.reshape(points.way.shape),
            Near(result.answers[0], aside),
        )

    def straight(
        self, place: float, speed: Floats, acceleration: float = 0.0
    ) -> float:
        """Least margin straight along at a place, m, at speeds, m/s; minus infinity where contact is lost."""
        shares = np.linspace(0.0, 1.0, 2)
        points = straight(place, 1.0, speed, shares)
        slowing = np.full(points.speed.shape, acceleration)
        found = self.judged(replace(points, acceleration=slowing))
        return float(found.result.safe_margin.min())

    def _step_aside(self, result: Result, aside: Floats) -> None:
        """Judge points between drive and brakes a little beside them, on the worse side, in `result`.

        Where drive passes over to brakes, the margin of a car that turns dips in a narrow band of acceleration:
        with open differentials by 0.2 within 0.15 m/s2 in the bore at 5 deg and 12 m/s2 across, with a spool by
        0.05 at single accelerations on the bank. Such a point is far below its neighbours, and both a little
        more and a little less acceleration lift it by more than they could otherwise. `assess` of the very same
        case has the dip.
        """
        margin = result.safe_margin[0]
        padded = np.pad(margin, 2, mode="edge")
        around = np.median(
            [padded[:-4], padded[1:-3], padded[3:-1], padded[4:]], axis=0
        )
        rows = np.flatnonzero(margin < around - _DIP)
        if rows.size == 0:
            return
        cases = result.cases.pick(np.tile(rows, 2))
        step = np.repeat([_ASIDE, -_ASIDE], rows.size)
        cases.records["acceleration"] += step
        both = self.model.run(self.settings, cases, growth=True)
        lifted = both.safe_margin[0].reshape(2, -1)
        worse = lifted.argmin(axis=0)
        chosen = np.flatnonzero(lifted.min(axis=0) > margin[rows] + _DIP)
        numbers = worse[chosen] * rows.size + chosen
        result.answers[0, rows[chosen]] = both.answers[0, numbers]
        result.cases.records["acceleration"][rows[chosen]] += step[numbers]
        aside[rows[chosen]] = step[numbers]

    def power(self, cases: CaseSet) -> Floats:
        """At the wheels, against drag and climb, negative under brakes, W; (points)."""
        path = PathForces(self.project, cases.records)
        speed = cases.records["speed"]
        push = path.deceleration(speed) + cases.records["acceleration"]
        return self.mass * push * speed

    def room(self, found: Judged) -> dict[str, Floats]:
        """By how much every limit is kept, (paths, points), about in shares of its size; negative: broken."""
        shape = found.points.way.shape
        rooms = self.point_room(found.result, found.power.ravel())
        whole = {name: room.reshape(shape) for name, room in rooms.items()}
        if self.goal.steer_rate is not None:
            turned = np.abs(found.steer_rate) / self.goal.steer_rate
            whole["steer_rate_deg_s"] = 1.0 - turned
        return whole

    def point_room(self, result: Result, power: Floats) -> dict[str, Floats]:
        """The same of points that need not be those of a path, (points), with the power there, W."""
        goal = self.goal
        answers = result.answers[0]
        share = 0.25 * self.mass * GRAVITY
        loads = answers["load"]
        steer = np.abs(answers["state"][:, STEER])
        rooms = {}
        for name, limit, value, scale in (
            ("wheel_load_least_N", goal.least_load, loads.min(axis=1), -share),
            ("wheel_load_most_N", goal.most_load, loads.max(axis=1), share),
            ("steer_limit_deg", goal.steer, steer, goal.steer),
            ("power_kW", goal.power, power, goal.power),
        ):
            if limit is not None and scale:
                rooms[name] = (limit - value) / scale
        growth = answers["growth"]
        if np.isfinite(growth).any():
            rooms["growth_per_s"] = np.where(
                np.isfinite(growth), 1.0 - growth / goal.growth, 0.0
            )
        return rooms | self._packaging_room(result)

    def _packaging_room(self, result: Result) -> dict[str, Floats]:
        """Of the limits of car and packaging in every case, the least of each key, over their scales."""
        evaluated = self.packaging.evaluated(
            by_wheel(self.project.setup), result.cases.records, result.answers
        )
        rooms: dict[str, Floats] = {}
        for limit in self.packaging.limits:
            if not limit.is_at_rest:
                room = limit.room(evaluated)[0].min(axis=1) / limit.scale
                rooms[limit.key] = np.minimum(
                    room, rooms.get(limit.key, np.inf)
                )
        return rooms
