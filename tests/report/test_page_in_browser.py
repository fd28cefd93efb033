"""The report page in a real browser: it opens from disk, fits, prints, and draws to scale."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from browser import Browser, chromium
from click.testing import CliRunner

from setupopt.cli.main import group
from setupopt.project import load
from setupopt.search import tradeoff

from . import report_folders as folders

NAMES = (
    "bore",
    "bank",
    "hill",
    "lost",
    "bare",
    "twisted",
    "proposed",
    "mixed",
    "parts",
)
HELD = tuple(name for name in NAMES if name not in ("lost", "mixed"))
POINT = 96 / 72  # CSS pixels
WHEELS = ("fl", "fr", "rl", "rr")


def answered(*args: str) -> dict[str, Any]:
    """What a command answers as JSON."""
    done = CliRunner().invoke(group, [*args, "--json", "--quiet"])
    assert done.exit_code in (0, 1), done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


class Pages(dict[str, Path]):
    """Projects by name, each with its page in it and the command's answer beside it, made when asked for."""

    def __init__(self, home: Path) -> None:
        super().__init__()
        self.home = home

    def __missing__(self, name: str) -> Path:
        make = getattr(folders, name, None)
        folder = (
            make(self.home / name)
            if make
            else folders.example(name, self.home / name)
        )
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(tradeoff, "_LINES", 5)  # drawn sooner
            answer = answered("report", str(folder))
        (folder / "answer.json").write_text(json.dumps(answer))
        self[name] = folder
        return folder


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """All that are looked at."""
    return Pages(tmp_path_factory.mktemp("pages"))


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One Chromium for all of them."""
    with chromium(tmp_path_factory.mktemp("chromium")) as one:
        yield one


def answer_of(folder: Path) -> dict[str, Any]:
    """The answer of the command that made the page."""
    found: dict[str, Any] = json.loads((folder / "answer.json").read_text())
    return found


def cells(browser: Browser, table: str) -> list[list[str]]:
    """The text of every row of the tables that a selector finds."""
    return list(
        browser.run(
            "return [...document.querySelectorAll(arguments[0] + ' tbody tr')]"
            ".map(row => [...row.cells].map(cell => cell.innerText.trim().replace(/\\s+/g, ' ')))",
            table,
        )
    )


# ---- it opens and fits -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [1280, 390])
def test_opens_without_complaint_and_fits(
    pages: Pages, browser: Browser, name: str, width: int
) -> None:
    """Nothing on the console, nothing asked for but the file itself, no element wider than the window."""
    page = pages[name] / "report.html"
    browser.open(page, width)
    assert browser.complaints() == []
    assert browser.requests() == [page.resolve().as_uri()]
    assert browser.overflowing() == []


def test_text_of_the_user_stays_text(pages: Pages, browser: Browser) -> None:
    """A car or a setup called as a script is shown so, and no script is in the page."""
    for name, place in (("bare", ".what"), ("proposed", ".verdict")):
        browser.open(pages[name] / "report.html", 1280)
        assert folders.EVIL in browser.run(
            "return document.querySelector(arguments[0]).textContent", place
        )
        assert browser.run("return document.scripts.length") == 0


def test_no_two_elements_share_a_name(pages: Pages, browser: Browser) -> None:
    """Pictures stand in one page: a name that comes twice would draw one with the other's parts."""
    browser.open(pages["proposed"] / "report.html", 1280)
    names = browser.run(
        "return [...document.querySelectorAll('[id]')].map(e => e.id)"
    )
    assert len(names) == len(set(names)) > 100


