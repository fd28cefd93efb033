"""Options that several commands share, in the same words everywhere."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING, Any, TypeVar

import click

from setupopt.cli import completing

if TYPE_CHECKING:
    from setupopt.jobs.pool import WorkerPool

F = TypeVar("F", bound=Callable[..., Any])


class Finite(click.ParamType):
    """A number that is one: Python also reads "nan" and "inf". It may have to lie between two others."""

    name = "number"

    def __init__(self, least: float = -math.inf, most: float = math.inf) -> None:
        self.least, self.most = least, most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; a usage error for anything else."""
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            self.fail(f"found {value!r}, expected a number", param, ctx)
        if not self.least <= number <= self.most:
            upper = "" if math.isinf(self.most) else f", at most {self.most:g}"
            self.fail(f"found {value}, expected at least {self.least:g}{upper}", param, ctx)
        return number


class Named(click.ParamType):
    """A number with a name, NAME=NUMBER, as (name, number): the name is all before the last "=".

    With `bare` a number alone will do as well; its name is None.
    """

    name = "number by name"

    def __init__(self, number: Finite, bare: bool = False) -> None:
        self.number, self.bare = number, bare

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str | None, float]:
        """Name and number; a usage error for anything else."""
        name, equals, number = (part.strip() for part in value.rpartition("="))
        if not name and (equals or not self.bare):
            form = "a number or NAME=NUMBER" if self.bare else "NAME=NUMBER"
            self.fail(f"found {value!r}, expected {form}", param, ctx)
        return name or None, self.number.convert(number, param, ctx)


def by_name(
    ctx: click.Context, param: click.Parameter, pairs: Iterable[tuple[Any, float]]
) -> dict[Any, float]:
    """What a repeated `Named` option gives, by name; a usage error where one comes twice."""
    found: dict[Any, float] = {}
    for name, number in pairs:
        if name in found:
            raise click.BadParameter(f"given twice{'' if name is None else f' for {name!r}'}", ctx, param)
        found[name] = number
    return found


def checked_address(ctx: click.Context, param: click.Parameter, address: str | None) -> str | None:
    """The address of a scheduler, refused before any work where it can be none."""
    if address is not None and not ctx.resilient_parsing:  # completing must not wait for it
        from setupopt.jobs.cluster import refuse_address

        refuse_address(address)
    return address


def crew(address: str | None) -> AbstractContextManager[WorkerPool | None]:
    """The workers of the scheduler at an address; without one None, which is all local cores."""
    if address is None:
        return nullcontext()
    from setupopt.jobs.cluster import cluster

    return cluster(address)


project_argument = click.argument("project", metavar="PROJECT", type=completing.FOLDER)
setup_option = click.option(
    "--setup", "setup_file", metavar="FILE", type=completing.SETUP,
    help="Setup to stand on, instead of the project's setup.toml.",
)  # fmt: skip
out_option = click.option(
    "--out", metavar="DIR", type=completing.FOLDER, help="Folder for the files written; made if missing."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Only JSON on standard output.")
quiet_option = click.option("--quiet", is_flag=True, help="No notes and no progress; only the essential.")
floor_option = click.option(
    "--floor", type=Finite(), metavar="MARGIN", help="Least margin; exit status 1 when it is not reached."
)
floors_option = click.option(
    "--floor", "floors", type=Named(Finite(), bare=True), multiple=True, callback=by_name,
    metavar="[NAME=]MARGIN", help="Least margin; exit status 1 when it is not reached. With the NAME of an "
    "attitude: all that this one needs. May be repeated.",
)  # fmt: skip

cluster_option = click.option(
    "--cluster", metavar="ADDRESS", callback=checked_address, help="Dask scheduler whose workers do it, such "
    "as tcp://10.0.0.5:8786; same numbers. Needs the extra `cluster`.",
)  # fmt: skip

_COMMON = (project_argument, setup_option, out_option, json_option, quiet_option, floor_option)


def without_project(command: F) -> F:
    """All of `common` but PROJECT, for a command with more arguments."""
    for option in reversed(_COMMON[1:]):
        command = option(command)
    return command


def common(command: F) -> F:
    """PROJECT and the options --setup, --out, --json, --quiet and --floor.

    Their arguments are `project`, `setup_file`, `out`, `as_json`, `quiet` and `floor`.
    """
    for option in reversed(_COMMON):
        command = option(command)
    return command


def with_floors(command: F) -> F:
    """As `common`, but --floor may name attitudes: `floors` is a dict, None the name of all of them."""
    for option in (floors_option, *reversed(_COMMON[:-1])):
        command = option(command)
    return command
