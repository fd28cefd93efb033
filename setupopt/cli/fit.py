"""`setupopt fit`: from measurements to the numbers of the model. `tyre` is here, `air` in `cli.fit_air`."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setupopt.cli import completing, options
from setupopt.cli.fit_air import command as air
from setupopt.cli.runner import Task, run
from setupopt.cli.waiting import Saying, loading
from setupopt.units import MM

if TYPE_CHECKING:
    from setupopt.fit.tyre import TyreFit
    from setupopt.fit.tyre_table import Rig


class _InOrder(click.Group):
    """A group that lists its commands in the order of use; click sorts them by name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, as the commands were added."""
        return list(self.commands)


@click.group("fit", cls=_InOrder)
def command() -> None:
    """Turn measurements into the numbers of car.toml and bodies, and say what they do not identify.

    \b
    Example: setupopt fit tyre press.csv
      a tyre from what a press and a tape measured; see fit tyre --help
    """


@command.command("tyre", short_help="A tyre from a rig, a press and a tape.")
@click.argument("measured", metavar="TABLE.csv", type=completing.TABLE)
@click.option(
    "--name",
    metavar="NAME",
    help="The tyre's in car.toml; else that of the table.",
)
@options.number("--radius-mm", "MM", "Unloaded radius, measured by tape.", 100, 1500)  # fmt: skip
@options.number("--tread-width-mm", "MM", "Tread, measured by tape.", 30, 1000)
@options.number("--surface-grip", "FACTOR", "Grip of the rig's surface, as in venue.toml.", 0.05, 2.0, 1.0)  # fmt: skip
@options.choice(
    "--deflection-from", ["radius", "touch"], "radius",
    "Deflection counts from the unloaded radius, or from the first touch of the inclined tread.",
)  # fmt: skip
@click.option(
    "--noise", type=options.Named(options.Finite(0.0, 1e5)), multiple=True, callback=options.by_name,
    metavar="COLUMN=NUMBER", help="Noise of one reading, in the column's unit (deflection_mm=0.2) or as a "
    "share of it (deflection_percent=1). May be repeated.",
)  # fmt: skip
@options.output
@click.pass_context
def tyre(
    ctx: click.Context, common: options.Common, measured: str, name: str | None, radius_mm: float | None,
    tread_width_mm: float | None, surface_grip: float, deflection_from: str, noise: dict[str, float],
) -> None:  # fmt: skip
    """A [tyre.NAME] of car.toml from TABLE.csv: what was measured on a rig, a press, with a tape.

    Columns load_N, inclination_deg, pressure_bar, and any of deflection_mm, patch_length_mm, patch_width_mm,
    patch_area_mm2, peak_lateral_N, cornering_stiffness_N_per_deg, relaxation_mm, and with slip_angle_deg
    lateral_N and aligning_Nm: points of a slip curve. With --out, tyre-NAME.toml, fit.txt, fit.json and
    fit.svg are written to DIR; without, the piece of car.toml is printed. Exit status 1: a parameter that
    car.toml needs is not identifiable, or over a tenth of the measured values do not fit.

    \b
    Example: setupopt fit tyre press.csv --name "front slick" --radius-mm 320
      [tyre."front slick"] for car.toml, its radius from a tape
    """
    named = _name(ctx, name or Path(measured).stem)
    rig = _rig(
        ctx,
        radius_mm,
        tread_width_mm,
        surface_grip,
        deflection_from == "touch",
        noise,
    )
    with loading(common.quiet):
        from setupopt.fit.tyre import fit_tyre
        from setupopt.fit.tyre_table import read_tyre_table
        from setupopt.report.fit_tyre.fields import as_dict
        from setupopt.report.fit_tyre.picture import picture
        from setupopt.report.fit_tyre.text import fragment, text

        table = read_tyre_table(measured, rig)

    def words(fit: TyreFit, width: int, short: bool) -> str:
        """The text; and the piece of car.toml, where it is not written."""
        said = text(fit, named, width, short)
        return said if common.out else f"{said}\n{fragment(fit, named)}"

    # file of the tyre; letters that are not allowed in a file's name everywhere become dashes
    plain = re.sub(r"[^A-Za-z0-9 _-]", "-", named)[:40].strip()
    files = {
        f"tyre-{plain}.toml": partial(fragment, name=named),
        "fit.svg": partial(picture, name=named),
    }
    task = Task(
        progress=Saying(common.quiet, "the tyre"),
        compute=lambda _: fit_tyre(table, rig),
        text=words,
        as_dict=partial(as_dict, name=named),
        passes=lambda fit: fit.is_whole,
        cautions=lambda fit: fit.cautions,
        name="fit",
        files=files,
        reads=[measured],
    )
    run(replace(common, project=str(Path(measured).parent)), task)


def _name(ctx: click.Context, name: str) -> str:
    from setupopt.project.field_types import NAME, is_plain

    if not is_plain(name):
        raise click.BadParameter(
            f"found {name!r}, expected {NAME}", ctx, param_hint="--name"
        )
    return name


def _rig(
    ctx: click.Context, radius: float | None, width: float | None, grip: float, from_touch: bool,
    noise: dict[str, float],
) -> Rig:  # fmt: skip
    from setupopt.fit.tyre_table import NOISE, Rig, noiseless

    unknown = [key for key in noise if key not in NOISE]
    if unknown:
        raise click.BadParameter(
            f"found {unknown[0]!r}, expected one of {', '.join(NOISE)}", ctx
        )
    if silent := noiseless(noise):
        raise click.BadParameter(
            f"found no noise of {silent}, expected some",
            ctx,
            param_hint="--noise",
        )
    return Rig(
        surface_grip=grip,
        from_touch=from_touch,
        noise=noise,
        radius=None if radius is None else radius * MM,
        tread_width=None if width is None else width * MM,
    )


command.add_command(air)
