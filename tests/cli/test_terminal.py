"""What is seen on a real terminal: widths, colour, waiting, and what an interrupt leaves."""

from __future__ import annotations

import doctest
import fcntl
import os
import re
import select
import struct
import sys
import termios
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from processes import MAIN

from setupopt.cli import waiting
from setupopt.cli.waiting import Progress, Saying
from setupopt.report.shared.tables import shown_width

pty = pytest.importorskip("pty", reason="no pseudo-terminals here")

# A wait that shows itself at once, and work that says nothing meanwhile.
WAIT = """
import time
from setupopt.cli import waiting
waiting._PATIENCE = waiting._PERIOD = 0.02
with waiting.{wait} as progress:
    time.sleep(0.2)
print("done")
"""


class Terminal:
    """A pseudo-terminal with a process of ours on it."""

    def __init__(
        self, code: str, *args: str | Path, width: int = 80, **environment: str
    ) -> None:
        # Its width is set before the program looks at it
        argv = [sys.executable, "-c", code, *map(str, args)]
        home, self.screen = pty.openpty()
        fcntl.ioctl(
            self.screen,
            termios.TIOCSWINSZ,
            struct.pack("HHHH", 40, width, 0, 0),
        )
        self.pid = os.fork()
        if self.pid == 0:
            os.login_tty(self.screen) if hasattr(os, "login_tty") else _adopt(
                self.screen
            )
            kept = {
                name: value
                for name, value in os.environ.items()
                if name not in ("COLUMNS", "NO_COLOR")
            }
            os.execve(
                argv[0], argv, kept | {"TERM": "xterm-256color"} | environment
            )
        os.close(self.screen)
        self.home, self.text = home, ""

    def read_till(self, word: str | None = None) -> str:
        """All that was written until the word, or the end."""
        end = time.monotonic() + 120.0
        while (
            word is None or word not in self.text
        ) and time.monotonic() < end:
            if select.select([self.home], [], [], 1.0)[0]:
                try:
                    read = os.read(self.home, 65536)
                except (
                    OSError
                ):  # how a pseudo-terminal says that the other side is closed
                    break
                if not read:
                    break
                self.text += read.decode(errors="replace")
        return self.text

    def press(self, keys: bytes) -> None:
        """Type."""
        os.write(self.home, keys)

    def end(self) -> tuple[int, str]:
        """Exit status, and what stands on the screen at last."""
        self.read_till()
        status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        os.close(self.home)
        return status, left_on_screen(self.text)


def _adopt(terminal: int) -> None:
    """Make a terminal the one of this process, as `login_tty` does."""
    os.setsid()
    fcntl.ioctl(terminal, termios.TIOCSCTTY, 0)
    for stream in range(3):
        os.dup2(terminal, stream)


def left_on_screen(text: str) -> str:
    """What a terminal shows: letters after a carriage return stand over those before.

    >>> left_on_screen("ab\\rc\\r\\n")
    'cb\\n'
    """
    lines = []
    for line in text.replace("\r\n", "\n").split("\n"):
        shown: list[str] = []
        for piece in line.split("\r"):
            shown[: len(piece)] = piece
        lines.append("".join(shown).rstrip())
    return "\n".join(lines)


def test_examples_in_the_text() -> None:
    """The doctests hold, of the waits and of the screen."""
    assert doctest.testmod(waiting).failed == 0
    assert left_on_screen("ab\rc\r\n") == "cb\n"


@pytest.mark.parametrize("width", [80, 160])
def test_assess_fills_its_terminal_and_no_more(held: Path, width: int) -> None:
    """The width is the terminal's own; neither escapes nor what was said while waiting are left."""
    status, shown = (
        terminal := Terminal(MAIN, "assess", held, width=width)
    ).end()
    assert status == 0 and "\x1b" not in terminal.text
    widest = max(map(shown_width, shown.splitlines()))
    assert width - 20 <= widest <= width
    assert "so far" not in shown and not re.search(r"about .* left", shown)


@pytest.mark.parametrize(
    "wait", ["Progress(10, False)", 'Saying(False, "the tyre")']
)
@pytest.mark.parametrize("width", [30, 80])
def test_wait_is_told_in_one_line_and_taken_away(wait: str, width: int) -> None:
    """It never runs over the edge, where it could not be taken back; after it the line is empty.

    Two places stay free at its end: there the terminal puts the control-C that somebody presses.
    """
    terminal = Terminal(WAIT.format(wait=wait), width=width)
    status, shown = terminal.end()
    assert (status, shown) == (0, "done\n")
    frames = [piece for piece in terminal.text.split("\r") if "so far" in piece]
    assert len(frames) >= 3
    assert max(map(shown_width, frames)) < width - 2


