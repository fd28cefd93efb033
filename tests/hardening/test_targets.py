"""Targets that are no regular files, and folders that other users can write to."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from setupopt import files
from setupopt.errors import OutputError
from setupopt.files import Growing, cache_home, write_together, write_whole
from setupopt.jobs.store import Store

IS_ROOT = os.geteuid() == 0


# ---- targets that are no regular files ---------------------------------------------------------------------


@pytest.mark.parametrize("growing", [False, True])
@pytest.mark.parametrize("through_link", [False, True])
def test_a_fifo_is_written_into(
    tmp_path: Path, through_link: bool, growing: bool
) -> None:
    """More than a pipe holds, to a slow reader; the FIFO stays one. Once a file took its place."""
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    target = fifo
    if through_link:
        target = tmp_path / "cases.csv"
        target.symlink_to("fifo")
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(fifo.read_bytes()))
    reader.start()
    handle = os.open(fifo, os.O_WRONLY)  # waits until the reader is there
    with Growing(target) as table:
        table.write("x" * 200_000)
        table.write("x" * 100_000)
        data = table if growing else "x" * 300_000
        write_together({tmp_path / "a.txt": "a", target: data})
    os.close(handle)
    reader.join(30)
    assert got == [b"x" * 300_000]
    assert fifo.is_fifo()
    assert (tmp_path / "a.txt").read_text() == "a"


def test_a_device_is_written_into(tmp_path: Path) -> None:
    """Through a link to the null device: it stays a device. Only without a device's owner's rights is a write
    that goes wrong harmless, so that root tries it on a copy."""
    device = _own_null(tmp_path) if IS_ROOT else Path("/dev/null")
    link = tmp_path / "cases.csv"
    link.symlink_to(device)
    write_whole(link, "x")
    assert device.is_char_device()
    assert link.is_symlink()


def _own_null(folder: Path) -> Path:
    """A null device of the test's own."""
    device = folder / "null"
    try:
        os.mknod(device, 0o666 | 0o020000, os.makedev(1, 3))
        device.write_bytes(b"x")
    except OSError:
        pytest.skip("this machine lets nobody make a device")
    return device


def test_a_device_that_is_full_stops_the_rest(tmp_path: Path) -> None:
    """No file of the set is replaced where one cannot be written."""
    if not Path("/dev/full").is_char_device():
        pytest.skip("no device /dev/full")
    (tmp_path / "a.txt").write_text("old")
    (tmp_path / "full").symlink_to("/dev/full")
    with pytest.raises(OutputError, match="full"):
        write_together({tmp_path / "a.txt": "new", tmp_path / "full": "x"})
    assert (tmp_path / "a.txt").read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "full"]


@pytest.mark.parametrize(
    "kind",
    ["fifo without a reader", "folder", "socket", "fifo that nobody empties"],
)
def test_what_cannot_be_written_is_refused_first(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By name, before any other file of the set is replaced."""
    monkeypatch.setattr(files, "_PATIENCE", 0.1)
    target, held = tmp_path / "odd", []
    if kind.startswith("fifo"):
        os.mkfifo(target)
    if kind == "fifo that nobody empties":
        held.append(os.open(target, os.O_RDWR))
    if kind == "folder":
        target.mkdir()
    server = socket.socket(socket.AF_UNIX)
    if kind == "socket":
        server.bind(str(target))
    (tmp_path / "a.txt").write_text("old")
    try:
        with pytest.raises(OutputError, match="odd"):
            write_together({tmp_path / "a.txt": "new", target: "x" * 300_000})
    finally:
        server.close()
        for handle in held:
            os.close(handle)
    assert (tmp_path / "a.txt").read_text() == "old"
    assert not target.is_file()


# ---- modes and leftovers -----------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_a_file_keeps_its_mode(tmp_path: Path, mode: int) -> None:
    """What only its owner could read stays so when it is written again, also through a link."""
    target = tmp_path / "a.txt"
    target.write_text("old")
    target.chmod(mode)
    link = tmp_path / "link"
    link.symlink_to("a.txt")
    write_whole(link, "new")
    assert target.read_text() == "new"
    assert target.stat().st_mode & 0o777 == mode
    with Growing(link) as table:
        table.write("grown")
        write_together({link: table})
    assert target.read_text() == "grown"
    assert target.stat().st_mode & 0o777 == mode
    assert link.is_symlink()


def test_a_file_that_grows_is_there_whole_or_not_at_all(
    tmp_path: Path,
) -> None:
    """The old one stays until the new one is put in place, and where that never comes; no spare is left."""
    target = tmp_path / "a.txt"
    target.write_text("old")
    with pytest.raises(KeyboardInterrupt), Growing(target) as table:
        table.write("half")
        assert len(list(tmp_path.iterdir())) == 2
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == [target]
    assert target.read_text() == "old"
    new = tmp_path / "folder" / "made" / "b.txt"
    with Growing(new) as table:
        table.write("a")
        assert not new.parent.parent.exists()
        new.parent.mkdir(parents=True)
        write_together({new: table})
    assert new.read_text() == "a"
    assert len(list(tmp_path.iterdir())) == 2


KILLED = """
import os, signal, sys
from setupopt import files
os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)
files.write_whole(sys.argv[1], "half")
"""


def test_the_next_run_clears_up_after_a_killed_one(tmp_path: Path) -> None:
    """A run that is killed leaves its hidden file; the next one takes it away, and none that is in use."""
    target = tmp_path / "a.txt"
    done = subprocess.run([sys.executable, "-c", KILLED, target], check=False)
    assert done.returncode == -9
    assert len(list(tmp_path.iterdir())) == 1
    other = tmp_path / ".notes.tmp"
    other.write_text("the user's own")
    write_whole(tmp_path / "b.txt", "new")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        ".notes.tmp",
        "b.txt",
    ]


def test_runs_at_the_same_time_leave_each_other_alone(tmp_path: Path) -> None:
    """Eight threads write files of the same folder, forty each: nobody's spare file is taken away."""

    def write(name: str) -> None:
        for turn in range(40):
            write_whole(tmp_path / name, f"{turn}")

    faults: list[object] = []
    before = threading.excepthook
    threading.excepthook = faults.append
    threads = [
        threading.Thread(target=write, args=(f"{number}.txt",))
        for number in range(8)
    ]
    try:
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        threading.excepthook = before
    assert not faults
    assert {path.read_text() for path in tmp_path.iterdir()} == {"39"}
    assert len(list(tmp_path.iterdir())) == 8


