"""The screen of `route` against its JSON: every number that is printed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from setupopt.errors import InputError
from setupopt.project import load
from setupopt.report.route import text as screen_of
from setupopt.report.route.fields import as_dict
from setupopt.report.route.text import text
from setupopt.report.shared.route_file import read_route
from setupopt.route.by_hand import by_hand
from setupopt.route.complete import Route
from setupopt.route.goal import RouteOptions
from setupopt.route.prices import Price
from setupopt.route.programme import Programme, Refused, Run
from setupopt.route.study import KnownWay
from setupopt.route.way_out import EVENTS, Escape, WayOut
from setupopt.route.whole import place_of

SETUPS = Path(__file__).parents[2] / "setups"
# Columns of the screen, and what they are in the JSON
MARKS = {
    "after m": "way_m", "axis m": "axis_m", "deg": "roll_angle_deg", "heading": "heading_deg", "m/s": "speed_m_s",
    "km/h": "speed_km_h", "s": "seconds", "margin": "margin", "steer": "steer_deg", "deg/s": "steer_rate_deg_s",
    "kW": "power_kW",
}  # fmt: skip
STAGES = {
    "metres": "metres",
    "seconds": "seconds",
    "from m/s": "first_speed",
    "to m/s": "last_speed",
}
PIECES = {
    "metres": "metres", "seconds": "seconds", "from deg": "from_deg", "to deg": "to_deg", "least margin": "margin",
    "after m": "at_m",
}  # fmt: skip
NUMBER = r"(?<![\w.\[])[-+]?\d+(?:\.\d+)?(?:e[-+]\d+)?(?![\w\]])"


@pytest.fixture(scope="module")
def route() -> Route:
    """The bore's way over the top as no search left it, with ways out and prices by hand."""
    project = load(SETUPS / "bore")
    steep = np.radians([0.0, 6.0, 11.0, 13.0, 12.0, 11.0, 12.0, 10.0, 5.0, 0.0])
    way = KnownWay("over", 47.3, (steep,), (0.4,))
    study = way.driven(project, RouteOptions(speed=47.3, quick=True))
    out = WayOut(EVENTS[0], "down", 0.2345, 41.7, 1.234, 0.3, 33.3)
    ways = dict.fromkeys(EVENTS, out) | {EVENTS[3]: None}
    escapes = (Escape(0, ways, None, 123.4), Escape(40, ways, None, None))
    prices = (
        Price("entry speed", 1.0, "m/s", 2.345),
        Price("radius", 1.0, "m", None),
    )
    whole = Route(study, place_of(study), escapes, prices)
    return replace(whole, by_hand=by_hand(study))


@pytest.fixture(scope="module")
def answer(route: Route) -> Any:
    """Its JSON."""
    return as_dict(route)


def rounds(shown: str, value: float | None) -> bool:
    """Whether a number on the screen is a value rounded to the places that are shown."""
    if value is None:
        return shown in ("-", "lost", "none")
    places = len(shown.partition(".")[2])
    return abs(float(shown) - value) <= 0.5 * 10.0**-places * (1.0 + 1e-9)


def table(screen: str, first: str) -> list[dict[str, str]]:
    """Rows of the table whose head begins with a word, by the heads of its columns."""
    lines = iter(screen.splitlines())
    head = next(line for line in lines if re.match(rf"\s+{first}  ", line))
    rows = []
    for line in lines:
        if not line.strip():
            break
        # numbers stand right below the end of their head
        cells = {
            name[0]: (line[: name.end()].split(" ") or [""])[-1]
            for name in re.finditer(r"\S+(?: \S+)*", head)
        }
        rows.append(cells)
    return rows


def numbers(answer: Any) -> Iterator[float]:
    """All numbers of a JSON answer."""
    if isinstance(answer, dict):
        answer = list(answer.values())
    if isinstance(answer, list):
        for one in answer:
            yield from numbers(one)
    elif isinstance(answer, int | float):
        yield float(answer)


