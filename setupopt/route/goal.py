"""What a route must do and keep: `[route]` of limits.toml with what the command line changes, resolved."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.errors import InputError
from setupopt.physics.stability import REACTION, STEADY
from setupopt.project.limits_model import RouteLimits
from setupopt.project.model import Project, Range


@dataclass(frozen=True)
class RouteOptions:
    """Options of `route`; SI. None: as limits.toml says.

    `mode`: what is made best: "margin" the least margin for the `length`, "length" the length for
    `least_margin`, "speed" the least speed for `least_margin`. `length` is that of the way on the section
    (climb, hold, descent). `over`: over the top, back the same side, or None for the better one.
    `heading`: the one of the way by hand beside the route, rad, or None for the best one.
    `way_out`: look for the ways out; `prices`: find what more margin, speed and radius cost in length; `map`:
    the best routes over radius and speed; `propose`: with a setup of its own for each; `front`: those over
    length and speed; `programme`: the test runs that lead to the route; `both`: the setup is searched too.
    `quick`: fewer points and steps, for one of many routes.
    """

    mode: str = "margin"
    speed: float | None = None
    length: float | None = None
    least_margin: float | None = None
    over: bool | None = None
    heading: float | None = None
    way_out: bool = False
    prices: bool = False
    map: bool = False
    propose: bool = False
    front: bool = False
    programme: bool = False
    both: bool = False
    quick: bool = False


@dataclass(frozen=True)
class Goal:
    """What counts for a route; SI. None: no such limit. `growth`: largest growth rate, 1/s."""

    start: float
    top: float
    hold: float
    returns: bool
    speed: float
    speeds: tuple[float, float]
    length: float | None
    least_margin: float
    least_load: float | None
    most_load: float | None
    steer: float | None
    steer_rate: float | None
    growth: float
    power: float | None


def wanted(project: Project) -> RouteLimits:
    """`[route]`. Raises InputError where there is none."""
    route = project.limits.route if project.limits else None
    if route is None:
        path = str(project.folder / "limits.toml")
        raise InputError(
            path,
            None,
            "route.to_deg",
            "nothing",
            "it, because a route must lead somewhere",
        )
    return route


def goal_of(project: Project, options: RouteOptions) -> Goal:
    """The goal of a project."""
    route = wanted(project)
    car = project.car
    speed = (
        project.venue.sweep.speed if options.speed is None else options.speed
    )
    speeds = route.speed or Range(0.5 * speed, 1.5 * speed)
    margin = (
        options.least_margin
        if options.least_margin is not None
        else route.least_margin
    )
    return Goal(
        start=route.from_angle,
        top=route.to_angle,
        hold=route.hold,
        returns=route.returns,
        speed=speed,
        speeds=(speeds.lower, speeds.upper),
        length=options.length,
        least_margin=margin or 0.0,
        least_load=route.wheel_load_least,
        most_load=route.wheel_load_most,
        steer=car.steer_limit,
        steer_rate=route.steer_rate or car.steer_rate,
        growth=STEADY / (car.driver_reaction or REACTION),
        power=car.power,
    )
