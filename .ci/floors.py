#!/usr/bin/env python3
"""Prints the oldest supported version of every dependency, as constraints for pip: `>=X` becomes `==X`."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

_FLOOR = re.compile(r"([A-Za-z0-9._-]+)>=([0-9.]+)")


def floors(pyproject: Path) -> list[str]:
    """One `name==version` for every dependency; ValueError for one without a floor."""
    wanted = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"][
        "dependencies"
    ]
    found = [(need, _FLOOR.fullmatch(need)) for need in wanted]
    if without := [need for need, match in found if match is None]:
        raise ValueError(
            f"no floor of the form name>=version: {', '.join(without)}"
        )
    return [f"{match[1]}=={match[2]}" for _, match in found if match]


if __name__ == "__main__":
    print("\n".join(floors(Path(__file__).parents[1] / "pyproject.toml")))
