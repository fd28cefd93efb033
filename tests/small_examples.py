"""Examples cut down to a few cases and settings, for tests of whole searches."""

from __future__ import annotations

import shutil
from pathlib import Path

SETUPS = Path(__file__).resolve().parents[1] / "setups"
ANSWERS = ("proved", "sheets", "proposed.toml", "alternative-*", "*.csv", "*.svg")  # fmt: skip
# Ranges of the bore's limits.toml without which only springs may change
ALL_BUT_SPRINGS = (
    "camber_deg = {", "ride_height_mm = {", "pressure_bar = {", "anti_roll_N_per_mm = ", "third_N",
)  # fmt: skip


def small_example(
    name: str,
    home: Path,
    angles: tuple[str, str],
    attitudes: tuple[str, ...],
    fixed: tuple[str, ...],
) -> Path:
    """A copy of an example in `home`.

    `angles`: the end of the sweep's range as it stands, and in its place; `attitudes`: names of those that
    stay; `fixed`: how lines of limits.toml begin that go.
    """
    folder = home / "project"
    shutil.copytree(
        SETUPS / name, folder, ignore=shutil.ignore_patterns(*ANSWERS)
    )
    venue = folder / "venue.toml"
    first, *every = venue.read_text().replace(*angles).split("[[")
    few = [text for text in every if any(f'"{a}"' in text for a in attitudes)]
    venue.write_text("[[".join([first, *few]))
    limits = folder / "limits.toml"
    lines = limits.read_text().splitlines()
    limits.write_text(
        "\n".join(line for line in lines if not line.startswith(fixed))
    )
    return folder


def small_bore(home: Path, *attitudes: str) -> Path:
    """The bore with three bodies, at the floor and the top; only springs may change."""
    angles = ("to = 180, step = 5", "to = 180, step = 180")
    return small_example("bore", home, angles, attitudes, ALL_BUT_SPRINGS)


def parts_toml(start: float | None, *parts: dict[str, float]) -> str:
    """A section of parts for venue.toml, by the keys of the file; `start`: the angle where it begins, deg."""
    lines = [] if start is None else [f"[section]\nstart_deg = {start:g}"]
    for part in parts:
        lines.append("[[section.part]]")
        lines += [f"{key} = {value:g}" for key, value in part.items()]
    return "\n".join(lines) + "\n"