@pytest.mark.parametrize("width", [80, 120])
def test_every_number_is_that_of_the_json(
    route: Route, answer: Any, width: int
) -> None:
    """Cells of marks, stages and pieces by their column; each other number is one of the JSON's, rounded."""
    screen = text(route, width)
    assert max(map(len, screen.splitlines())) <= width
    for first, names, rows in (
        ("after m", MARKS, answer["marks"]),
        ("stage", STAGES, answer["place"]["stages"]),
        ("piece", PIECES, answer["pieces"]),
    ):
        shown = table(screen, first)
        assert len(shown) == len(rows)
        for cells, row in zip(shown, rows, strict=True):
            for name in cells.keys() & names.keys():
                assert rounds(cells[name], row[names[name]]), (name, cells, row)
    assert {"km/h", "kW"} <= table(screen, "after m")[0].keys() or width == 80
    loads = [f"load_{wheel}_N" for wheel in ("fl", "fr", "rl", "rr")]
    known = list(numbers(answer))
    known += [min(row[load] for load in loads) for row in answer["marks"]]
    known += [answer["speed_m_s"] * 3.6, 10.0, 0.0]
    places = [grown for value in known for grown in (value, -value)]
    joined = " ".join(screen.split())
    joined = joined.replace(route.study.project.venue.name, "")
    for shown in re.findall(NUMBER, joined):
        assert any(rounds(shown, value) for value in places), shown


def test_the_pieces_of_a_way_back_by_their_names(
    route: Route, answer: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A way back on the same side has a climb and a descent, which have no words of their own."""
    names = ["climb", "hold", "descent"]
    rows = [{**answer["pieces"][0], "piece": name} for name in names]
    monkeypatch.setattr(screen_of, "pieces", lambda *_: rows)
    screen = text(route, 100).partition("\n  piece ")[2]
    shown = [line.split()[0] for line in screen.splitlines()[1:4]]
    assert shown == ["climb", "straight", "descent"]


def test_a_refused_step_says_which_limit_it_breaks(route: Route) -> None:
    """Its margin alone may be well above the least one. The table of the runs fits its terminal."""
    shares = {"surface grip": 0.53}
    step = Refused(np.radians(50.0), 32.0, 0.41, 0.4, ("wheel_load_least_N",))
    run = Run(
        "angle", np.radians(34.0), route.study, 0.38, {}, shares, shares, np.eye(1), "surface grip", (step,),
    )  # fmt: skip
    tested = replace(route, programme=Programme((run,), (), True, 0.15))
    screen = text(tested, 80)
    assert max(map(len, screen.splitlines())) <= 80
    said = " ".join(screen.split())
    assert "50 deg at 32.0 m/s (0.400; breaks wheel_load_least_N)" in said


def test_a_route_that_is_not_there_is_said(
    route: Route, tmp_path: Path
) -> None:
    """No file is not another file."""
    with pytest.raises(InputError, match="found no such file"):
        read_route(tmp_path / "nix.json", route.study.project)


def test_the_head_of_the_card(route: Route, answer: Any) -> None:
    """What a driver reads first, each by its name."""
    screen = " ".join(text(route, 100).split())
    worst, hand = answer["worst"], answer["by_hand"]
    for words, values in (
        (r"entered at (\S+) m/s \((\S+) km/h\)", [answer["speed_m_s"], 47.3 * 3.6]),
        (r"Least margin (\S+) after (\S+) m, at (\S+) deg, heading (\S+) deg",
         [answer["margin"], worst["way_m"], worst["roll_angle_deg"], worst["heading_deg"]]),
        (r"(\S+) m and (\S+) s on the section, (\S+) m of it at",
         [answer["length_m"], answer["seconds"], answer["held_m"]]),
        (r"The whole place: (\S+) m, (\S+) s", [answer["place"]["metres"], answer["place"]["seconds"]]),
        (r"a ramp of (\S+) m and then a heading of (\S+) deg up to (\S+) deg: (\S+) m",
         [hand["ramp_m"], hand["heading_deg"], answer["to_deg"], hand["length_m"]]),
        (r"The route found: (\S+) m up to there, it has a margin of ([\d.]+\d)",
         [hand["route_length_m"], hand["route_margin"]]),
        (r"1 m/s more entry speed: \+(\S+) m", [2.345]),
    ):  # fmt: skip
        found = re.search(words, screen)
        assert found, words
        for shown, value in zip(found.groups(), values, strict=True):
            assert rounds(shown, value), (words, shown, value)
