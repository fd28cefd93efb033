"""Long studies: order, memory, breaking off and going on, damaged and unwritable stores, fingerprints."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from threads import Threads

from setupopt.errors import OutputError
from setupopt.evaluation.model import Model
from setupopt.jobs import fingerprint as fingerprints
from setupopt.jobs import store as stores
from setupopt.jobs.fingerprint import fingerprint
from setupopt.jobs.pool import SerialExecutor
from setupopt.jobs.run import run_chunks
from setupopt.jobs.store import Store
from setupopt.physics.inputs import SETTING
from setupopt.project import Project

COUNT = 24
STUDY = "0123456789abcdef"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's cache of the test, with two threads."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("SETUPOPT_THREADS", "2")
    return tmp_path / "cache"


@dataclass(frozen=True)
class Do:
    """Draws of one job, after a while; each asked job adds its number and the time to `log`."""

    log: str = ""
    pause: float = 0.0

    def __call__(self, job: int) -> np.ndarray:
        if self.log:
            with Path(self.log).open("a", encoding="utf-8") as file:
                file.write(f"{job} {time.monotonic()}\n")
        time.sleep(self.pause)
        return np.random.default_rng(job).normal(size=(3, job % 5))


def asked(log: Path) -> list[int]:
    """Jobs in the log, in the order they were begun."""
    return (
        [int(line.split()[0]) for line in log.read_text().splitlines()]
        if log.exists()
        else []
    )


def plainly(jobs: range = range(COUNT)) -> list[bytes]:
    """The expected answers, by a plain loop."""
    return [Do()(job).tobytes() for job in jobs]


def raw(results: Iterator[np.ndarray]) -> list[bytes]:
    """Results to the last bit."""
    return [result.tobytes() for result in results]


def own_process(script: str, **environment: str) -> subprocess.Popen[str]:
    """Lines of Python in a process of their own, with this file as `t`."""
    paths = os.pathsep.join(str(Path(__file__).parents[i]) for i in (1, 2))
    command = [sys.executable, "-c", f"import jobs.test_run as t\n{script}"]
    env = os.environ | {"PYTHONPATH": paths} | environment
    return subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)


def wait_until(holds: Callable[[], bool]) -> None:
    """Wait for at most a minute: a process of its own starts within seconds, on busy cores later."""
    end = time.monotonic() + 60.0
    while not holds():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.005)


# ---- order and bounds --------------------------------------------------------------------------------------


def shuffled_pauses(job: int) -> np.ndarray:
    """Every fourth job ends long after those that follow it."""
    time.sleep(0.02 if job % 4 == 0 else 0.0)
    return Do()(job)


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_same_answers_in_order_on_any_number_of_workers(
    threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Own threads and a pool that is brought along: the answers of a plain loop, in its order."""
    monkeypatch.setenv("SETUPOPT_THREADS", str(threads))
    assert raw(run_chunks("a", shuffled_pauses, range(COUNT))) == plainly()
    with ThreadPoolExecutor(threads) as pool:
        assert (
            raw(run_chunks("a", shuffled_pauses, range(COUNT), pool=pool))
            == plainly()
        )


def test_own_threads_work_at_the_same_time() -> None:
    """Two jobs that wait for each other both end: they run on two threads."""
    meet = threading.Barrier(2, timeout=10.0)

    def do(job: int) -> np.ndarray:
        meet.wait()
        return np.array(job)

    assert [int(result) for result in run_chunks("a", do, range(6))] == list(
        range(6)
    )


def test_other_processes_answer_the_same() -> None:
    """What is run can be pickled: a pool of processes gives the same, and the store is filled here."""
    store = Store.open(STUDY)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        assert (
            raw(run_chunks("a", Do(), range(COUNT), pool=pool, store=store))
            == plainly()
        )
    assert raw(run_chunks("a", never, range(COUNT), store=store)) == plainly()


def never(job: int) -> np.ndarray:
    """For jobs that are all in the store."""
    raise AssertionError(f"job {job} was asked for again")


class Counted:
    """Jobs made as they are asked for; `most` tells how far ahead of the reader that was."""

    def __init__(self, count: int) -> None:
        self.count, self.read, self.most = count, 0, 0

    def __len__(self) -> int:
        return self.count

    def __getitem__(self, index: int) -> int:
        self.most = max(self.most, index + 1 - self.read)
        return index


