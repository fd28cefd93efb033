"""DEVELOPERS.md names files: each of them exists, so that a newcomer finds it."""

from __future__ import annotations

import re
from pathlib import Path

import setupopt

PACKAGE = Path(setupopt.__file__).parent
TEXT = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
ROOMS = "|".join(sorted(path.name for path in PACKAGE.iterdir() if path.is_dir()))


def test_every_file_of_the_package_that_is_named_exists() -> None:
    """Paths from the package's folder, as `search/engine/maxmin.py`; COMMAND stands for any command."""
    named = set(re.findall(rf"`((?:{ROOMS})/[\w/]+\.\w+)", TEXT))
    missing = [name for name in sorted(named) if not list(PACKAGE.glob(name.replace("COMMAND", "*")))]
    assert missing == []
    assert len(named) > 30
