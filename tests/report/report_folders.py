"""Projects to report on: the examples, and what may be odd about one. Every number is invented."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

from setupopt.project import load, setup_as_dict
from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.stored_proof import proof_file

SETUPS = Path(__file__).resolve().parents[2] / "setups"
EVIL = "<script>alert(1)</script>"
_FILES = ("car.toml", "venue.toml", "setup.toml", "limits.toml")


def example(name: str, folder: Path) -> Path:
    """An example at few roll angles, with nothing that commands left in it."""
    folder.mkdir(parents=True)
    for file in _FILES:
        shutil.copy(SETUPS / name / file, folder)
    venue = folder / "venue.toml"
    few = {"bore": "15", "bank": "4", "hill": "5"}[name]
    venue.write_text(
        re.sub(
            r"(?m)^(roll_angles_deg.* step =) [\d.]+",
            rf"\1 {few}",
            venue.read_text(),
        )
    )
    return folder


def changed(folder: Path, file: str, before: str, after: str) -> Path:
    """The folder with one text in a file replaced."""
    path = folder / file
    text = path.read_text()
    assert before in text
    path.write_text(text.replace(before, after))
    return folder


def lost(folder: Path) -> Path:
    """The bore, driven so slowly that the car comes off near the top."""
    return _driven(example("bore", folder), 38)


def mixed(folder: Path) -> Path:
    """Both setups lose contact, each elsewhere."""
    return _driven(proposed(folder), 40)


def _driven(folder: Path, speed: float) -> Path:
    venue = folder / "venue.toml"
    text, count = re.subn(
        r"(?m)^speed_m_s = \d+$", f"speed_m_s = {speed}", venue.read_text()
    )
    assert count == 1
    venue.write_text(text)
    return folder


def parts(folder: Path) -> Path:
    """A floor, an arc up to a wall, and the wall: several places have one roll angle."""
    example("bore", folder)
    venue = folder / "venue.toml"
    text = venue.read_text().replace('section = "circle"', 'section = "parts"')
    text = re.sub(r"(?m)^radius_mm.*\n", "", text)
    text = re.sub(
        r"(?m)^roll_angles_deg.*$",
        "along_mm = { from = 500, to = 14000, step = 1500 }",
        text,
    )
    pieces = (
        "[[section.part]]\nwidth_mm = 4000\n\n[[section.part]]\nradius_mm = 8000\nsweep_deg = 60\n\n"
        "[[section.part]]\nwidth_mm = 3000\n\n"
    )
    venue.write_text(text.replace("[sweep]", f"{pieces}[sweep]"))
    return folder


def bare(folder: Path) -> Path:
    """The bank without a wing or floor, the car's name a script."""
    example("bank", folder)
    car = folder / "car.toml"
    parts = re.split(r"(?m)^(?=\[)", car.read_text())
    kept = "".join(
        part for part in parts if not part.startswith("[[air.element]]")
    )
    kept = re.sub(r"(?m)^\[air\]$", "[air]\nelement = []", kept, count=1)
    car.write_text(
        re.sub(r'(?m)^name = ".*"$', f"name = '{EVIL}'", kept, count=1)
    )
    return folder


def twisted(folder: Path) -> Path:
    """The bore with one attitude alone: turned by 8 deg, a bump under one wheel. Its name is a long word."""
    example("bore", folder)
    venue = folder / "venue.toml"
    head = venue.read_text().split("[[attitude]]")[0]
    attitude = f'[[attitude]]\nname = "{"W" * 60}"\nheading_deg = 8\nbump_mm = [15, 0, 0, 0]\n'
    venue.write_text(head + attitude)
    return folder


def proposed(folder: Path) -> Path:
    """The bore with a better setup, its proof and its prices, as `propose` and `prove` keep them."""
    example("bore", folder)
    text = (folder / "setup.toml").read_text()
    for before, after in (
        ("camber_deg = -1.5", "camber_deg = -6.5"), ("camber_deg = -1.0", "camber_deg = -6.5"),
        ("pressure_bar = 1.6", "pressure_bar = 1.3"), ("ride_height_mm = 45", "ride_height_mm = 34"),
        ('name = "As last raced on a flat circuit"', f"name = '{EVIL}'"),
    ):  # fmt: skip
        assert before in text, before
        text = text.replace(before, after, 1)
    (folder / "proposed.toml").write_text(text)
    keep_proof(folder)
    keep_prices(folder)
    return folder


def checksum(folder: Path, setup: str = "proposed.toml") -> str:
    """That of a setup in its project."""
    project = load(folder, setup)
    return setup_checksum(project, project.setup)


def keep_proof(folder: Path, **more: Any) -> None:
    """A proof of the proposed setup, invented."""
    project = load(folder, "proposed.toml")
    place = {"case": 143, "roll_angle_deg": 155.0, "attitude": "crosswind"}
    rows = [
        ("margin as set", 0.21, 0.0, "margin", True), ("rough road", 0.05, 5.0, "% of runs", True),
        ("gust", 1.7, 3.0, "m/s", False), ("bump", None, None, "mm", None),
    ]  # fmt: skip
    verdicts = [
        {"what": what, "found": found, "asked": asked, "unit": unit, "holds": holds, **place,
         "how": f"how {what} goes first", "change": None}
        for what, found, asked, unit, holds in rows
    ]  # fmt: skip
    proof = {
        "setup": {"name": "kept", "checksum": checksum(folder)}, "holds": False, "floor": 0.0,
        "verdicts": verdicts,
        "cases": [{**place, "bump_mm": 0.6, "bump_length_m": 3.4, "bump_track": "both"}],
        "wind": [{**place, "from_deg": 90.0, "gust_m_s": 1.7, "gust_length_m": 9.0, "steady_m_s": 2.4}],
    }  # fmt: skip
    path = proof_file(project, project.setup)
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(proof | more))


def keep_prices(folder: Path, **more: Any) -> None:
    """An answer of `propose` for the proposed setup, invented."""
    price = {
        "limit": "rear.pressure_bar.from", "margin_per_unit": 0.0226, "unit": "bar",
        "key": "limits.toml rear.pressure_bar.from", "solved_again": 0.031, "by": 0.0004, "agrees": False,
    }  # fmt: skip
    project = load(folder, "proposed.toml")
    answer = {
        "setup": setup_as_dict(project.setup), "holds": True, "limit_prices": [price],
        "project_checksum": project_checksum(project),
    }  # fmt: skip
    (folder / "proposal.json").write_text(json.dumps(answer | more))