@pytest.mark.parametrize("environment", [{"TERM": "dumb"}, {"NO_COLOR": "1"}])
def test_no_escapes_where_they_are_unwanted(
    environment: dict[str, str],
) -> None:
    """A terminal that can only print gets no line over a line; nobody gets colours."""
    terminal = Terminal(WAIT.format(wait="Saying(False)"), **environment)
    assert terminal.end()[1] == "done\n"
    assert "\x1b" not in terminal.text
    assert ("so far" in terminal.text) == ("NO_COLOR" in environment)


def test_interrupt_leaves_the_terminal_clean() -> None:
    """Control-C while waiting: the line is taken away, and one word said instead."""
    code = f"""
from setupopt.cli import waiting
from setupopt.evaluation import assessment
waiting._PATIENCE = waiting._PERIOD = 0.02
assessment.assess = lambda *args: waiting.time.sleep(60)
{MAIN}
"""
    from setupopt.cli.start import examples_folder

    terminal = Terminal(code, "assess", examples_folder() / "bore")
    terminal.read_till("cases  [")
    terminal.press(b"\x03")
    status, shown = terminal.end()
    assert status == 130
    assert shown == "stopped; nothing was written\n"


# ---- how much longer ---------------------------------------------------------------------------------------


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Sets the time since the start."""
    now = [0.0]
    monkeypatch.setattr(waiting.time, "monotonic", lambda: now[0])
    return lambda seconds: now.__setitem__(0, seconds)


def told(wait: Progress | Saying) -> str:
    """What a wait would show now."""
    return "  ".join(wait._state())


def test_time_left_is_that_of_work_at_the_same_pace(
    clock: Callable[[float], None],
) -> None:
    """10 of 40 in 5 s since the first look: the 30 that are left take 15 s. What was kept does not count."""
    progress = Progress(60, quiet=True)
    progress(20)
    clock(1.0)
    assert "20 of 60, 0:01 so far" in told(progress)
    clock(6.0)
    progress(10)
    assert "30 of 60, about 0:15 left" in told(progress)
    clock(21.0)
    progress(30)
    assert "[####################]  60 of 60, about 0:00 left" in told(progress)


def test_no_time_is_promised_where_nothing_tells(
    clock: Callable[[float], None],
) -> None:
    """Nothing done yet, or work of unknown length: the time that has gone by."""
    progress, saying = Progress(10, quiet=True), Saying(quiet=True)
    told(progress)
    clock(83.0)
    assert "0 of 10, 1:23 so far" in told(progress)
    saying("parts, 3 sets solved")
    assert told(saying) == "parts, 3 sets solved  1:23 so far"


def test_inner_wait_hides_the_outer_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A bar inside a longer stage: one line at a time, and the outer one comes back."""
    seen: list[str] = []
    monkeypatch.setattr(waiting, "is_terminal", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(waiting, "_put", seen.append)
    monkeypatch.setattr(waiting, "_PATIENCE", 0.01)
    monkeypatch.setattr(waiting, "_PERIOD", 0.01)

    def await_word(word: str) -> None:
        end = time.monotonic() + 10.0
        while not any(word in text for text in seen) and time.monotonic() < end:
            time.sleep(0.005)
        assert any(word in text for text in seen)

    with Saying(False, "outer"):
        await_word("outer")
        with Progress(3, False, "inner"):
            seen.clear()
            await_word("inner")
            assert not any("outer" in text for text in seen)
        seen.clear()
        await_word("outer")
    assert left_on_screen("".join(seen)) == ""


COMPUTING: Sequence[str] = (
    "assess",
    "compare",
    "prove",
    "propose",
    "readback",
    "report",
    "sheet",
    "speeds",
)


@pytest.mark.parametrize("name", COMPUTING)
def test_every_command_says_that_it_loads(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Solvers take seconds to load from a cold disk: the wait begins before the first of them."""
    from click.testing import CliRunner

    from setupopt.cli.main import group

    said: list[str] = []
    entered = Saying.__enter__
    monkeypatch.setattr(
        Saying,
        "__enter__",
        lambda self: (said.append(self._words), entered(self))[1],
    )
    more = [tmp_path / "m.csv"] if name == "readback" else []
    result = CliRunner().invoke(
        group, [name, str(tmp_path / "none"), *map(str, more)]
    )
    assert result.exit_code == 2
    assert said == ["loading"]
