"""`setupopt route`: the way from the floor to where the car must be, and back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from setupopt.cli import options
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Progress, loading

if TYPE_CHECKING:
    from setupopt.project import Project
    from setupopt.route.complete import Route
    from setupopt.route.goal import RouteOptions

_SHAPES = {"over": True, "back": False, "best": None}


_FLAGS = {
    "--way-out": "Find ways out along it: loss of drive, gust, puncture.",
    "--map": "The best routes over radius_mm and speed_m_s of [route]; minutes.",
    "--propose": "With --map: a setup for every cell too, by one search near today's.",
    "--front": "The best routes over length and speed, and what more of each costs; minutes.",
    "--both": "Search the setup too, in turn with the route; many minutes.",
    "--programme": "The test programme of the route: runs that are each a small step; minutes.",
    "--prices": "What more margin, speed and radius cost in length.",
}


def _with_flags(command: Callable[..., None]) -> Callable[..., None]:
    """The options that ask for more."""
    for name, words in reversed(_FLAGS.items()):
        command = click.option(name, is_flag=True, help=words)(command)
    return command


@click.command("route")
@options.common
@options.choice(
    "--best mode", ["margin", "length", "speed"], "margin",
    "What to make best: the highest least margin, the shortest route or the slowest one that keeps the "
    "minimum margin.",
)  # fmt: skip
@options.number("--speed", "M_S", "Entry speed; default: the sweep's.", 1.0, 200.0)  # fmt: skip
@options.number("--length", "M", "Longest way on the section, entry to exit.", 1.0, 1e5)  # fmt: skip
@options.choice(
    "--shape", list(_SHAPES), "best", "Over the top and down the other side, or back on the same side.",
)  # fmt: skip
@options.number(
    "--heading", "DEG", "Heading of the way up by hand that is printed beside the route; default: the best one.",
    2.0, 40.0,
)  # fmt: skip
@_with_flags
@options.gpu_option
def command(
    common: options.Common,
    mode: str,
    speed: float | None,
    length: float | None,
    shape: str,
    heading: float | None,
    **more: bool,
) -> None:
    """The best way of PROJECT's setup from the floor to the highest angle of [route] in limits.toml, and
    back: heading, curvature, speed, margin, steer and time at every point.

    Exit status 1 when the route misses the minimum margin or a limit. With --out, route.txt, route.json,
    route.csv, route-cases.csv and route.svg are written to DIR, with --map and --front route-map and
    route-front, each .csv and .svg, with --programme programme.csv and with --both route-setup.toml. A run
    that is stopped continues with the same command.

    \b
    Example: setupopt route my-car --speed 40 --length 250
      the way up and back with the highest least margin, entered at 40 m/s
    """
    with loading(common.quiet):
        project = common.load()

        from setupopt.route.goal import RouteOptions
        from setupopt.units import DEG

    kept = None if heading is None else heading * DEG
    wanted = RouteOptions(
        mode, speed, length, common.floor, _SHAPES[shape], kept, **more
    )
    run(common, _task(common, project, wanted))


def _task(
    common: options.Common, project: Project, wanted: RouteOptions
) -> Task[Route]:
    with loading(common.quiet):
        from setupopt.report.route import fields
        from setupopt.report.route.front_picture import front_picture
        from setupopt.report.route.map_picture import map_picture
        from setupopt.report.route.picture import route_picture
        from setupopt.report.route.programme import programme_text
        from setupopt.report.route.text import text
        from setupopt.route.complete import route, steps_of

    return Task(
        progress=Progress(steps_of(project, wanted), common.quiet, "steps"),
        compute=lambda progress: route(project, wanted, progress),
        text=text,
        as_dict=fields.as_dict,
        name="route",
        files={
            "route.csv": fields.csv_text,
            "route-cases.csv": fields.cases_text,
            "route.svg": route_picture,
            "route-setup.toml": fields.setup_file,
            "programme.csv": programme_text,
            "route-map.csv": fields.map_text,
            "route-map.svg": map_picture,
            "route-front.csv": fields.front_text,
            "route-front.svg": front_picture,
        },
        project=project,
        stopped="what is finished is kept, the same command goes on from there",
    )
