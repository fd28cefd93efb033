"""`setupopt fit air`: measured air loads as bodies that the car can wear."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Saying, loading, say_compiling, writing
from setupopt.units import PERCENT

if TYPE_CHECKING:
    from setupopt.fit.air.fits import AirFits
    from setupopt.fit.air.table import AirTable
    from setupopt.project import Project

_WIDTH = 100  # of the text written to a file
_FILES = {"text": "fit.txt", "json": "fit.json", "spread": "spread.toml"}


@click.command("air", short_help="Bodies from a table of tunnel or CFD runs.")
@click.argument("table", metavar="TABLE.csv", type=completing.TABLE)
@click.option(
    "--like", "project", required=True, metavar="PROJECT", type=completing.FOLDER,
    help="Its car.toml gives the parts.",
)  # fmt: skip
@click.option(
    "--air-density", type=options.Finite(0.3, 3.0), default=1.2, show_default=True, metavar="KG_M3",
    help="Where the table names none.",
)  # fmt: skip
@click.option(
    "--noise-percent", type=options.Finite(0.1, 50.0), default=2.0, show_default=True, metavar="PERCENT",
    help="Of a force, one standard deviation, where too few rows tell it.",
)  # fmt: skip
@click.option(
    "--raise-spread", is_flag=True,
    help="Raise [spread] in limits.toml of PROJECT, which prove reckons with, to what was found.",
)  # fmt: skip
@options.out_option
@options.json_option
@options.quiet_option
@click.pass_context
def command(
    ctx: click.Context, table: str, project: str, air_density: float, noise_percent: float,
    raise_spread: bool, out: str | None, as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """A body for each configuration of TABLE.csv, a table of measured air loads, with the parts of PROJECT.

    Columns front_ride_height_mm, rear_ride_height_mm, speed_m_s; if wanted configuration, body_roll_deg,
    yaw_deg, surface_radius_mm, air_density_kg_m3; and any of downforce_front_N, downforce_rear_N, drag_N,
    side_force_N. What they cannot tell stays as in car.toml of PROJECT, and is named.

    With --out, bodies/NAME.toml and fit-NAME.svg for each body, spread.toml (a piece of limits.toml), fit.txt
    and fit.json are written to DIR. Exit status 1: not everything is told, or over a tenth does not fit.

    \b
    Example: setupopt fit air tunnel.csv --like my-car --out fitted
      a body for each configuration, in fitted/bodies
    """
    with loading(quiet):
        from setupopt.project import load

        found = load(project)
        read = _read(table, found, air_density)
    targets = folder_targets(out, _FILES | _body_files(read))
    refuse_inputs(targets, Path(project), None, table, *_own_files(found))
    if raise_spread:
        targets["limits"] = _limits(ctx, found)
    fits = _fit(read, found, noise_percent * PERCENT, quiet)
    with writing(quiet):
        answer = _json(fits)
        _write(targets, fits, answer)
    _print(fits, answer, targets.values(), as_json, quiet)
    ctx.exit(0 if fits.is_whole else 1)


def _read(table: str, project: Project, density: float) -> AirTable:
    from setupopt.fit.air.table import read_air
    from setupopt.project.bodies import own_body, with_bodywork

    return read_air(table, with_bodywork(project.car, own_body(project)), density)


def _fit(table: AirTable, project: Project, noise: float, quiet: bool) -> AirFits:
    say_compiling(quiet)
    with Saying(quiet, "loading") as progress:
        from setupopt.fit.air.fits import fit_air

        return fit_air(table, project, noise, progress)


def _limits(ctx: click.Context, project: Project) -> Path:
    """The file whose spread is raised."""
    if project.limits is None:
        expected = f"a limits.toml in {project.folder}"
        raise click.BadParameter(f"found none, expected {expected}", ctx, param_hint="--raise-spread")
    return project.folder / "limits.toml"


def _own_files(project: Project) -> list[str]:
    """Bodies that the project has already."""
    from setupopt.project.bodies import file_name

    return [str(project.folder / file_name(body.name)) for body in project.bodies]


def _body_files(table: AirTable) -> dict[str, str]:
    """Names of the files of each body, by what they hold."""
    from setupopt.fit.air.names import body_names
    from setupopt.project.bodies import file_name

    names = body_names(table.rows).values()
    bodies = {f"body {name}": file_name(name) for name in names}
    return bodies | {f"picture {name}": f"fit-{name}.svg" for name in names}


def _json(fits: AirFits) -> str:
    from setupopt.report.fit_air.text import as_dict

    return as_json_text(as_dict(fits))


def _write(targets: dict[str, Path], fits: AirFits, answer: str) -> None:
    """The files asked for, each whole or not at all."""
    if not targets:
        return
    from setupopt.fit.air.files import body_toml, raised_limits, spread_toml
    from setupopt.project.toml_file import read_toml
    from setupopt.report.fit_air.picture import picture
    from setupopt.report.fit_air.text import text

    contents = {"text": text(fits, _WIDTH), "json": answer, "spread": spread_toml(fits)}
    for fit in fits.fits:
        contents |= {f"body {fit.name}": body_toml(fits, fit), f"picture {fit.name}": picture(fit)}
    if limits := targets.get("limits"):
        contents["limits"] = raised_limits(fits, read_toml(limits).text)
    write_all({target: contents[kind] for kind, target in targets.items()})


def _print(fits: AirFits, answer: str, written: Collection[Path], as_json: bool, quiet: bool) -> None:
    from setupopt.report.fit_air.text import cautions, text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(answer, cautions(fits), quiet)
        return
    click.echo(text(fits, screen_width(), short=quiet), nl=False)
    if written:
        click.echo("\n" + "\n".join(f"written: {target}" for target in written))
