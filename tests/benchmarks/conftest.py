"""Benchmarks: ratios measured in one run, printed as tables. Not tests; run them by hand."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.project import Project
from setupopt.project.bodies import with_body
from setupopt.project.limits_model import Limits
from setupopt.project.model import AxleLimits, Body, Range

RUN = "from setupopt.cli.main import main; main()"
SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(SETUPS / "bore")


@pytest.fixture(scope="session")
def example() -> Callable[[str], Project]:
    """An example project by its name."""
    return lambda name: setupopt.load(SETUPS / name)


@pytest.fixture
def one_thread(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Sweeps on one core, as solves of a few cases are quickest."""
    monkeypatch.setenv("SETUPOPT_THREADS", "1")
    yield


def limits_of(project: Project) -> Limits:
    """Of a project that has them."""
    assert project.limits is not None
    return project.limits


def pieces(lower: float, upper: float, count: int) -> Range:
    """A range that comes in so many pieces, evenly spread."""
    return Range(lower, upper, None, tuple(np.linspace(lower, upper, count)))


def with_shelf(
    project: Project, springs: Range, free: tuple[str, ...]
) -> Project:
    """An invented shelf: the same springs and seven bar positions on both axles; of all else only `free`."""

    def axle(ranges: AxleLimits) -> AxleLimits:
        others = ("camber", "ride_height", "pressure", "third")
        kept = {
            name: getattr(ranges, name) if name in free else None
            for name in others
        }
        return replace(
            ranges, spring=springs, anti_roll=pieces(0.0, 60e3, 7), **kept
        )

    limits = limits_of(project)
    return replace(
        project,
        limits=replace(
            limits, front=axle(limits.front), rear=axle(limits.rear)
        ),
    )


def thinned(project: Project, step: float, attitudes: int) -> Project:
    """The first attitudes alone, at roll angles `step` apart, rad."""
    venue = project.venue
    few = replace(
        venue,
        sweep=replace(venue.sweep, step=step),
        attitudes=venue.attitudes[:attitudes],
    )
    return replace(project, venue=few)


def with_close_bodies(project: Project) -> Project:
    """With two other bodies instead of its own: a thousandth more or less of floor, two of wings."""
    air, clearance = project.car.air, project.car.clearance

    def body(name: str, floor: float, wings: float) -> Body:
        elements = tuple(
            replace(
                e,
                free_area=e.free_area * wings,
                ground_area=e.ground_area * floor,
            )
            for e in air.elements
        )
        return Body(name, replace(air, elements=elements), clearance)

    return replace(
        project,
        bodies=(
            body("more floor", 1.001, 0.998),
            body("more wing", 0.999, 1.002),
        ),
    )


def with_bodywork(project: Project) -> list[Project]:
    """The project in each of its bodies, its own first."""
    return [
        with_body(project, name)
        for name in (None, *(body.name for body in project.bodies))
    ]


def all_in_pieces(project: Project) -> Project:
    """In its longer floor, every setting in so few pieces that every setup can be evaluated."""
    counts = {
        "camber": 3,
        "ride_height": 3,
        "pressure": 2,
        "spring": 5,
        "anti_roll": 3,
    }

    def axle(ranges: AxleLimits) -> AxleLimits:
        spans = {name: getattr(ranges, name) for name in counts}
        few = {
            name: pieces(span.lower, span.upper, counts[name])
            for name, span in spans.items()
        }
        return replace(ranges, **few)

    limits = limits_of(project)
    rough = replace(limits, front=axle(limits.front), rear=axle(limits.rear))
    return with_body(replace(project, limits=rough), "long-floor")


def few_free(bore: Project) -> Project:
    """Twelve springs and seven bars an axle, three bodies; ride heights alone are free besides."""
    return with_shelf(
        thinned(bore, np.radians(30), 3),
        pieces(60e3, 170e3, 12),
        ("ride_height",),
    )


def close_bodies(bore: Project) -> Project:
    """Every second spring of a longer shelf, three bodies that are nearly alike; camber is free as well."""
    shelf = with_shelf(
        thinned(bore, np.radians(30), 3),
        pieces(60e3, 260e3, 6),
        ("camber", "ride_height"),
    )
    return with_close_bodies(shelf)


def coarse(folder: Path) -> Path:
    """The bore in its longer floor, every setting in few pieces: many boxes to open."""
    shutil.copytree(SETUPS / "bore", folder)
    for fine, rough in ((0.1, 4.5), (0.5, 20), (0.05, 0.8)):
        _edit(folder / "limits.toml", f"step = {fine} }}", f"step = {rough} }}")
    _edit(folder / "venue.toml", "to = 180, step = 5", "to = 180, step = 15")
    _edit(folder / "setup.toml", "[setup]", '[setup]\nbody = "long-floor"')
    return folder


def _edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def proposing(project: Path, study: Path, out: Path) -> subprocess.Popen[str]:
    """`setupopt propose` in a process of its own."""
    folders = ["--study", f"sqlite:///{study}", "--out", str(out)]
    asked = [
        "propose",
        str(project),
        "--keep",
        "body",
        *folders,
        "--quiet",
        "--alternatives",
        "0",
    ]
    return subprocess.Popen(
        [sys.executable, "-c", RUN, *asked],
        stdout=subprocess.DEVNULL,
        text=True,
    )


def opened(study: Path) -> int:
    """Boxes opened so far in a study that may be written meanwhile."""
    if not study.exists():
        return 0
    try:
        with closing(
            sqlite3.connect(f"file:{study}?mode=ro", uri=True)
        ) as file:
            return int(
                file.execute(
                    "select count(*) from trials where state = 'COMPLETE'"
                ).fetchone()[0]
            )
    except sqlite3.OperationalError:  # no table yet, or just being written
        return 0