@pytest.mark.parametrize("ahead", [None, 3])
def test_few_jobs_are_begun_before_their_turn(ahead: int | None) -> None:
    """Of 10,000 jobs never more than 4 for each of two threads beyond what was read, or as many as asked."""
    jobs = Counted(10_000)
    for result in run_chunks("a", lambda job: np.array(job), jobs, ahead=ahead):
        assert int(result) == jobs.read
        jobs.read += 1
        if jobs.read % 2500 == 0:
            time.sleep(0.05)  # time enough to run ahead
    assert jobs.read == 10_000
    assert 2 <= jobs.most <= (ahead or 8)


def test_a_crew_says_how_many_are_begun_before_their_turn() -> None:
    """4 for each of its threads, whatever the cores here; the answers are those of a plain loop."""
    jobs, crew = Counted(200), Threads(5)
    for result in run_chunks("a", lambda job: np.array(job), jobs, pool=crew):
        assert int(result) == jobs.read
        jobs.read += 1
    assert 9 <= jobs.most <= 20
    assert raw(run_chunks("a", Do(), range(COUNT), pool=crew)) == plainly()
    crew.pool.shutdown()


def test_what_is_done_here_is_done_in_turn_and_at_once(tmp_path: Path) -> None:
    """One job when it is asked for, in the thread that asks; an error comes out of where it was made."""
    log, results = (
        tmp_path / "log",
        run_chunks(
            "a", Do(str(tmp_path / "log")), range(COUNT), pool=SerialExecutor()
        ),
    )
    for job in range(3):
        next(results)
        assert asked(log) == list(range(job + 1))
    with pytest.raises(ZeroDivisionError):
        SerialExecutor().submit(divmod, 1, 0)
    assert (
        SerialExecutor().submit(threading.current_thread).result()
        is threading.current_thread()
    )


def test_memory_does_not_grow_with_the_number_of_chunks() -> None:
    """500 chunks of 1 MB read one by one: at most the 8 ahead, with two copies of each, are held."""
    tracemalloc.start()
    for result in run_chunks(
        "a", lambda job: np.full(125_000, job, dtype=float), range(500)
    ):
        assert result[0] == result[-1]
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 30e6


def test_progress_counts_every_chunk_found_or_done() -> None:
    """One by one, in the reader's thread; chunks of the store count too."""
    told: list[tuple[int, str]] = []

    def progress(count: int) -> None:
        told.append((count, threading.current_thread().name))

    store, here = Store.open(STUDY), threading.current_thread().name
    for jobs in (range(7), range(COUNT)):
        told.clear()
        list(run_chunks("a", Do(), jobs, store=store, progress=progress))
        assert told == [(1, here)] * len(jobs)


def test_records_are_the_same_from_the_store() -> None:
    """Values, layout and order in memory of what is computed and of what was kept."""

    def do(job: int) -> np.ndarray:
        records = np.zeros(3, dtype=SETTING)
        records["camber"] = job
        return (
            records if job else np.asfortranarray(np.arange(6.0).reshape(2, 3))
        )

    store = Store.open(STUDY)
    fresh, kept = (
        list(run_chunks("a", do, range(2), store=store)) for _ in range(2)
    )
    for one, other in zip(fresh, kept, strict=True):
        assert type(one) is type(other)
        assert (one.dtype, one.dtype.type, one.strides) == (
            other.dtype,
            other.dtype.type,
            other.strides,
        )
        assert one.tobytes() == other.tobytes()
    assert fresh[1]["camber"].tolist() == [[1.0] * 4] * 3


# ---- broken off --------------------------------------------------------------------------------------------


def test_killed_run_goes_on_where_it_was(tmp_path: Path) -> None:
    """SIGKILL half-way: only what is missing is done, and the answers are those of an unbroken run."""
    log, again = tmp_path / "log", tmp_path / "again"
    script = f"list(t.run_chunks('a', t.Do({str(log)!r}, 0.03), range(100), store=t.Store.open(t.STUDY)))"
    process = own_process(script)
    wait_until(lambda: len(asked(log)) >= 20)
    process.kill()
    process.communicate()
    store = Store.open(STUDY)
    kept = {job for job in range(100) if store.read(f"a-{job:05d}") is not None}
    assert 10 <= len(kept) < 100
    assert raw(
        run_chunks("a", Do(str(again)), range(100), store=store)
    ) == plainly(range(100))
    assert sorted(asked(again)) == sorted(set(range(100)) - kept)


