"""What the user sees while waiting, on standard error and only on a terminal."""

from __future__ import annotations

import os
import sys
import time
from types import TracebackType
from typing import Any, Self

import click

_PATIENCE = 1.0  # seconds before a bar appears; shorter work needs none


def is_terminal() -> bool:
    """Whether standard error is a terminal."""
    return sys.stderr is not None and sys.stderr.isatty()


def say_compiling(quiet: bool) -> None:
    """Announce the compilation that only the first run of a version needs."""
    if quiet or not is_terminal():
        return
    from setupopt.physics.jit import is_compiled_already

    if not is_compiled_already():
        click.echo("compiling the model once, about 20 s", err=True)


class _Waiting:
    """What stands on the terminal while work goes on, and is taken away after it."""

    def __init__(self, quiet: bool) -> None:
        self._shown = is_terminal() and not quiet and os.environ.get("TERM") != "dumb"
        self._start = time.monotonic()

    def _is_due(self) -> bool:
        """Whether the wait has become long enough to say something."""
        return self._shown and time.monotonic() - self._start > _PATIENCE

    def _clear(self) -> None:
        """Leave the terminal as it was."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._clear()


class Progress(_Waiting):
    """A bar that appears when work takes longer than a moment; call it with what was added."""

    def __init__(self, total: int, quiet: bool, what: str = "cases") -> None:
        super().__init__(quiet)
        self._total, self._what = total, what
        self._done = 0
        self._bar: Any = None

    def __call__(self, added: int) -> None:
        """Count `added`, and show it if the wait is long."""
        self._done += added
        if self._bar is not None:
            self._bar.update(added)
        elif self._done < self._total and self._is_due():
            self._bar = click.progressbar(length=self._total, label=self._what, file=sys.stderr)
            self._bar.__enter__()
            self._bar.update(self._done)

    def _clear(self) -> None:
        if self._bar is not None:
            self._bar.__exit__(None, None, None)


class Saying(_Waiting):
    """One line that says how far the work is, for work of unknown length; call it with the words."""

    def __init__(self, quiet: bool) -> None:
        super().__init__(quiet)
        self._longest = 0

    def __call__(self, words: str) -> None:
        """Show the words in place of the last ones."""
        if self._is_due():
            self._longest = max(self._longest, len(words))
            click.echo(f"\r{words:<{self._longest}}", nl=False, err=True)

    def _clear(self) -> None:
        if self._longest:
            click.echo("\r" + " " * self._longest + "\r", nl=False, err=True)
