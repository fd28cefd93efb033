"""`setupopt fit air`: measured air loads as bodies that the car can wear."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading
from setupopt.units import PERCENT

if TYPE_CHECKING:
    from setupopt.fit.air.fit import AirFit
    from setupopt.fit.air.fits import AirFits
    from setupopt.fit.air.table import AirTable
    from setupopt.project import Project


@click.command("air", short_help="Bodies from a table of tunnel or CFD runs.")
@click.argument("table", metavar="TABLE.csv", type=completing.TABLE)
@click.option(
    "--like",
    "project", required=True, metavar="PROJECT", type=completing.FOLDER,
    help="Its car.toml gives the parts.",
)  # fmt: skip
@options.number("--air-density", "KG_M3", "Where the table names none.", 0.3, 3.0, 1.2)  # fmt: skip
@options.number(
    "--noise-percent", "PERCENT",
    "Of a force, one standard deviation, where too few rows show it.",
    0.1, 50.0, 2.0,
)  # fmt: skip
@options.flag(
    "--raise-spread",
    "Raise [spread] in limits.toml of PROJECT, which prove uses, to what was found.",
)  # fmt: skip
@options.output
@click.pass_context
def command(
    ctx: click.Context, common: options.Common, table: str, air_density: float, noise_percent: float,
    raise_spread: bool,
) -> None:  # fmt: skip
    """A body for each configuration of TABLE.csv, a table of measured air loads, with the parts of PROJECT.

    Columns front_ride_height_mm, rear_ride_height_mm, speed_m_s; if wanted configuration, body_roll_deg,
    yaw_deg, surface_radius_mm, air_density_kg_m3; and any of downforce_front_N, downforce_rear_N, drag_N,
    side_force_N; angle_NAME_deg for a wing that is turned. What they cannot tell stays as in car.toml of
    PROJECT, and is named.

    With --out, bodies/NAME.toml and fit-NAME.svg for each body, spread.toml (a piece of limits.toml), fit.txt
    and fit.json are written to DIR. Exit status 1: a number is not identifiable, or over a tenth of the
    values do not fit.

    \b
    Example: setupopt fit air tunnel.csv --like my-car --out fitted
      a body for each configuration, in fitted/bodies
    """
    with loading(common.quiet):
        project = common.load()
        read = _read(table, project, air_density)

        from setupopt.fit.air.files import raised_limits, spread_toml
        from setupopt.fit.air.fits import fit_air
        from setupopt.project.toml_file import read_toml
        from setupopt.report.fit_air.fields import as_dict, cautions
        from setupopt.report.fit_air.text import text

    limits = [_limits(ctx, project)] if raise_spread else []
    task = Task(
        progress=Saying(common.quiet, "loading"),
        compute=lambda progress: fit_air(
            read, project, noise_percent * PERCENT, progress
        ),
        text=text,
        as_dict=as_dict,
        passes=lambda fits: fits.is_whole,
        cautions=cautions,
        name="fit",
        files={"spread.toml": spread_toml, **_body_files(read)},
        others=lambda fits: {
            path: raised_limits(fits, read_toml(path).text) for path in limits
        },
        reads=[table, *_own_files(project)],
    )
    run(common, task)


def _read(table: str, project: Project, density: float) -> AirTable:
    from setupopt.fit.air.table import read_air
    from setupopt.project.bodies import own_body, with_bodywork

    return read_air(
        table, with_bodywork(project.car, own_body(project)), density
    )


def _limits(ctx: click.Context, project: Project) -> Path:
    """The file whose spread is raised."""
    if project.limits is None:
        expected = f"a limits.toml in {project.folder}"
        raise click.BadParameter(
            f"found none, expected {expected}", ctx, param_hint="--raise-spread"
        )
    return project.folder / "limits.toml"


def _own_files(project: Project) -> list[str]:
    """Bodies that the project has already."""
    from setupopt.project.bodies import file_name

    return [
        str(project.folder / file_name(body.name)) for body in project.bodies
    ]


def _body_files(table: AirTable) -> dict[str, Callable[[AirFits], str]]:
    """Makers of the files of each body, by file name."""
    from setupopt.fit.air.files import body_toml
    from setupopt.fit.air.names import body_names
    from setupopt.project.bodies import file_name
    from setupopt.report.fit_air.picture import picture

    makers: dict[str, Callable[[AirFits], str]] = {}
    for name in body_names(table.rows).values():
        makers[file_name(name)] = lambda fits, name=name: body_toml(
            fits, _fit_of(fits, name)
        )  # type: ignore[misc]
        makers[f"fit-{name}.svg"] = lambda fits, name=name: picture(
            _fit_of(fits, name)
        )  # type: ignore[misc]
    return makers


def _fit_of(fits: AirFits, name: str) -> AirFit:
    return next(fit for fit in fits.fits if fit.name == name)
