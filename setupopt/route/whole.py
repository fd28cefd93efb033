"""The whole place: run-up, entry, climb, hold, descent, exit, braking; each with metres, seconds, why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from setupopt.errors import InputError
from setupopt.robust.speeds.motion import run_up
from setupopt.route.judged import Judge
from setupopt.route.study import RouteStudy

STOP = 5.0  # m/s2; where [route] has no stop_m_s2
_LONGER = 1.05  # than hold_m; what is longer still, the search decided
_FELT = np.radians(
    5.0
)  # roll angle up to which the way counts as entry or exit


@dataclass(frozen=True)
class Stage:
    """A part of the place: metres, seconds, speeds at both ends, m/s, and what decides its length."""

    name: str
    metres: float
    seconds: float
    first_speed: float
    last_speed: float
    reason: str


@dataclass(frozen=True)
class Place:
    """The stages in the order driven. `missing`: what the run-up lacks. `braking_margin`: least margin
    while braking straight on the floor at the entry speed; minus infinity where contact is lost.
    """

    stages: tuple[Stage, ...]
    missing: str
    stop: float
    stop_is_given: bool
    braking_margin: float

    @property
    def metres(self) -> float:
        """Of the whole place, as far as it is known."""
        return float(sum(stage.metres for stage in self.stages))

    @property
    def seconds(self) -> float:
        """From standstill to standstill."""
        return float(sum(stage.seconds for stage in self.stages))


def place_of(study: RouteStudy) -> Place:
    """The whole place that a route needs."""
    points = study.judged.points
    first, missing = _run_up(study, float(points.speed[0, 0]))
    route = study.project.limits.route if study.project.limits else None
    given = route.stop if route else None
    stop = STOP if given is None else given
    last = float(points.speed[0, -1])
    stages = [*first, *_on_section(study)]
    margin = -np.inf
    if study.goal.returns:
        stages.append(
            Stage(
                "braking",
                last**2 / (2.0 * stop),
                last / stop,
                last,
                0.0,
                "stop_m_s2",
            )
        )
        # least margin of braking straight on the floor, from a speed, m/s, to a quarter of it
        judge = Judge(study.project, study.goal)
        start = judge.surface.place(study.goal.start)
        margin = judge.straight(start, last * np.linspace(1.0, 0.25, 7), -stop)
    return Place(tuple(stages), missing, stop, given is not None, margin)


def _run_up(study: RouteStudy, speed: float) -> tuple[list[Stage], str]:
    """The run-up to the entry speed, or what it lacks."""
    venue = study.project.venue
    driven = replace(
        study.project,
        venue=replace(venue, sweep=replace(venue.sweep, speed=speed)),
    )
    try:
        found = run_up(driven)
    except InputError as missing:
        return [], str(missing)
    if not found.is_reached:
        return [], f"the car never reaches {speed:g} m/s on the floor"
    reason = (
        "grip"
        if found.by_grip.all()
        else "power, from " + f"{found.grip_until:.0f} m/s on"
    )
    return [
        Stage(
            "run-up",
            float(found.metres[-1]),
            float(found.seconds[-1]),
            0.0,
            speed,
            reason,
        )
    ], ""


def _on_section(study: RouteStudy) -> Iterator[Stage]:
    """The route cut where the roll angle leaves the floor, reaches the highest one, and comes back."""
    points = study.judged.points
    climbed = np.abs(study.roll_angle - study.goal.start)
    top = abs(study.goal.top - study.goal.start)
    way = points.way[0]
    round_angle = 2.0 * np.pi if study.paths.shape.name == "over" else 0.0
    from_floor = (
        np.minimum(climbed, round_angle - climbed) if round_angle else climbed
    )
    felt = np.flatnonzero(from_floor >= min(_FELT, 0.5 * top))
    high = np.flatnonzero(from_floor >= min(top - 1e-6, from_floor.max()))
    cuts = [0, felt[0], high[0], high[-1], felt[-1], way.size - 1]
    names = ("entry", "climb", "hold", "descent", "exit")
    for name, one, other in zip(names, cuts[:-1], cuts[1:], strict=True):
        metres = float(way[other] - way[one])
        is_held = name == "hold" and metres < _LONGER * study.goal.hold
        if other > one:
            yield Stage(
                name,
                metres,
                float(study.seconds[other] - study.seconds[one]),
                float(points.speed[0, one]),
                float(points.speed[0, other]),
                "hold_m" if is_held else "least margin",
            )
