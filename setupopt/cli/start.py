"""`setupopt start`: a copy of a ready example to edit."""

from __future__ import annotations

import contextlib
import difflib
import os
import shlex
import shutil
import tomllib
from pathlib import Path

import click

import setupopt
from setupopt.cli import completing, options
from setupopt.cli.outputs import as_json_text
from setupopt.errors import OutputError, UserError, printable
from setupopt.files import resolved, undisturbed


def _list(ctx: click.Context, param: click.Parameter, wanted: bool) -> None:
    """Print the examples, and copy none."""
    if not wanted or ctx.resilient_parsing:
        return
    from setupopt.report.shared.tables import (
        keyed_table,
        screen_width,
    )

    rows = [
        {"name": name, "what": words_of(folder)}
        for name, folder in examples().items()
    ]
    shown = "example=name: w; what it is=what: w least=40"
    click.echo(keyed_table(rows, shown, screen_width()))
    ctx.exit()


def _names(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[str]:
    return [name for name in examples() if name.startswith(incomplete)]


@click.command("start")
@click.argument("folder", metavar="DIR", type=completing.FOLDER)
@click.option(
    "--example", default="bore", show_default=True, metavar="NAME", shell_complete=_names,
    help="Which example to copy.",
)  # fmt: skip
@click.option(
    "--list", is_flag=True, is_eager=True, expose_value=False, callback=_list,
    help="Show the examples, each with what it is, and exit.",
)  # fmt: skip
@options.json_option
def command(folder: str, example: str, as_json: bool) -> None:
    """Copy a ready example into DIR, which must be new or empty.

    \b
    Example: setupopt start my-car --example hill
      a car and a hillclimb, both invented, to put your own numbers in
    """
    source = find_example(example)
    target = Path(folder)
    copy_whole(source, target)
    names = sorted(path.name for path in target.iterdir())
    if as_json:
        answer = {
            "folder": folder,
            "example": example,
            "files": names,
            "what": words_of(source),
        }
        click.echo(as_json_text(answer), nl=False)
        return
    click.echo(
        printable(
            f'{folder}: a copy of the example "{example}" ({", ".join(names)})'
        )
    )
    click.echo(f"{words_of(source)}: put in your own numbers")
    _say_ranges(shlex.quote(folder))
    click.echo(printable(f"next: setupopt assess {shlex.quote(folder)}"))


def _say_ranges(folder: str) -> None:
    """What is usual for the numbers that no tape and no scales give."""
    from setupopt.project.usual_ranges import USUAL_RANGES
    from setupopt.report.shared.tables import (
        keyed_table,
        screen_width,
    )

    rows = [
        {"number": number, "usual": usual}
        for number, usual in USUAL_RANGES.items()
    ]
    shown = "number=number: w; usual=usual: w least=30"
    click.echo(
        "\nNumbers that need a rig or a tunnel, and what is usual (common practice, no source):"
    )
    click.echo(keyed_table(rows, shown, screen_width()))
    click.echo(
        printable(
            f"setupopt assess {folder} --sensitivity says which of them matters here"
        )
    )


# What commands write into a project; an example that was tried out in its own folder may have it.
_RESULTS = {
    "proposed.toml", "proposal.txt", "proposal.json", "tradeoff.svg", "proved", "sheets", "revisions.csv",
    "report.html",
    *(f"alternative-{number}.toml" for number in range(1, 10)),
}  # fmt: skip


def examples_folder() -> Path:
    """Folder of the examples: inside an installed package, or beside it in the repository."""
    package = Path(setupopt.__file__).parent
    inside = package / "setups"
    return inside if inside.is_dir() else package.parent / "setups"


def examples() -> dict[str, Path]:
    """Folders of the examples by name."""
    return {
        path.parent.name: path.parent
        for path in sorted(examples_folder().glob("*/car.toml"))
    }


def words_of(example: Path) -> str:
    """What an example is: the names of its car and its venue in the files."""
    car, venue = (_name_in(example, kind) for kind in ("car", "venue"))
    return f"{car} at {venue}"


def _name_in(example: Path, kind: str) -> str:
    read = tomllib.loads((example / f"{kind}.toml").read_text(encoding="utf-8"))
    return str(read[kind]["name"])


def find_example(name: str) -> Path:
    """Folder of an example. Raises UserError with the near name and all that there are."""
    found = examples()
    if name not in found:
        names = ", ".join(found) or "none, the examples are not installed"
        near = difflib.get_close_matches(name[:80], found, 1)
        meant = f" (did you mean {near[0]}?)" if near else ""
        raise UserError(
            f"--example: found {name!r}{meant}, expected one of: {names}"
        )
    return found[name]


def copy_whole(source: Path, target: Path) -> None:
    """Copy a folder's content to a new or empty one, whole or not at all. Raises OutputError."""
    try:
        if target.is_dir() and any(target.iterdir()):
            raise OutputError(str(target), "the folder is not empty")
        if os.path.lexists(target) and not target.is_dir():
            raise OutputError(str(target), "it is not a folder")
        place = resolved(target)
        # the folder and those above it that are yet to be made, the innermost first
        made = [
            folder for folder in (place, *place.parents) if not folder.exists()
        ]
        try:
            with undisturbed():
                _copy(source, place)
        except BaseException:
            _take_away(made[:1])
            _remove_empty(made[1:])
            raise
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = (
            error.strerror if isinstance(error, OSError) else None
        ) or str(error)
        raise OutputError(str(target), reason) from None


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        with contextlib.suppress(OSError):
            folder.rmdir()


def _take_away(paths: list[Path]) -> None:
    for path in paths:
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _copy(source: Path, place: Path) -> None:
    """Copy to a folder beside the target, then rename it."""
    there = place.is_dir()
    home = place if there else place.parent
    home.mkdir(parents=True, exist_ok=True)
    spare = home / f".setupopt.{os.urandom(6).hex()}.tmp"
    try:
        _copy_files(source, spare)
        if there:
            _move_up(spare, place)
        else:
            spare.rename(place)
    finally:
        shutil.rmtree(spare, ignore_errors=True)


def _copy_files(source: Path, target: Path) -> None:
    """Copy what a user edits, as files of their own: an installed example may be read-only."""
    for path in sorted(source.rglob("*")):
        inner = path.relative_to(source)
        hidden = any(part.startswith((".", "__")) for part in inner.parts)
        if path.is_file() and not hidden and inner.parts[0] not in _RESULTS:
            (target / inner).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target / inner)


def _move_up(spare: Path, place: Path) -> None:
    """Move a folder's content one up: the user may be in `place`, which must then stay the same folder."""
    moved: list[Path] = []
    try:
        for path in sorted(spare.iterdir()):
            moved.append(path.rename(place / path.name))
    except BaseException:
        _take_away(moved)
        raise
