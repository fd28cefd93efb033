"""What DEVELOPERS.md and the list of slow tests name is there, so that a newcomer finds it."""

from __future__ import annotations

import re
from pathlib import Path

import conftest
from cars import venue

import setupopt
from setupopt.evaluation.cases import _attitude_columns
from setupopt.evaluation.pack import _copied
from setupopt.physics.inputs import CASE
from setupopt.project.model import Attitude, Tyre

PACKAGE = Path(setupopt.__file__).parent
TEXT = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
ROOMS = "|".join(
    sorted(path.name for path in PACKAGE.iterdir() if path.is_dir())
)


def test_every_file_of_the_package_that_is_named_exists() -> None:
    """Paths from the package's folder, as `search/engine/maxmin.py`; COMMAND stands for any command."""
    named = set(re.findall(rf"`((?:{ROOMS})/[\w/]+\.\w+)", TEXT))
    missing = [
        name
        for name in sorted(named)
        if not list(PACKAGE.glob(name.replace("COMMAND", "*")))
    ]
    assert missing == []
    assert len(named) > 30


# The most files that these changes may touch
MOST = {
    "add a packaging limit": 3,
    "add a load-case field": 6,
    "add a tyre law": 6,
    "add a per-side setting": 10,
}


def test_changes_touch_few_files() -> None:
    """The last column counts the files that the row names, and `the kernel`; the common changes stay small."""
    rows = re.findall(r"^\| (.+?) \| (.+) \| (\d+) \|$", TEXT, re.M)
    counts = {}
    for question, answer, count in rows:
        files = set(re.findall(r"`[\w/]+\.\w+`", answer))
        found = len(files) + ("the kernel" in answer)
        if question.startswith(tuple(MOST)):
            assert found == int(count), question
        counts[question] = int(count)
    assert len(counts) >= 12
    for start, most in MOST.items():
        [count] = [counts[q] for q in counts if q.startswith(start)]
        assert count <= most, start


def test_same_names_are_copied() -> None:
    """A load-case field or a tyre's number needs no line in evaluation/ where its name is the same."""
    case = _attitude_columns(
        Attitude(
            "a", 0.1, 2.0, 3.0, 4.0, None, 5.0, 6.0, (1.0, 2.0, 3.0, 4.0), 7.0
        ),
        venue(),
    )
    shared = set(CASE.names) & set(Attitude.__slots__)
    assert len(shared) >= 7
    assert [case["heading"], case["headwind"], case["yaw_acceleration"]] == [
        0.1,
        5.0,
        4.0,
    ]
    assert shared <= set(case)
    assert {"friction", "friction_exponent"} <= set(_copied(Tyre))


def test_every_slow_test_that_is_listed_exists() -> None:
    """A renamed test would drop out of the list, and into the quick run, without a word."""
    tests = Path(conftest.__file__).parent
    missing = []
    for start in conftest.SLOW:
        file, _, name = start.partition("::")
        path = tests / file
        if not path.exists() or f"def {name}" not in (
            path.read_text(encoding="utf-8") if name else "def "
        ):
            missing.append(start)
    assert missing == []
