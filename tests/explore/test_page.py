"""The explore page in a real browser: nothing to complain of, text stays text, the keyboard is enough."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, chromium
from report.report_folders import EVIL, SETUPS, example
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from setupopt.explore.server import ExploreServer

from .explored import resize, served, show, wait_for

EXACT = "document.body.dataset.state === 'exact'"
ALL = 2800  # px of a window in which all of the page is in sight


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One Chromium for all."""
    with chromium(tmp_path_factory.mktemp("chromium")) as one:
        yield one


def evil(folder: Path) -> Path:
    """The bore with a script in every name: car, venue, setup, attitudes, tyres, elements, points, body."""
    example("bore", folder)
    for path in folder.glob("*.toml"):
        lines = path.read_text().splitlines()
        named = [
            f'name = "{EVIL} {k}"' if re.match("name = ", line) else line
            for k, line in enumerate(lines)
        ]
        path.write_text("\n".join(named))
    return folder


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ExploreServer]:
    """The bore at thirteen roll angles, with a script in every name."""
    with served(evil(tmp_path_factory.mktemp("page") / "bore")) as one:
        yield one


@pytest.fixture
def page(browser: Browser, server: ExploreServer) -> Browser:
    """The page, with its first exact answer; a second opening has the cookie."""
    show(browser, server.address)
    return browser


def text(page: Browser, name: str) -> str:
    """What an element shows."""
    return str(
        page.run(
            "return document.getElementById(arguments[0]).textContent", name
        )
    )


def press(page: Browser, *keys: str) -> None:
    """Keys, as a person types them into whatever has the focus."""
    ActionChains(page.driver).send_keys(*keys).perform()


def tab_to(page: Browser, name: str) -> None:
    """Reach a control by the tab key alone."""
    page.run("document.activeElement.blur(); window.scrollTo(0, 0)")
    for _ in range(120):
        press(page, Keys.TAB)
        if (
            page.run(
                "return document.activeElement.id || document.activeElement.ariaLabel"
            )
            == name
        ):
            return
    raise AssertionError(f"no tab stop at {name}")


@pytest.mark.parametrize("width", [1280, 390])
def test_opens_without_complaint_and_fits(
    page: Browser, server: ExploreServer, width: int
) -> None:
    """No console error, nothing asked for from elsewhere, no element wider than the window."""
    resize(page, width)
    wait_for(
        page,
        f"document.querySelector('canvas').getBoundingClientRect().width < {width}",
    )
    assert page.complaints() == []
    own = f"http://127.0.0.1:{server.server_port}/"
    assert [url for url in page.requests() if not url.startswith(own)] == []
    assert page.overflowing() == []


def test_names_of_the_project_stay_text(page: Browser) -> None:
    """Every name is a script: it is shown, and the page has its own two scripts only."""
    for name in ("car", "venue", "folder", "attitude", "where"):
        assert EVIL[:8] in text(page, name), name
    assert page.run(
        "return [...document.scripts].map(one => new URL(one.src).pathname)"
    ) == [
        "/uPlot.js",
        "/page.js",
    ]


def test_the_keyboard_is_enough(page: Browser) -> None:
    """Tab to a slider, move it by arrow keys, undo it, look elsewhere, pin, save: no pointer."""
    resize(page, 1280, ALL)  # what is out of sight is not drawn
    first = text(page, "margin")
    tab_to(page, "rear camber deg, slider")
    press(page, *([Keys.ARROW_LEFT] * 20))
    wait_for(
        page,
        f"{EXACT} && document.getElementById('margin').textContent !== {first!r}",
    )
    assert text(page, "mark") == "exact"
    tab_to(page, "undo")
    while page.run("return !document.getElementById('undo').disabled"):
        press(page, Keys.ENTER)
    wait_for(
        page,
        f"{EXACT} && document.getElementById('margin').textContent === {first!r}",
    )
    tab_to(page, "place")
    press(page, Keys.HOME)
    wait_for(
        page,
        f"{EXACT} && document.getElementById('here-words').textContent.includes(' at 0 ')",
    )
    tab_to(page, "save")
    press(page, Keys.ENTER)
    wait_for(
        page,
        "document.getElementById('saved').textContent.startsWith('saved: ')",
    )
    press(page, Keys.ENTER)
    wait_for(
        page,
        "document.getElementById('saved').textContent.startsWith('not saved: ')",
    )
    refused = [
        line for line in page.complaints() if "400" not in line
    ]  # the browser notes the refusal
    assert refused == []


def test_every_control_has_a_name(page: Browser) -> None:
    """For a screen reader: a label, an aria-label or its own text."""
    nameless = """
        return [...document.querySelectorAll('input, select, button')].filter(one => !(one.labels
            && one.labels.length) && !one.ariaLabel && !one.textContent.trim()).map(one => one.outerHTML)
    """
    assert page.run(nameless) == []


def test_no_approximate_number_without_a_mark(page: Browser) -> None:
    """While a slider moves the page says so; the exact answer follows by itself when it rests."""
    seen = page.run("""
        const range = [...document.querySelectorAll('input[type=range]')].find(one => one.ariaLabel
            && one.ariaLabel.startsWith('front camber'));
        const seen = [], watch = new MutationObserver(() => seen.push(
            [document.body.dataset.state, document.getElementById('margin').textContent.includes('\u2248')]));
        const all = {childList: true, characterData: true, subtree: true};
        watch.observe(document.getElementById('margin'), all);
        return new Promise(done => {
            let k = 0;
            const step = () => {
                range.value = +range.value - 0.1;
                range.dispatchEvent(new Event('input', {bubbles: true}));
                if (++k < 25) setTimeout(step, 30); else setTimeout(() => done(seen), 3000);
            };
            step();
        });
    """)
    states = {state for state, _ in seen}
    assert {"approximate", "exact"} <= states
    assert all(marked for state, marked in seen if state == "approximate")
    wait_for(page, EXACT)


def test_two_pages_at_once(page: Browser, server: ExploreServer) -> None:
    """A second window has a state of its own."""
    first = text(page, "margin")
    own = page.driver.current_window_handle
    page.driver.switch_to.new_window("tab")
    try:
        show(page, server.address)
        tab_to(page, "rear ride height mm, slider")
        press(page, Keys.HOME)
        wait_for(
            page,
            f"{EXACT} && document.getElementById('margin').textContent !== {first!r}",
        )
    finally:
        page.driver.close()
        page.driver.switch_to.window(own)
    wait_for(page, EXACT)
    assert text(page, "margin").startswith(first.split(",")[0])


def test_a_car_that_loses_contact_says_so(
    browser: Browser, tmp_path: Path
) -> None:
    """At 38 m/s the car comes off near the top: no number, hatched places, and the car drawn dashed."""
    folder = example("bore", tmp_path / "lost")
    venue = folder / "venue.toml"
    venue.write_text(
        venue.read_text().replace("speed_m_s = 54", "speed_m_s = 38")
    )
    with served(folder) as server:
        show(browser, server.address, height=ALL)
        assert "CONTACT LOST" in text(browser, "margin")
        assert (
            browser.run(
                "return document.querySelectorAll('#drawings path.lost').length"
            )
            > 0
        )


def test_examples_of_all_kinds_open(browser: Browser) -> None:
    """A bank and a hill: wings, bodies, other attitudes."""
    for name in ("bank", "hill"):
        with served(SETUPS / name) as server:
            show(browser, server.address)
            assert browser.complaints() == []
