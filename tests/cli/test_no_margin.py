"""A case without grip or contact has no margin: no command prints what a search counts with in its place."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from report.report_folders import example

from setupopt.explore.session import Session
from setupopt.project import load

from .conftest import Run

# A trim is looked for up to four times the friction: a margin is 1 minus that, or there is none
LEAST = -3.0
KEYS = (
    "margin",
    "bound",
    "continuous",
    "with_parts",
    "ends_of_starts",
    "found",
    "climbed",
    "gain",
    "loss",
)
COMMANDS = {
    "assess": [], "compare": ["second.toml"], "sheet": [], "speeds": [], "report": [], "prove": ["--quick"],
    "route": [], "propose": ["--starts", "1", "--alternatives", "0", *(
        word for key in ("body", "spring_N_per_mm", "ride_height_mm", "pressure_bar")
        for word in ("--keep", key))],
}  # fmt: skip
DEAR = ("compare", "prove", "propose", "report", "route")


@pytest.fixture(scope="module", params=[25.0, 46.0], ids=["lost", "slides"])
def slow(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The bore straight and turned, upright, at the wall and inverted, at a speed that does not hold it."""
    folder = example("bore", tmp_path_factory.mktemp("slow") / "project")
    venue = folder / "venue.toml"
    text = re.sub(
        r"(?m)^speed_m_s = .*$",
        f"speed_m_s = {request.param:g}",
        venue.read_text(),
    )
    text = re.sub(r"(?m)^(roll_angles_deg.* step =) [\d.]+", r"\1 60", text)
    venue.write_text("[[attitude]]".join(text.split("[[attitude]]")[:3]))
    shutil.copy(folder / "setup.toml", folder / "second.toml")
    return folder


def numbers(found: Any, key: str = "") -> Iterator[tuple[str, float]]:
    """Every number of an answer with the key that it stands under."""
    if isinstance(found, dict):
        for name, value in found.items():
            yield from numbers(value, name)
    elif isinstance(found, list):
        for value in found:
            yield from numbers(value, key)
    elif isinstance(found, int | float):
        yield key, float(found)


def check(found: Any) -> None:
    """No number that stands for a margin, or for a gain of it, is less than any margin can be."""
    wrong = [
        (key, value)
        for key, value in numbers(found)
        if any(k in key for k in KEYS) and value < LEAST
    ]
    assert wrong == []


@pytest.mark.parametrize("name", [
    pytest.param(name, marks=[pytest.mark.study] if name in DEAR else []) for name in COMMANDS
])  # fmt: skip
def test_no_command_prints_one(
    name: str, slow: Path, run: Run, tmp_path: Path
) -> None:
    """JSON and words; what failed, and what would hold the car where it is one setup's answer."""
    words = [
        name,
        slow,
        *(slow / w if w == "second.toml" else w for w in COMMANDS[name]),
        "--quiet",
        "--out",
        tmp_path,
    ]
    done = run(*words, "--json")
    assert done.stdout, done.stderr
    answer = json.loads(done.stdout)
    # a way may hold where straight running does not
    holds = name == "route" and answer["holds"]
    assert done.exit_code == (0 if holds else 1)
    check(answer)
    assert answer.get("sides") is None  # nothing is gained where nothing holds
    text = run(*words).stdout
    assert not re.search(r"(?i)margin[^\n]*-(?:[4-9]|\d\d)\d*\.\d", text)
    if name not in ("compare", "speeds", "route", "propose"):
        assert re.search(
            r"What\s+would\s+hold|Nothing\s+that\s+was\s+tried", text
        )


def test_nor_does_the_explore_page(slow: Path) -> None:
    """Its answer to the project as it stands, in every attitude at its last place."""
    session = Session(load(slow))
    state = session.answer("/project", {})["state"]
    for attitude in range(2):
        place = session.answers.places - 1
        asked = {"state": state, "attitude": attitude, "place": place}
        check(session.answer("/answer", asked))
