"""`setupopt fit`: from measurements to the numbers of the model. `tyre` is here, `air` in `cli.fit_air`."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text, folder_targets, print_json, refuse_inputs, write_all
from setupopt.cli.waiting import Saying, loading, say_compiling, writing
from setupopt.units import MM

if TYPE_CHECKING:
    from setupopt.fit.tyre import TyreFit
    from setupopt.fit.tyre_table import Rig

_WIDTH = 100  # of the text written to a file


class _Fits(click.Group):
    """Its other command is imported on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of use."""
        return [*super().list_commands(ctx), "air"]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command; None for a name that is none."""
        if cmd_name != "air":
            return super().get_command(ctx, cmd_name)
        other: click.Command = import_module("setupopt.cli.fit_air").command
        return other


@click.group("fit", cls=_Fits)
def command() -> None:
    """Turn measurements into the numbers of car.toml and bodies, with what they cannot tell.

    \b
    Example: setupopt fit tyre press.csv
      a tyre from what a press and a tape measured; fit tyre --help tells more
    """


@command.command("tyre", short_help="A tyre from a rig, a press and a tape.")
@click.argument("measured", metavar="TABLE.csv", type=completing.TABLE)
@click.option("--name", metavar="NAME", help="The tyre's in car.toml; else that of the table.")
@click.option(
    "--radius-mm", type=options.Finite(100, 1500), metavar="MM", help="Unloaded radius, measured by tape."
)
@click.option(
    "--tread-width-mm", type=options.Finite(30, 1000), metavar="MM", help="Tread, measured by tape."
)
@click.option(
    "--surface-grip", type=options.Finite(0.05, 2.0), default=1.0, show_default=True, metavar="FACTOR",
    help="Grip of the rig's surface, as in venue.toml.",
)  # fmt: skip
@click.option(
    "--deflection-from", type=click.Choice(["radius", "touch"]), default="radius", show_default=True,
    help="Deflection counts from the unloaded radius, or from the first touch of the leaning tread.",
)  # fmt: skip
@click.option(
    "--noise", type=options.Named(options.Finite(0.0, 1e5)), multiple=True, callback=options.by_name,
    metavar="COLUMN=NUMBER", help="Noise of one reading, in the column's unit (deflection_mm=0.2) or as a "
    "share of it (deflection_percent=1). May be repeated.",
)  # fmt: skip
@options.out_option
@options.json_option
@options.quiet_option
@click.pass_context
def tyre(
    ctx: click.Context, measured: str, name: str | None, radius_mm: float | None,
    tread_width_mm: float | None, surface_grip: float, deflection_from: str, noise: dict[str, float],
    out: str | None, as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """A [tyre.NAME] of car.toml from TABLE.csv: what was measured on a rig, a press, with a tape.

    Columns load_N, inclination_deg, pressure_bar, and any of deflection_mm, patch_length_mm, patch_width_mm,
    patch_area_mm2, peak_lateral_N. With --out, tyre-NAME.toml, fit.txt, fit.json and fit.svg are written to
    DIR; without, the piece of car.toml is printed. Exit status 1: something is not told, or over a tenth of
    the measured values do not fit.

    \b
    Example: setupopt fit tyre press.csv --name "front slick" --radius-mm 320
      [tyre."front slick"] for car.toml, its radius from a tape
    """
    named = _name(ctx, name or Path(measured).stem)
    rig = _rig(ctx, radius_mm, tread_width_mm, surface_grip, deflection_from == "touch", noise)
    targets = folder_targets(out, _files(named))
    refuse_inputs(targets, Path(measured).parent, None, measured)
    fit = _fit(measured, rig, quiet)
    with writing(quiet):
        answer = _json(fit, named)
        _write(targets, fit, named, answer)
    _print(fit, named, answer, list(targets.values()), as_json, quiet)
    ctx.exit(0 if fit.is_whole else 1)


def _name(ctx: click.Context, name: str) -> str:
    from setupopt.project.field_types import NAME, is_plain

    if not is_plain(name):
        raise click.BadParameter(f"found {name!r}, expected {NAME}", ctx, param_hint="--name")
    return name


def _files(name: str) -> dict[str, str]:
    """What is written; letters that a file's name may not hold everywhere become dashes."""
    plain = re.sub(r"[^A-Za-z0-9 _-]", "-", name)[:40].strip()
    return {"tyre": f"tyre-{plain}.toml", "text": "fit.txt", "json": "fit.json", "picture": "fit.svg"}


def _rig(
    ctx: click.Context, radius: float | None, width: float | None, grip: float, from_touch: bool,
    noise: dict[str, float],
) -> Rig:  # fmt: skip
    from setupopt.fit.tyre_table import NOISE, Rig, noiseless

    unknown = [key for key in noise if key not in NOISE]
    if unknown:
        raise click.BadParameter(f"found {unknown[0]!r}, expected one of {', '.join(NOISE)}", ctx)
    if silent := noiseless(noise):
        raise click.BadParameter(f"found no noise of {silent}, expected some", ctx, param_hint="--noise")
    taped: dict[str, Any] = {"radius": radius, "tread_width": width}
    known = {key: None if value is None else value * MM for key, value in taped.items()}
    return Rig(surface_grip=grip, from_touch=from_touch, noise=noise, **known)


def _fit(measured: str, rig: Rig, quiet: bool) -> TyreFit:
    with loading(quiet):
        from setupopt.fit.tyre_table import read_tyre_table

        table = read_tyre_table(measured, rig)
    say_compiling(quiet)
    with Saying(quiet, "the tyre"):
        from setupopt.fit.tyre import fit_tyre

        return fit_tyre(table, rig)


def _json(fit: TyreFit, name: str) -> str:
    from setupopt.report.fit_tyre.text import as_dict

    return as_json_text(as_dict(fit, name))


def _write(targets: dict[str, Path], fit: TyreFit, name: str, answer: str) -> None:
    """The files asked for, each whole or not at all."""
    if not targets:
        return
    from setupopt.report.fit_tyre.picture import picture
    from setupopt.report.fit_tyre.text import fragment, text

    contents = {
        "tyre": fragment(fit, name), "text": text(fit, name, _WIDTH), "json": answer,
        "picture": picture(fit, name),
    }  # fmt: skip
    write_all({targets[kind]: content for kind, content in contents.items()})


def _print(
    fit: TyreFit, name: str, answer: str, written: list[Path], as_json: bool, quiet: bool
) -> None:  # fmt: skip
    """The piece of car.toml too, where it is not written."""
    from setupopt.report.fit_tyre.text import fragment, text
    from setupopt.report.shared.tables import screen_width

    if as_json:
        print_json(answer, fit.cautions, quiet)
        return
    click.echo(text(fit, name, screen_width(), short=quiet), nl=False)
    files = "".join(f"written: {target}\n" for target in written)
    click.echo("\n" + (files or fragment(fit, name)), nl=False)
