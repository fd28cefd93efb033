"""Full disks, places that cannot be written, runs that are stopped, runs at the same time."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from cli import folders
from click.testing import CliRunner
from processes import COMMAND

from setupopt.cli.main import group
from setupopt.errors import OutputError
from setupopt.files import undisturbed, write_whole
from setupopt.sheet import revisions
from setupopt.sheet.revisions import LOG, Revision, reserve

from .apart import files_in, run_apart

DAY = ("--date", "2026-01-31")
LINE = Revision(
    0, "2026-01-31", "A. Nobody", "baseline", "0" * 12, "0.1", "nothing"
)


@pytest.fixture
def held(tmp_path: Path) -> Path:
    """A project whose every case holds, and a second setup."""
    home = folders.held(tmp_path / "project")
    (home / "other.toml").write_text(
        (home / "setup.toml").read_text().replace("baseline", "other")
    )
    (home / "found.csv").write_text(
        "quantity,unit,fl,fr,rl,rr\ncamber_deg,deg,-2.4,,,\n"
    )
    return home


def lines(home: Path, out: Path) -> list[list[str | Path]]:
    """Commands that write, each into a folder of its own."""
    return [
        ["assess", home, "--out", out / "assess"],
        [
            "compare",
            home,
            "other.toml",
            "setup.toml",
            "--as-is",
            "--out",
            out / "compare",
        ],
        ["sheet", home, *DAY, "--out", out / "sheet"],
        ["readback", home, home / "found.csv", "--out", out / "readback"],
        ["start", out / "start"],
    ]


def test_a_full_disk_leaves_whole_files_or_none(
    held: Path, tmp_path: Path
) -> None:
    """The system refuses what goes beyond some bytes of a file, midway: status 2, the file named, its old
    content there, nothing half-written and no spare file; what was written is what is written else."""
    limits, count = (0, 50, 1500), len(lines(held, tmp_path))
    for most in limits:
        (tmp_path / str(most) / "assess").mkdir(parents=True)
        (tmp_path / str(most) / "assess" / "cases.csv").write_text("old")
    before = files_in(held)
    done = run_apart(
        [line for most in limits for line in lines(held, tmp_path / str(most))],
        np.repeat(limits, count).tolist(),
    )
    assert [one.odd for one in done] == [""] * 3 * count
    assert [one.status for one in done[:count]] == [0] * count
    good, log = files_in(tmp_path / "0"), files_in(held)
    assert before.items() < log.items() and log.keys() - before.keys() == {LOG}
    assert len((held / LOG).read_text().splitlines()) == 2
    for most, at in ((50, count), (1500, 2 * count)):
        out = tmp_path / str(most)
        for one in done[at : at + count]:
            assert one.status != 2 or str(out) in one.output
            assert one.status == 2 or most > 50
        left = files_in(out)
        assert left["assess/cases.csv"] == b"old" or most > 50
        assert left.items() <= good.items() | {("assess/cases.csv", b"old")}
        assert not any(name.startswith("start") for name in left)


def test_a_line_of_the_log_is_whole_or_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that takes half a line: refused, and the half is taken back."""
    reserve(tmp_path, LINE)
    before = (tmp_path / LOG).read_bytes()
    write = os.write
    monkeypatch.setattr(
        revisions.os,
        "write",
        lambda handle, raw: write(handle, raw[: len(raw) // 2]),
    )
    with pytest.raises(OutputError, match="No space left"):
        reserve(tmp_path, replace(LINE, checksum="1" * 12))
    assert (tmp_path / LOG).read_bytes() == before


def test_a_number_is_taken_before_the_files(
    held: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that ends between log and files has used its number: the next setup gets the next one."""

    def killed(contents: object) -> None:
        raise KeyboardInterrupt

    line = ["sheet", str(held), *DAY, "--json"]
    with monkeypatch.context() as broken:
        broken.setattr("setupopt.cli.runner.write_all", killed)
        assert (
            CliRunner().invoke(group, line, prog_name="setupopt").exit_code
            == 130
        )
    assert not (held / "sheets").exists()
    text = (held / "other.toml").read_text()
    (held / "other.toml").write_text(
        text.replace("pressure_bar = 1", "pressure_bar = 2")
    )
    CliRunner().invoke(
        group, [*line, "--setup", "other.toml"], prog_name="setupopt"
    )
    rows = list(csv.DictReader((held / LOG).read_text().splitlines()))
    assert [row["revision"] for row in rows] == ["1", "2"]


def test_places_that_cannot_be_written(held: Path) -> None:
    """Status 2 and the place, where not even root may write."""
    for line in lines(held, Path("/proc/nowhere")):
        done = CliRunner().invoke(
            group, [str(word) for word in line], prog_name="setupopt"
        )
        assert done.exit_code == 2
        assert "/proc/nowhere" in done.output


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_waits_for_the_file(tmp_path: Path, number: int) -> None:
    """Sent in the middle of a write, in a process of its own: the file is whole, then the run ends."""
    target = tmp_path / "file.txt"
    target.write_text("old")
    script = (
        "import os, sys, signal; from pathlib import Path; from setupopt import files\n"
        "sync = os.fsync\n"
        f"os.fsync = lambda handle: (os.kill(os.getpid(), {int(number)}), sync(handle))\n"
        f"files.write_whole({str(target)!r}, 'new'); Path({str(tmp_path / 'went on')!r}).touch()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, check=False
    )
    assert done.returncode == -number
    assert files_in(tmp_path) == {"file.txt": b"new"}


def test_signals_are_as_before_when_nothing_came() -> None:
    """Also where the block ends with an error."""
    before = [
        signal.getsignal(number)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    ]
    with pytest.raises(ZeroDivisionError), undisturbed():
        raise ZeroDivisionError
    assert [
        signal.getsignal(number)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    ] == before


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # an interrupt in a finaliser
def test_stopped_at_any_moment(held: Path, tmp_path: Path) -> None:
    """Ctrl-C at 18 random moments of writing commands: all files of a run or none, no spare one."""
    out, random = tmp_path / "out", Random(5)
    works = [line for line in lines(held, out) if line[0] != "compare"]
    works.append(["report", held, "--out", out / "report"])
    lasted: dict[str, float] = {}
    for work in works * 2:  # the second time everything is imported
        began = time.monotonic()
        _empty(out / str(work[0]))
        CliRunner().invoke(
            group, [str(word) for word in work], prog_name="setupopt"
        )
        lasted[str(work[0])] = time.monotonic() - began
    good, stopped = files_in(out), 0
    for turn in range(18):
        _empty(out)
        work = works[turn % len(works)]
        stopped += _stopped(
            work, random.uniform(0.0, 1.1 * lasted[str(work[0])])
        )
        left = files_in(out)
        assert left.items() <= good.items()
        assert not left or left.keys() == {
            name for name in good if name.startswith(f"{work[0]}/")
        }
        assert not list(tmp_path.rglob("*.tmp"))
    assert stopped > 3


def _empty(folder: Path) -> None:
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()


def _stopped(work: list[str | Path], after: float) -> bool:
    """Run a command, which an interrupt may end; whether it did."""
    before = signal.signal(
        signal.SIGALRM, lambda *_: signal.raise_signal(signal.SIGINT)
    )
    try:
        signal.setitimer(signal.ITIMER_REAL, after + 1e-6)
        done = CliRunner().invoke(
            group, [str(word) for word in work], prog_name="setupopt"
        )
        return done.exit_code not in (0, 1) or "Aborted" in done.output
    except KeyboardInterrupt:
        return True
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def test_several_at_once(held: Path, tmp_path: Path) -> None:
    """Two processes print the same sheet into the same folder: every file and line of the log is whole."""
    out = tmp_path / "out"
    command = [*COMMAND, "sheet", held, *DAY]
    runs = [
        subprocess.Popen([*command, "--out", out], stdout=subprocess.DEVNULL)
        for _ in range(2)
    ]
    assert {run.wait(120) for run in runs} <= {0, 1}
    assert {path.suffix for path in out.iterdir()} == {".pdf", ".csv", ".json"}
    assert all(
        raw.endswith((b"\n", b"%%EOF")) for raw in files_in(out).values()
    )
    rows = list(csv.DictReader((held / LOG).read_text().splitlines()))
    assert 1 <= len(rows) <= 2
    assert len({tuple(row.values()) for row in rows}) == 1


def test_half_letters_and_links(tmp_path: Path) -> None:
    """A link stays one, its target is replaced; links in a circle are refused; half a letter is written."""
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", "a \udcff")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "a \\udcff"
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    with pytest.raises(OutputError):
        write_whole(tmp_path / "a", "x")
    for name in (
        "x" * 255,
        "\u00e9" * 127,
        "\U0001f697" * 63,
        "-x",
        "a\nb",
        os.fsdecode(b"\xff\xfe"),
    ):
        write_whole(tmp_path / name, "x")
        assert (tmp_path / name).read_text() == "x"