def test_ctrl_c_stops_at_once(tmp_path: Path) -> None:
    """SIGINT while it waits: out within the chunks in work (0.3 s) and 0.5 s, and what those do is kept."""
    log = tmp_path / "log"
    script = (
        f"import time\ntry:\n"
        f"    list(t.run_chunks('a', t.Do({str(log)!r}, 0.3), range(400), store=t.Store.open(t.STUDY)))\n"
        f"except KeyboardInterrupt:\n    print(time.monotonic())"
    )
    process = own_process(script)
    wait_until(lambda: len(asked(log)) >= 4)
    time.sleep(0.1)  # into the chunk
    before, sent = len(asked(log)), time.monotonic()
    process.send_signal(signal.SIGINT)
    stopped = float(process.communicate(timeout=30)[0])
    assert stopped - sent < 0.3 + 0.5
    done, store = asked(log), Store.open(STUDY)
    assert (
        len(done) <= before + 2
    )  # the next of two threads, should a chunk have ended just then
    assert all(store.read(f"a-{job:05d}") is not None for job in done)


def test_an_error_ends_the_run_and_keeps_what_is_done(tmp_path: Path) -> None:
    """The job's own error comes out, later jobs are not begun, no thread is left; the next run goes on."""
    log, store, threads = (
        tmp_path / "log",
        Store.open(STUDY),
        threading.active_count(),
    )

    def do(job: int) -> np.ndarray:
        if job == 9:
            raise ArithmeticError("nine")
        return Do(str(log), 0.01)(job)

    with pytest.raises(ArithmeticError, match="nine"):
        list(run_chunks("a", do, range(200), store=store))
    done = asked(log)
    assert set(range(9)) <= set(done)
    assert max(done) < 9 + 8
    assert threading.active_count() == threads
    assert (
        raw(run_chunks("a", Do(str(log)), range(COUNT), store=store))
        == plainly()
    )
    assert sorted(asked(log)) == list(range(COUNT))


def test_an_error_leaves_a_foreign_pool_open() -> None:
    """What had not begun is cancelled, but the pool is its owner's and goes on."""
    begun: list[int] = []

    def do(job: int) -> np.ndarray:
        begun.append(job)
        time.sleep(0.05)
        raise ArithmeticError(str(job))

    with ThreadPoolExecutor(1) as pool:
        with pytest.raises(ArithmeticError):
            list(run_chunks("a", do, range(200), pool=pool))
        assert pool.submit(int, "5").result() == 5
    assert len(begun) <= 2


def test_a_pool_shut_down_by_others_does_not_hang() -> None:
    """Jobs that somebody else cancels are an error, not a wait for ever."""
    pool = ThreadPoolExecutor(1)
    results = run_chunks("a", Do(pause=0.05), range(200), pool=pool)
    next(results)
    pool.shutdown(cancel_futures=True)
    with pytest.raises(BaseException, match=r"cancel|shutdown|^$"):
        list(results)


def test_reader_that_leaves_early_stops_the_work(tmp_path: Path) -> None:
    """Closing the results cancels what has not begun and ends the threads."""
    log, threads = tmp_path / "log", threading.active_count()
    results = run_chunks("a", Do(str(log), 0.02), range(400))
    next(results)
    results.close()  # type: ignore[attr-defined]
    assert threading.active_count() == threads
    assert len(asked(log)) <= 4


def test_chunks_are_kept_when_done_and_not_when_read() -> None:
    """The first job ends only when the four after it are in the store: nobody has read them by then."""
    store = Store.open(STUDY)

    def do(job: int) -> np.ndarray:
        if job == 0:
            wait_until(
                lambda: all(
                    store.read(f"a-{j:05d}") is not None for j in range(1, 5)
                )
            )
        return Do()(job)

    assert raw(run_chunks("a", do, range(COUNT), store=store)) == plainly()


# ---- the store ---------------------------------------------------------------------------------------------


