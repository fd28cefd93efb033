"""A page's setup as a file of the project: a new one always."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from setupopt.errors import OutputError, UserError, printable
from setupopt.explore.wish import Choices, Wish
from setupopt.files import reason, write_whole
from setupopt.project.writing import setup_text
from setupopt.report.shared.words import setup_comment

_PLAIN = re.compile(
    r"[\w][\w .+-]{0,79}"
)  # a name of a file in the folder itself, on any disk


def save_setup(
    choices: Choices, wish: Wish, name: object, margin: float
) -> Path:
    """Write the setup to NAME.toml in the project's folder. Raises UserError, and where there is such a file.

    `margin`: the exact worst margin, minus infinity where contact is lost.
    """
    if (
        not isinstance(name, str)
        or not _PLAIN.fullmatch(name)
        or printable(name) != name
    ):
        raise UserError(
            "name of the file: expected letters, digits, blanks, or any of _ . + -, 80 at most"
        )
    project = choices.apply(wish)
    stem = name.removesuffix(".toml").rstrip(" .")
    path = project.folder / f"{stem}.toml"
    what = f"Made by hand in explore, for {project.venue.name} at {wish.speed:g} m/s"
    named = replace(project.setup, name=stem)
    text = setup_text(named, None, setup_comment(what, margin))
    try:
        path.open("x").close()  # nobody else's file from here on
    except OSError as error:
        why = (
            "there is such a file already"
            if isinstance(error, FileExistsError)
            else reason(error)
        )
        raise OutputError(str(path), why) from None
    try:
        write_whole(path, text)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return path