def luminance(colour: str) -> float:
    """Relative luminance of rgb(...) as WCAG 2.1 defines it."""
    shares = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [
        s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4
        for s in shares
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_letters_stand_out(pages: Pages, browser: Browser) -> None:
    """Contrast of every text with what lies behind it is at least 4.5, WCAG 2.1 level AA."""
    found = set()
    for name in ("proposed", "lost"):
        browser.open(pages[name] / "report.html", 1280)
        found |= {
            tuple(pair)
            for pair in browser.run("""
                const behind = e => { for (; e; e = e.parentElement) {
                    const c = getComputedStyle(e).backgroundColor; if (c !== 'rgba(0, 0, 0, 0)') return c; }
                    return 'rgb(255, 255, 255)'; };
                const pairs = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
                while (walk.nextNode()) {
                    const e = walk.currentNode.parentElement, style = getComputedStyle(e);
                    if (!walk.currentNode.textContent.trim() || e.tagName === 'STYLE') continue;
                    pairs.push([e.closest('svg') ? style.fill : style.color, behind(e)]); }
                return pairs;""")
        }
    assert len(found) >= 4
    for pair in found:
        low, high = sorted(map(luminance, pair))
        assert (high + 0.05) / (low + 0.05) >= 4.5, pair


# ---- it prints ---------------------------------------------------------------------------------------------


def height(char: dict[str, Any]) -> float:
    """Height of a letter in points; that of a turned one is told as its width."""
    return float(char["size"] if char["upright"] else char["x1"] - char["x0"])


PRINTED = ("proposed", "mixed", "twisted")


@pytest.mark.parametrize("name", PRINTED)
def test_prints_well(pages: Pages, browser: Browser, name: str) -> None:
    """A4, six pages at most, no page empty, no letter under 8 points, nothing off the paper."""
    browser.open(pages[name] / "report.html", 1280)
    with pdfplumber.open(browser.pdf()) as pdf:
        assert len(pdf.pages) <= 6
        for page in pdf.pages:
            assert (round(page.width), round(page.height)) == (595, 842)
            letters = [char for char in page.chars if char["text"].strip()]
            assert len(letters) > 150
            assert min(map(height, letters)) >= 7.99
            assert min(char["x0"] for char in letters) >= 20
            assert max(char["x1"] for char in letters) <= page.width - 20


@pytest.mark.parametrize("name", PRINTED)
def test_no_row_of_a_table_is_cut(
    pages: Pages, browser: Browser, name: str
) -> None:
    """A mark at the beginning and the end of every cell: those of a row are printed on the same page."""
    browser.open(pages[name] / "report.html", 1280)
    browser.run("""document.querySelectorAll('tbody tr').forEach((row, i) => [...row.cells].forEach(cell => {
        for (const where of ['afterbegin', 'beforeend']) cell.insertAdjacentHTML(
            where, `<span style="white-space:nowrap;font-size:1px"> q${i}q </span>`); }))""")
    rows: dict[str, set[int]] = {}
    with pdfplumber.open(browser.pdf()) as pdf:
        for number, page in enumerate(pdf.pages):
            for row in re.findall(
                r"q\d+q", "".join(char["text"] for char in page.chars)
            ):
                rows.setdefault(row, set()).add(number)
    assert (
        len(rows)
        == browser.run("return document.querySelectorAll('tbody tr').length")
        > 50
    )
    assert {row: on for row, on in rows.items() if len(on) > 1} == {}


# ---- it says what the commands say -------------------------------------------------------------------------


def shown(value: float | None, digits: int) -> str:
    """A number as the page writes it."""
    return "-" if value is None else f"{round(value, digits) + 0.0:.{digits}f}"


def without(margin: float | None) -> str:
    """A margin of the loss budget as the page writes it."""
    if margin is None:
        return "CONTACT LOST"
    return f"{shown(margin, 3)}{' slides' if margin < 0.0 else ''}"


@pytest.mark.parametrize("name", HELD)
def test_numbers_are_those_of_assess(
    pages: Pages, browser: Browser, name: str
) -> None:
    """Worst margin, wheels, losses, every roll angle: to the digits shown, what `assess --json` answers."""
    browser.open(pages[name] / "report.html", 1280)
    part = (
        f'#worst [data-role="{"proposed" if name == "proposed" else "today"}"]'
    )
    told = answered(
        "assess",
        str(pages[name]),
        *(["--setup", "proposed.toml"] if name == "proposed" else []),
    )
    worst = told["worst"]
    assert cells(browser, ".verdict")[0][-1].startswith(
        shown(worst["margin"], 3)
    )
    wheels = {row[0]: row[1:] for row in cells(browser, f"{part} .wheels")}
    sliding = (
        worst["margin"] < 0.0
    )  # its wheels are those of a car on more friction: shown, with a note
    said = browser.run(
        "return document.querySelector(arguments[0]).textContent", part
    )
    assert (
        "of the trim with the least friction that holds it" in said
    ) == sliding
    for head, key, unit, digits in () if sliding else (
        ("load N", "load", "N", 0), ("grip it can give N", "grip", "N", 0),
        ("inclination to the surface deg", "inclination", "deg", 2), ("patch area mm2", "patch", "mm2", 0),
    ):  # fmt: skip
        assert wheels[head] == [
            shown(worst[f"{key}_{wheel}_{unit}"], digits) for wheel in WHEELS
        ]
    losses = {row[0]: row[1] for row in cells(browser, f"{part} .losses")}
    acting = {
        loss["cause"]: loss["margin_without"]
        for loss in told["losses"]
        if loss["in_case"]
    }
    assert losses == {
        cause: without(margin) for cause, margin in acting.items()
    }
    if len(told["by_angle"]) <= 20:
        rows = [
            (row[0].split()[0], row[-1].split()[0])
            for row in cells(browser, ".angles")
        ]
        assert rows == [
            (f"{round(a['roll_angle_deg'], 2):g}", shown(a["margin"], 3))
            for a in told["by_angle"]
        ]


def test_gaps_are_those_of_assess(pages: Pages, browser: Browser) -> None:
    """The floor line at both stations and the least of the floor points, read from the table of letters."""
    for name in ("bore", "bank", "hill", "twisted", "parts"):
        browser.open(pages[name] / "report.html", 1280)
        worst = answer_of(pages[name])["today"]["assessment"]["worst"]
        gaps = {row[1]: row[2].split()[0] for row in cells(browser, ".gaps")}
        for axle in ("front", "rear"):
            assert gaps.pop(f"floor line, {axle} ride-height station") == shown(
                worst[f"{axle}_gap_mm"], 1
            )
        points = [
            float(gap)
            for where, gap in gaps.items()
            if not where.endswith(", middle")
        ]
        assert min(points) == pytest.approx(
            worst["least_clearance_mm"], abs=0.051
        )


def test_every_lost_case_is_shown_as_lost(
    pages: Pages, browser: Browser
) -> None:
    """In the verdict, in a table that adds up to all of them, at its angles, and in place of the patches."""
    browser.open(pages["lost"] / "report.html", 1280)
    told = answer_of(pages["lost"])["today"]["assessment"]
    assert cells(browser, ".verdict")[0][1].startswith("CONTACT LOST")
    counts = [int(row[2].split(" of ")[0]) for row in cells(browser, ".lost")]
    assert sum(counts) == told["contact_lost"] > 20
    rows = {row[0]: row[1] for row in cells(browser, ".angles")}
    margins = {
        f"{one['roll_angle_deg']:g}": one["margin"] for one in told["by_angle"]
    }
    for angle, words in rows.items():
        assert words.startswith("CONTACT LOST") == (margins[angle] is None)
    for place in ("#worst", "#standing", "#patches"):
        assert "CONTACT LOST" in browser.run(
            "return document.querySelector(arguments[0]).textContent", place
        )
    assert (
        browser.run(
            "return document.querySelectorAll('.drawing .patch, #patches svg, .gaps').length"
        )
        == 0
    )
    assert (
        browser.run(
            "return document.querySelectorAll('.drawing .wheel:not(.lost)').length"
        )
        == 0
    )


# ---- it is drawn to scale ----------------------------------------------------------------------------------

# Centre on the screen and length of one mm of the drawing, of every path with a name.
_PLACES = """
    const svg = document.querySelector(arguments[0]), found = {};
    for (const path of svg.querySelectorAll(arguments[1])) {
        const box = path.getBoundingClientRect();
        found[path.dataset.name || 'outline'] = [(box.left + box.right) / 2, (box.top + box.bottom) / 2,
                                                 box.width, box.height];
    }
    return found;
"""
# The points of every wheel, in mm of the drawing.
_POINTS = """
    const found = {};
    for (const path of document.querySelectorAll(arguments[0])) {
        const length = path.getTotalLength();
        found[path.dataset.name] = Array.from({length: 2000}, (_, i) => {
            const p = path.getPointAtLength(length * i / 2000); return [p.x, p.y]; });
    }
    return found;
"""


@pytest.mark.parametrize("width", [1280, 390])
def test_section_is_drawn_to_scale(
    pages: Pages, browser: Browser, width: int
) -> None:
    """Radius over track, from the files, on the screen: 8000 / 1560 and 8000 / 1500; a circle stays round."""
    browser.open(pages["bore"] / "report.html", width)
    places = browser.run(_PLACES, ".drawing.section", ".outline, .wheel")
    _, _, across, down = places["outline"]
    assert across == pytest.approx(down, rel=1e-4)
    for left, right, track in (("fl", "fr", 1560.0), ("rl", "rr", 1500.0)):
        drawn = math.dist(places[left][:2], places[right][:2])
        # a leaning wheel's middle stays on the track; hubs stand at slightly different heights
        assert (across / 2) / drawn == pytest.approx(8000.0 / track, rel=2e-3)


def test_car_stands_at_its_roll_angle(pages: Pages, browser: Browser) -> None:
    """Seen from behind the car climbs on the left: from the middle it is seen at the worst roll angle."""
    browser.open(pages["bore"] / "report.html", 1280)
    places = browser.run(_PLACES, ".drawing.section", ".outline, .wheel")
    middle = [
        sum(places[wheel][i] for wheel in WHEELS) / 4 - places["outline"][i]
        for i in (0, 1)
    ]
    roll = answer_of(pages["bore"])["today"]["assessment"]["worst"][
        "roll_angle_deg"
    ]
    assert math.degrees(math.atan2(-middle[0], middle[1])) == pytest.approx(
        roll, abs=1.0
    )


def test_wheels_touch_the_outline(pages: Pages, browser: Browser) -> None:
    """Loaded wheels reach into the surface by what tread (pressure / foundation) and carcass give.

    To 0.1 mm: the page shows the outline with so much.
    """
    browser.open(pages["bore"] / "report.html", 1280)
    told = answer_of(pages["bore"])["today"]
    project = load(pages["bore"])
    points = browser.run(_POINTS, ".drawing.section .wheel")
    for wheel in WHEELS:
        axle = "front" if wheel[0] == "f" else "rear"
        tyre = getattr(project.car, axle).tyre
        stiffness = (
            tyre.foundation
            + tyre.foundation_per_pressure
            * getattr(project.setup, axle).pressure
        )
        depth = 1e6 * told["peak_pressure_kPa"][wheel] / stiffness
        deepest = (
            max(math.hypot(x, y + 8000.0) for x, y in points[wheel]) - 8000.0
        )
        carcass = (
            tyre.carcass
            + tyre.carcass_per_pressure * getattr(project.setup, axle).pressure
        )
        given = 1e3 * told["assessment"]["worst"][f"load_{wheel}_N"] / carcass
        assert deepest == pytest.approx(depth + given, abs=0.1), wheel


def test_near_drawings_are_to_scale(pages: Pages, browser: Browser) -> None:
    """Every gap's line is as long as the table says, beside the track of the axle, on the screen."""
    for name in ("bore", "twisted"):
        browser.open(pages[name] / "report.html", 1280)
        for place, axle, track in ((0, "rear", 1500.0), (1, "front", 1560.0)):
            figure = f"#standing .near figure:nth-of-type({place + 2})"
            wheels = browser.run(_PLACES, f"{figure} svg", f".wheel.{axle}")
            names = sorted(wheels)
            sideslip = answer_of(pages[name])["today"]["assessment"]["worst"][
                "sideslip_deg"
            ]
            heading = math.radians(
                (8.0 if name == "twisted" else 0.0) - sideslip
            )
            pixels = abs(wheels[names[0]][0] - wheels[names[1]][0]) / (
                track * math.cos(heading)
            )
            gaps = browser.run(_PLACES, f"{figure} svg", ".gap[data-name]")
            table = {
                row[0]: row[2].split()[0]
                for row in cells(browser, f"{figure} + .gaps")
            }
            assert gaps.keys() == table.keys()
            for letter, (_, _, _, height) in gaps.items():
                assert height / pixels == pytest.approx(
                    float(table[letter]), rel=2e-3, abs=0.1
                )


def test_car_from_above_is_drawn_crabbed(
    pages: Pages, browser: Browser
) -> None:
    """The middles of the axles lie at the sideslip to the travel, which is level; the label says it."""
    for name in ("bore", "twisted"):
        browser.open(pages[name] / "report.html", 1280)
        figure = "#standing .near figure:nth-of-type(1)"
        wheels = browser.run(_PLACES, f"{figure} svg", ".wheel")
        front, rear = (
            [
                sum(wheels[f"{axle}{side}"][i] for side in "lr") / 2
                for i in (0, 1)
            ]
            for axle in "fr"
        )
        worst = answer_of(pages[name])["today"]["assessment"]["worst"]
        turned = math.degrees(
            math.atan2(front[1] - rear[1], front[0] - rear[0])
        )
        # Down on the screen is to the right of the travel: the nose points there where sideslip is positive.
        assert turned == pytest.approx(worst["sideslip_deg"], abs=0.05)
        words = browser.run(
            "return document.querySelector(arguments[0]).textContent", figure
        )
        assert f"sideslip {shown(worst['sideslip_deg'], 1)} deg" in words
        assert f"steer {shown(worst['steer_deg'], 1)} deg" in words