def flip(place: int) -> Callable[[bytes], bytes]:
    """One bit of one byte."""

    def damage(data: bytes) -> bytes:
        changed = bytearray(data)
        changed[place] ^= 1
        return bytes(changed)

    return damage


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda data: b"",
    "first bytes only": lambda data: data[:20],
    "cut in half": lambda data: data[: len(data) // 2],
    "last byte lost": lambda data: data[:-1],
    "longer": lambda data: data + b"\0",
    "zeroed": lambda data: bytes(len(data)),
    "bit in the checksum": flip(3),
    "bit in the header": flip(60),
    "bit in the last number": flip(-1),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_chunk_is_done_again(damage: str, tmp_path: Path) -> None:
    """No damaged file is trusted, and it is put right for the next run."""
    log, store = tmp_path / "log", Store.open(STUDY)
    list(run_chunks("a", Do(), range(8), store=store))
    file = store.folder / "a-00006"
    file.write_bytes(DAMAGE[damage](file.read_bytes()))
    for _ in range(2):
        assert raw(
            run_chunks("a", Do(str(log)), range(8), store=store)
        ) == plainly(range(8))
    assert asked(log) == [6]


def test_a_chunk_that_is_a_folder_is_done_again() -> None:
    """Whatever stands in a chunk's place, the study runs."""
    store = Store.open(STUDY)
    (store.folder / "a-00002").mkdir()
    assert raw(run_chunks("a", Do(), range(8), store=store)) == plainly(
        range(8)
    )


def test_arrays_of_objects_are_refused() -> None:
    """They could only be kept as code; whether there is a store or not."""
    for store in (None, Store.open(STUDY)):
        with pytest.raises(ValueError, match="allow_pickle"):
            list(
                run_chunks(
                    "a", lambda job: np.array([{}]), range(8), store=store
                )
            )


def test_unwritable_cache_is_replaced_by_a_temporary_folder(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As for the compiled kernels: a file stands where the cache should be."""
    home.write_text("not a folder")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    store = Store.open(STUDY)
    assert store.folder.is_relative_to(tmp_path / "temporary")
    list(run_chunks("a", Do(), range(8), store=store))
    assert raw(
        run_chunks("a", never, range(8), store=Store.open(STUDY))
    ) == plainly(range(8))


def test_study_runs_without_any_place_to_write(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither cache nor temporary folder: nothing is kept, nothing is said, the answers are the same."""
    home.write_text("not a folder")
    monkeypatch.setattr(tempfile, "tempdir", str(home))
    store = Store.open(STUDY)
    for _ in range(2):
        assert raw(run_chunks("a", Do(), range(8), store=store)) == plainly(
            range(8)
        )
    store.finish()
    assert home.read_text() == "not a folder"


def test_study_runs_on_when_the_disk_is_full(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The chunks that could be written are kept, the others are done again."""
    store, whole = Store.open(STUDY), stores.write_whole

    def full(path: Path, data: bytes) -> None:
        if path.name >= "a-00004":
            raise OutputError(str(path), "No space left on device")
        whole(path, data)

    monkeypatch.setattr(stores, "write_whole", full)
    assert raw(run_chunks("a", Do(), range(8), store=store)) == plainly(
        range(8)
    )
    assert [store.read(f"a-{job:05d}") is not None for job in range(8)] == [
        True
    ] * 4 + [False] * 4


def test_study_runs_on_when_its_folder_is_taken_away() -> None:
    """Somebody clears the cache meanwhile: later chunks are kept again."""
    store = Store.open(STUDY)
    results = run_chunks("a", Do(), range(COUNT), store=store, ahead=1)
    found = [next(results)]
    shutil.rmtree(store.folder)
    assert raw(iter([*found, *results])) == plainly()
    assert store.read(f"a-{COUNT - 1:05d}") is not None


def test_finished_study_leaves_nothing_behind(home: Path) -> None:
    """Neither chunks nor empty folders, right after the last result, with own threads and a foreign pool."""
    with ThreadPoolExecutor(2) as pool:
        for brought in (None, pool):
            store = Store.open(STUDY)
            for _ in run_chunks(
                "a", Do(), range(COUNT), store=store, pool=brought
            ):
                assert store.folder.exists()
            store.finish()
            assert list(home.iterdir()) == []


def test_finished_study_leaves_others_alone(home: Path) -> None:
    """Another study and the compiled kernels beside it stay."""
    other, kernels = Store.open("f" * 16), home / "setupopt" / "kernels"
    other.write("a-00000", np.arange(3.0))
    Store.open(STUDY).finish()
    assert other.read("a-00000") is not None
    other.finish()
    kernels.mkdir(parents=True)
    Store.open(STUDY).finish()
    assert list(home.rglob("*")) == [home / "setupopt", kernels]


def test_two_parts_of_a_study_do_not_mix() -> None:
    """The name tells the chunks of one run from those of another in the same study."""
    store = Store.open(STUDY)
    for name, do in (
        ("a", Do()),
        ("b", lambda job: np.array(-job)),
        ("a", never),
        ("b", never),
    ):
        answers = list(run_chunks(name, do, range(8), store=store))
        expected = (
            plainly(range(8))
            if name == "a"
            else [np.array(-job).tobytes() for job in range(8)]
        )
        assert raw(iter(answers)) == expected


def test_old_studies_are_forgotten(home: Path) -> None:
    """After 30 days without a touch, but not the one that is taken up again."""
    day = 24 * 3600.0
    ages = {"young": 29.0, "old": 31.0, STUDY: 31.0}
    for study, age in ages.items():
        folder = Store.open(study).folder
        Store(folder).write("a-00000", np.arange(3.0))
        os.utime(folder, (time.time() - age * day,) * 2)
    assert Store.open(STUDY).read("a-00000") is not None
    assert {
        folder.name for folder in (home / "setupopt" / "unfinished").iterdir()
    } == {"young", STUDY}
    assert time.time() - Store.open(STUDY).folder.stat().st_mtime < day


# ---- fingerprints ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Inner:
    """A part of a study."""

    name: str
    values: tuple[float, ...]
    table: np.ndarray


@dataclass(frozen=True)
class Twin(Inner):
    """The same fields under another name."""


@dataclass(frozen=True)
class Outer:
    """A study's description."""

    count: int
    inner: Inner | None


def description() -> Outer:
    """A nested part; its table is longer than numpy prints."""
    return Outer(3, Inner("a", (0.1, 1.0 / 3.0), np.linspace(0.0, 1.0, 5000)))


def changed_table() -> Outer:
    """The last element, in its last bit."""
    inner = description().inner
    assert inner is not None
    inner.table[-2] = np.nextafter(inner.table[-2], 0.0)
    return Outer(3, inner)


def records(place: str, value: float) -> np.ndarray:
    """Settings, one number of the last one changed."""
    settings = np.zeros(2000, dtype=SETTING)
    settings[place][1234, 1] = value
    return settings


def with_values(*values: float) -> Outer:
    """The description with other numbers inside."""
    inner = description().inner
    assert inner is not None
    return Outer(3, replace(inner, values=values))


DIFFERENT: dict[str, tuple[Any, Any]] = {
    "last bit": (0.1, np.nextafter(0.1, 1.0)),
    "last bit of a large one": (1e300, np.nextafter(1e300, 0.0)),
    "sign of nothing": (0.0, -0.0),
    "whole and real": (1, 1.0),
    "truth and number": (1, True),
    "text and number": ("1", 1),
    "text and bytes": ("a", b"a"),
    "nothing and its name": (None, "None"),
    "where strings part": (("a", "bc"), ("ab", "c")),
    "quotes inside": (("a", "b"), ("a';str 'b",)),
    "nesting": ((1, (2,), 3), (1, (2, 3))),
    "an empty tuple more": ((), ((),)),
    "order": ((1, 2), (2, 1)),
    "element in the middle of many": (np.zeros(5000), np.eye(1, 5000, 2500)[0]),
    "last element": (np.zeros(5000), np.eye(1, 5000, 4999)[0]),
    "shape": (np.zeros((2, 3)), np.zeros((3, 2))),
    "type of the elements": (np.zeros(4), np.zeros(4, dtype="i8")),
    "order of bytes": (np.zeros(4), np.zeros(4, dtype=">f8")),
    "a record's field": (records("camber", 0.0), records("camber", 5e-324)),
    "which field": (records("camber", 1.0), records("foundation", 1.0)),
    "one record's field": (
        records("camber", 0.0)[1234],
        records("camber", 1.0)[1234],
    ),
    "names of fields": (
        np.zeros(1, dtype=[("a", "f8")]),
        np.zeros(1, dtype=[("b", "f8")]),
    ),
    "a nested field": (
        description(),
        with_values(0.1, np.nextafter(1.0 / 3.0, 1.0)),
    ),
    "a nested array": (description(), changed_table()),
    "a field left out": (description(), Outer(3, None)),
    "kind of a part": (Inner("a", (), np.zeros(1)), Twin("a", (), np.zeros(1))),
}


@pytest.mark.parametrize("what", DIFFERENT)
def test_fingerprint_tells_apart(what: str) -> None:
    """Whatever differs in the last bit, in a nested place or in kind is another study."""
    one, other = DIFFERENT[what]
    assert fingerprint(one) != fingerprint(other)
    assert fingerprint("x", (one, 2)) != fingerprint("x", (other, 2))


def test_parts_are_told_from_their_number() -> None:
    """Two parts are not one of two."""
    assert (
        len(
            {
                fingerprint(1, 2),
                fingerprint((1, 2)),
                fingerprint((1,), 2),
                fingerprint(),
            }
        )
        == 4
    )


def test_equal_parts_have_one_fingerprint(bore: Project) -> None:
    """Made twice, in another order in memory, with padding between the fields, or as numpy's float."""
    assert fingerprint(description()) == fingerprint(description())
    assert fingerprint(np.float64(0.1)) == fingerprint(0.1)
    table = np.arange(12.0).reshape(3, 4)
    assert (
        fingerprint(table)
        == fingerprint(np.asfortranarray(table))
        == fingerprint(np.repeat(table, 2, 1)[:, ::2])
    )
    padded = [
        np.frombuffer(fill * 32, dtype="u1").copy() for fill in (b"\0", b"\7")
    ]
    for memory in padded:
        memory.view(np.dtype([("a", "?"), ("b", "f8")], align=True))[:] = (
            True,
            2.0,
        )
    one, other = (
        memory.view(np.dtype([("a", "?"), ("b", "f8")], align=True))
        for memory in padded
    )
    assert fingerprint(one) == fingerprint(other)
    assert len(fingerprint(bore.car, bore.venue, bore.setup, bore.limits)) == 32


def test_fingerprint_is_the_same_in_another_process() -> None:
    """Neither addresses nor the hashes of strings have a part in it."""
    script = "print(t.fingerprint(t.description(), t.records('camber', 2.0), 'x', None, 0.1))"
    seeds = ("1", "2")
    told = {
        own_process(script, PYTHONHASHSEED=seed).communicate()[0].strip()
        for seed in seeds
    }
    assert told == {
        fingerprint(description(), records("camber", 2.0), "x", None, 0.1)
    }


def test_fingerprint_knows_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other kernels, another numpy or another version of the package: another study."""
    told = {fingerprint(1)}
    for target, name, value in (
        (fingerprints.kept_kernels, "fingerprint", lambda: "other"),
        (fingerprints.np, "__version__", "0.0"),
        (fingerprints.setupopt, "__version__", "0.0"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(target, name, value)
            fingerprints._program_text.cache_clear()
            told.add(fingerprint(1))
    fingerprints._program_text.cache_clear()
    assert len(told) == 4


@pytest.mark.parametrize(
    "unknown",
    [
        "object",
        "function",
        "path",
        "set",
        "dict",
        "objects",
        "masked",
        "class",
        "model",
    ],
)
def test_fingerprint_refuses_what_it_does_not_know(
    unknown: str, bore: Project
) -> None:
    """Rather than telling it by its address, or a part of it only."""
    parts: dict[str, Any] = {
        "object": object(),
        "function": len,
        "path": Path("/"),
        "set": frozenset("ab"),
        "dict": {"a": 1},
        "objects": np.array([None, object()]),
        "masked": np.ma.masked_array([1.0, 2.0], [True, False]),
        "class": Inner,
        "model": Model(bore.car),
    }
    with pytest.raises(TypeError, match="fingerprint"):
        fingerprint("x", (1, parts[unknown]))
