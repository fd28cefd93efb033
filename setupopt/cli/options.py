"""Options that several commands share, in the same words everywhere."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from setupopt.cli import completing

if TYPE_CHECKING:
    from setupopt.jobs.pool import WorkerPool
    from setupopt.project import Project


Option = Callable[[Callable[..., Any]], Callable[..., Any]]
_Param = click.Parameter | None
_Context = click.Context | None


@dataclass(frozen=True)
class Common:
    """Values of the options that most commands have."""

    project: str = ""
    setup_file: str | None = None
    out: str | None = None
    as_json: bool = False
    quiet: bool = False
    excel: bool = False
    floor: float | None = None

    def load(self, setup_file: str | None = None) -> Project:
        """The project on the setup of --setup, or else on `setup_file`, or on setup.toml.

        Raises InputErrors.
        """
        from setupopt.project import load

        return load(self.project, self.setup_file or setup_file)

    def proposed(self) -> str | None:
        """The proposed setup of the project, where there is one: the target of sheet and readback."""
        name = "proposed.toml"
        return name if (Path(self.project) / name).is_file() else None

    def setup_words(
        self, project: Project, setup_file: str | None = None
    ) -> str:
        """Which setup a command takes, with the file that `load` has read: the line that is printed."""
        from setupopt.project.reading import setup_path

        path = setup_path(project.folder, self.setup_file or setup_file)
        return f"Setup: {project.setup.name} ({path})"


class Finite(click.ParamType):
    """A finite number, if wanted between two others. Python also reads "nan" and "inf", which are refused."""

    name = "number"

    def __init__(
        self, least: float = -math.inf, most: float = math.inf
    ) -> None:
        self.least = least
        self.most = most

    def convert(self, value: Any, param: _Param, ctx: _Context) -> float:
        """The number; a usage error for anything else."""
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            self.fail(f"found {value!r}, expected a number", param, ctx)
        if not self.least <= number <= self.most:
            upper = "" if math.isinf(self.most) else f", at most {self.most:g}"
            self.fail(
                f"found {value}, expected at least {self.least:g}{upper}",
                param,
                ctx,
            )
        return number


class Named(click.ParamType):
    """A number with a name, NAME=NUMBER, as (name, number). The name ends at the last "=".

    With `bare` a number alone is taken too; its name is None.
    """

    name = "number by name"

    def __init__(self, number: Finite, bare: bool = False) -> None:
        self.number = number
        self.bare = bare

    def convert(
        self, value: str, param: _Param, ctx: _Context
    ) -> tuple[str | None, float]:
        """Name and number; a usage error for anything else."""
        name, equals, number = (part.strip() for part in value.rpartition("="))
        if not name and (equals or not self.bare):
            form = "a number or NAME=NUMBER" if self.bare else "NAME=NUMBER"
            self.fail(f"found {value!r}, expected {form}", param, ctx)
        return name or None, self.number.convert(number, param, ctx)


def by_name(
    ctx: click.Context,
    param: click.Parameter,
    pairs: Iterable[tuple[Any, float]],
) -> dict[Any, float]:
    """The numbers of a repeated `Named` option by name; a usage error where a name comes twice."""
    found: dict[Any, float] = {}
    for name, number in pairs:
        if name in found:
            raise click.BadParameter(
                f"given twice{'' if name is None else f' for {name!r}'}",
                ctx,
                param,
            )
        found[name] = number
    return found


def checked_address(
    ctx: click.Context, param: click.Parameter, address: str | None
) -> str | None:
    """The address of a scheduler; one of a wrong form is refused before any work."""
    if (
        address is not None and not ctx.resilient_parsing
    ):  # completing must not wait for it
        from setupopt.jobs.cluster import refuse_address

        refuse_address(address)
    return address


def use_card(ctx: click.Context, param: click.Parameter, wanted: bool) -> None:
    """Large sweeps go to the card from here on; where there is none, says so and goes on without."""
    if not wanted or ctx.resilient_parsing:
        return
    from setupopt.physics import gpu, sweep

    why = gpu.missing()
    if why:
        click.echo(
            f"--gpu: {why}; the processor does the work, to the same numbers",
            err=True,
        )
    else:
        os.environ[sweep.ON_CARD] = "1"


def worker_pool(
    address: str | None,
) -> AbstractContextManager[WorkerPool | None]:
    """The workers of the scheduler at an address. Without an address None, which means all local cores."""
    if address is None:
        return nullcontext()
    from setupopt.jobs.cluster import cluster

    return cluster(address)


def collected(*params: Option) -> Option:
    """A decorator with these options, whose values the command gets as one `Common`, its first argument."""
    names = [field.name for field in fields(Common)]

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(command)
        def call(**given: Any) -> Any:
            values = {name: given.pop(name) for name in names if name in given}
            return command(Common(**values), **given)

        made: Callable[..., Any] = call
        for param in reversed(params):
            made = param(made)
        return made

    return decorate


def flag(names: str, help_text: str, **more: Any) -> Option:
    """A switch."""
    return click.option(*names.split(), is_flag=True, help=help_text, **more)


def number(
    names: str, metavar: str, help_text: str, least: float, most: float = math.inf, default: float | None = None,
) -> Option:  # fmt: skip
    """A finite number within a range; `names`: of the option, and of its value where that is another."""
    return click.option(
        *names.split(), type=Finite(least, most), metavar=metavar, default=default,
        show_default=default is not None, help=help_text,
    )  # fmt: skip


def count(
    name: str, help_text: str, default: int, least: int, most: int | None = None
) -> Option:
    """A whole number within a range."""
    return click.option(
        name, type=click.IntRange(least, most), default=default, show_default=True, metavar="N", help=help_text,
    )  # fmt: skip


def choice(
    names: str, among: Sequence[str], default: str, help_text: str
) -> Option:
    """One of a few words."""
    return click.option(
        *names.split(), type=click.Choice(among), default=default, show_default=True, help=help_text,
    )  # fmt: skip


def path(
    names: str, metavar: str, kind: click.ParamType, help_text: str
) -> Option:
    """A file or folder; `kind`: what a shell offers for it."""
    return click.option(
        *names.split(), metavar=metavar, type=kind, help=help_text
    )


project_argument = click.argument(
    "project", metavar="PROJECT", type=completing.FOLDER
)
setup_option = path(
    "--setup setup_file", "FILE", completing.SETUP,
    "Setup to take; a NAME is looked for in PROJECT first. Default setup.toml; for sheet and readback "
    "proposed.toml where there is one.",
)  # fmt: skip
out_option = path("--out", "DIR", completing.FOLDER, "Folder for the files written; made if missing.")  # fmt: skip
json_option = flag("--json as_json", "Only JSON on standard output.")
route_option = path(
    "--route route_file", "FILE", completing.FOLDER,
    "The route.json of --out of route, for the same setup: its card is added.",
)  # fmt: skip
quiet_option = flag("--quiet", "No notes and no progress; only the essential.")
excel_option = flag(
    "--excel",
    "Write every table as .xlsx too, beside its CSV. Needs the extra `excel`.",
)
_MARGINS = (-10.0, 10.0)  # no margin is beyond these
floor_option = number(
    "--floor",
    "MARGIN",
    "Minimum margin; exit status 1 when it is not reached.",
    *_MARGINS,
)
floors_option = click.option(
    "--floor",
    "floors", type=Named(Finite(*_MARGINS), bare=True), multiple=True, callback=by_name,
    metavar="[NAME=]MARGIN", help="Minimum margin; exit status 1 when it is not reached. With the NAME of an "
    "attitude: the minimum of this attitude alone. May be repeated.",
)  # fmt: skip

cluster_option = click.option(
    "--cluster", metavar="ADDRESS", callback=checked_address,
    help="Dask scheduler whose workers do the "
    "work, such as tcp://10.0.0.5:8786; same numbers. Needs the extra `cluster`.",
)  # fmt: skip

gpu_option = flag(
    "--gpu",
    "Large sweeps on an NVIDIA card; margins agree to 1e-9. Needs the extra `gpu`.",
    expose_value=False, callback=use_card,
)  # fmt: skip

_OUTPUT = (out_option, json_option, quiet_option, excel_option)
output = collected(*_OUTPUT)
with_floors = collected(project_argument, setup_option, *_OUTPUT, floors_option)
common = collected(project_argument, setup_option, *_OUTPUT, floor_option)