# ---- what is kept is the user's alone ----------------------------------------------------------------------


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's cache, and a temporary directory, both empty."""
    for name in ("cache", "temporary"):
        (tmp_path / name).mkdir()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    return tmp_path / "cache"


def test_the_cache_is_closed_to_others(cache: Path) -> None:
    """Made with mode 700; one that others could read is closed."""
    assert cache_home("XDG_CACHE_HOME") == cache / "setupopt"
    assert (cache / "setupopt").stat().st_mode & 0o777 == 0o700
    (cache / "setupopt").chmod(0o755)
    assert cache_home("XDG_CACHE_HOME") == cache / "setupopt"
    assert (cache / "setupopt").stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("kind", ["open to others", "a link", "a file"])
def test_a_cache_that_others_can_fill_is_not_used(
    cache: Path, tmp_path: Path, kind: str
) -> None:
    """A folder of the user in the temporary directory instead; none where that is as bad."""
    temporary = tmp_path / "temporary" / f"setupopt-{os.getuid()}"
    for expected, folder in (
        (temporary, cache / "setupopt"),
        (None, temporary),
    ):
        if kind == "a link":
            (tmp_path / f"elsewhere {folder.name}").mkdir()
            folder.symlink_to(tmp_path / f"elsewhere {folder.name}")
        elif kind == "a file":
            folder.touch()
        else:
            folder.mkdir()
            folder.chmod(0o777)
        if expected is not None:
            assert cache_home("XDG_CACHE_HOME") == expected
            assert expected.stat().st_mode & 0o777 == 0o700
            expected.rmdir()
    assert cache_home("XDG_CACHE_HOME") is None


@pytest.mark.skipif(
    not IS_ROOT, reason="only root can make a folder of another user"
)
def test_a_cache_of_another_user_is_not_used(
    cache: Path, tmp_path: Path
) -> None:
    """Though its mode is right."""
    for folder in (
        cache / "setupopt",
        tmp_path / "temporary" / f"setupopt-{os.getuid()}",
    ):
        folder.mkdir(mode=0o700)
        os.chown(folder, 65534, 65534)
    assert cache_home("XDG_CACHE_HOME") is None


def test_a_study_without_a_private_cache_is_its_own(
    cache: Path, tmp_path: Path
) -> None:
    """It is kept in a new folder of this run alone, and that is gone when the study is finished."""
    for folder in (
        cache / "setupopt",
        tmp_path / "temporary" / f"setupopt-{os.getuid()}",
    ):
        folder.touch()
    store = Store.open("abc")
    assert store.folder.is_relative_to(tmp_path / "temporary")
    assert store.folder.parents[1].stat().st_mode & 0o777 == 0o700
    store.finish()
    assert [path.name for path in (tmp_path / "temporary").iterdir()] == [
        f"setupopt-{os.getuid()}"
    ]


KERNEL = """
import os, pathlib, resource, sys, tempfile
tempfile.tempdir = sys.argv[1]
{before}
from setupopt.physics import kept_kernels, surface
print(surface.onwards(0.0, 0.0, 0.125, 1.5)[0], kept_kernels.cache_folder() is None)
"""
NO_ROOM = "resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0)); import signal; signal.signal(signal.SIGXFSZ, 1)"
NOBODY = """
import pwd
def unknown(uid): raise KeyError(uid)
pwd.getpwuid = unknown
os.environ.pop("HOME", None)
"""
PLANTED = """
planted = f"{sys.argv[1]}/setupopt-{os.getuid()}"
os.mkdir(planted)
os.chmod(planted, 0o777)
"""


@pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="nothing is compiled"
)
@pytest.mark.parametrize(
    ("before", "kept"), [(NO_ROOM, True), (NOBODY, True), (NOBODY + PLANTED, False)],
    ids=["full disk", "no home", "no private folder"],
)  # fmt: skip
def test_kernels_without_a_place(
    tmp_path: Path, before: str, kept: bool
) -> None:
    """The same number: saving a compiled kernel may fail, and nobody need have a home."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.endswith("CACHE_HOME")
    }
    environment.pop("NUMBA_CACHE_DIR", None)
    if before == NO_ROOM:
        environment["NUMBA_CACHE_DIR"] = str(tmp_path / "cache")
    script = KERNEL.format(before=before)
    done = subprocess.run(
        [sys.executable, "-c", script, tmp_path],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    number, is_none = done.stdout.split()
    assert number == repr(_height())
    assert is_none == str(not kept)


def _height() -> float:
    from setupopt.physics import surface

    return float(surface.onwards(0.0, 0.0, 0.125, 1.5)[0])
