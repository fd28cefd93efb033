"""What the user sees while waiting, on standard error and only on a terminal."""

from __future__ import annotations

import os
import sys
import threading
import time
from types import TracebackType
from typing import ClassVar, Self

import click

_PATIENCE = 1.0  # seconds before a line appears; shorter work needs none
_PERIOD = 0.5  # seconds between two drawings
_BAR = 20  # places
_TYPED = 2  # places behind the line where a terminal shows the control-C that was pressed


def is_terminal() -> bool:
    """Whether standard error is a terminal."""
    return sys.stderr is not None and sys.stderr.isatty()


def say_compiling(quiet: bool) -> None:
    """Announce the compilation that only the first run of a version needs."""
    if quiet or not is_terminal():
        return
    with loading(quiet):
        from setupopt.physics.kept_kernels import is_compiled_already

    if not is_compiled_already():
        click.echo("compiling the model once, about 20 seconds", err=True)


class _Waiting:
    """One line on the terminal while work goes on; it is removed at the end.

    A thread draws it, so that the clock goes on while the work reports nothing. Waits may be nested; the
    innermost is shown.
    """

    _open: ClassVar[list[_Waiting]] = []
    _drawn: ClassVar[int] = 0  # places of the line that stands on the terminal
    _lock: ClassVar[threading.Lock] = threading.Lock()

    def __init__(self, quiet: bool) -> None:
        self._shown = (
            is_terminal() and not quiet and os.environ.get("TERM") != "dumb"
        )
        self._start = time.monotonic()
        self._over = threading.Event()
        self._drawing = threading.Thread(
            target=self._draw_till_over, daemon=True
        )

    def _elapsed(self) -> float:
        return time.monotonic() - self._start

    def _state(self) -> tuple[str, str]:
        """What is done, which may be cut; the state of the work, which may not."""
        raise NotImplementedError

    def _draw_till_over(self) -> None:
        wait = _PATIENCE
        while not self._over.wait(wait):
            with self._lock:
                if self._open[-1:] == [self]:
                    self._draw()
            wait = _PERIOD

    def _draw(self) -> None:
        from setupopt.report.shared.tables import cut, shown_width

        words, state = self._state()
        most = _columns() - _TYPED - 1
        line = cut(
            f"{cut(words, max(most - len(state) - 2, 4))}  {state}", most
        )
        blank = " " * (self._drawn - shown_width(line))
        _Waiting._drawn = shown_width(line)
        _put(f"\r{line}{blank}")

    def __enter__(self) -> Self:
        if self._shown:
            with self._lock:
                self._open.append(self)
            self._drawing.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        if self._shown:
            with self._lock:
                self._open.remove(self)
                if self._drawn:
                    _put("\r" + " " * (self._drawn + _TYPED) + "\r")
                    _Waiting._drawn = 0
            self._drawing.join()


class Progress(_Waiting):
    """Work of known length, with the time that is left; call it with what was added."""

    def __init__(self, total: int, quiet: bool, what: str = "cases") -> None:
        super().__init__(quiet)
        self._total = total
        self._what = what
        self._done = 0
        self._mark: tuple[float, int] | None = None

    def __call__(self, added: int) -> None:
        """Count what was added."""
        self._done += added

    def _state(self) -> tuple[str, str]:
        from setupopt.report.shared.tables import bar

        share = self._done / self._total if self._total else 1.0
        words = f"{self._what}  [{bar(share, _BAR):.<{_BAR}}]"
        return words, f"{self._done} of {self._total}, {self._time()}"

    def _time(self) -> str:
        """Time left, or the time since the start where the rest cannot be estimated yet.

        What was done before the first look is not counted: it was kept from an earlier run.
        """
        elapsed = self._elapsed()
        if self._mark is None:
            self._mark = (elapsed, self._done)
        began, before = self._mark
        if self._done <= before:
            return _so_far(elapsed)
        left = (
            (elapsed - began)
            / (self._done - before)
            * (self._total - self._done)
        )
        return f"about {clock(left)} left"


class Saying(_Waiting):
    """Work of unknown length, with the time since its start; call it with what is done now."""

    def __init__(self, quiet: bool, words: str = "working") -> None:
        super().__init__(quiet)
        self._words = words

    def __call__(self, words: str) -> None:
        """Show other words."""
        self._words = words

    def _state(self) -> tuple[str, str]:
        return self._words, _so_far(self._elapsed())


def loading(quiet: bool) -> Saying:
    """For the reading of inputs and the import of solvers, which takes seconds on a slow disk."""
    return Saying(quiet, "loading")


def writing(quiet: bool) -> Saying:
    """For pictures, pages and files."""
    return Saying(quiet, "pictures and files")


def clock(seconds: float) -> str:
    """Minutes and seconds, and hours where there are any.

    >>> clock(5), clock(83.2), clock(3661)
    ('0:05', '1:23', '1:01:01')
    """
    minutes, second = divmod(round(seconds), 60)
    hours, minute = divmod(minutes, 60)
    return (
        f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"
    )


def _so_far(seconds: float) -> str:
    return f"{clock(seconds)} so far"


def _columns() -> int:
    """Width of the terminal behind standard error; a longer line could not be removed."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or 80
    except (OSError, ValueError):
        return 80


def _put(text: str) -> None:
    """Write to standard error; do nothing where the terminal has gone."""
    try:
        sys.stderr.write(text)
        sys.stderr.flush()
    except (OSError, ValueError):
        return
