"""What DEVELOPERS.md and the list of slow tests name is there, so that a newcomer finds it."""

from __future__ import annotations

import re
from pathlib import Path

import conftest

import setupopt

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
