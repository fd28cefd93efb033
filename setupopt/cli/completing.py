"""What the tab key offers: files and folders of the right kind, settings.

Nothing slow is imported here: an offer must come before the next key.
"""

# A path stays as it was typed
# ruff: noqa: PTH111, PTH118, PTH119

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from os.path import basename, expanduser, join

import click
from click.shell_completion import CompletionItem

# Names of which every shell makes one word; for others its own completion knows better what to escape.
_PLAIN = re.compile(r"[\w@%+,./~-]*")


class FolderName(click.ParamType):
    """A folder, as it was typed."""

    name = "folder"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The shell knows folders itself."""
        return [CompletionItem(incomplete, type="dir")]


class FileName(click.ParamType):
    """A file, as it was typed; files of these endings are offered, and folders to look into.

    With `in_project` files of the folder given as PROJECT are offered too, by their mere names.
    """

    name = "file"

    def __init__(self, *endings: str, in_project: bool = False) -> None:
        self.endings, self.in_project = endings, in_project

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The one folder that fits, or names with odd letters, are left to the shell."""
        found = set(self._near(incomplete))
        # An option that waits for its value leaves the arguments unread
        project = ctx.params.get("project") or next(iter(ctx.args), None)
        if self.in_project and project and "/" not in incomplete:
            files = self._near(join(project, incomplete))
            found |= {
                basename(file) for file in files if not file.endswith("/")
            }
        if not all(_PLAIN.fullmatch(name) for name in found):
            return [CompletionItem(incomplete, type="file")]
        if len(found) == 1 and min(found).endswith("/"):
            return [CompletionItem(incomplete, type="dir")]
        return [CompletionItem(name) for name in sorted(found)]

    def _near(self, incomplete: str) -> Iterator[str]:
        """What the disk has that begins so; folders end with a slash."""
        folder, start = os.path.split(incomplete)
        try:
            entries = list(os.scandir(expanduser(folder) or "."))
        except OSError:
            return
        for entry in entries:
            hidden = entry.name.startswith(".") and not start
            if entry.name.startswith(start) and not hidden:
                name = join(folder, entry.name)
                yield from self._named(name, entry.is_dir())

    def _named(self, name: str, is_folder: bool) -> Iterable[str]:
        if is_folder:
            return [f"{name}/"]
        return [name] if name.endswith(self.endings) else []


def settings(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """What can be kept: the settings of an axle, of both, and the body."""
    from setupopt.project.model import AXLES
    from setupopt.project.settings import SETTINGS

    keys = [setting.key for setting in SETTINGS]
    names = [
        "body",
        "balance",
        "wings",
        "ballast",
        *keys,
        *(f"{axle}.{key}" for axle in AXLES for key in keys),
    ]
    return [
        CompletionItem(name) for name in names if name.startswith(incomplete)
    ]


SETUP = FileName(".toml", in_project=True)
TABLE = FileName(".csv")
FOLDER = FolderName()
