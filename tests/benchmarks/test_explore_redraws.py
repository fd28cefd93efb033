"""How often the explore page is redrawn while a slider moves: the bore example in headless Chromium.

Prints redraws a second of the clock, the work of each on all cores, and the load of the machine: where others
work on it too, the clock says little and the work says how many two free cores would give at most.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import psutil
import pytest
from browser import chromium
from explore.explored import served, show
from report.report_folders import SETUPS

_SECONDS = 4.0
ALL = 2800  # px of a window in which all of the page is in sight
_LEAST = 30.0  # redraws a second
_DRAG = """
    const range = [...document.querySelectorAll('input[type=range]')].find(one => one.ariaLabel
        && one.ariaLabel.startsWith(arguments[0]));
    const began = performance.now(), before = window.redraws, middle = +range.value;
    const reach = arguments[1], seconds = arguments[2];
    window.dragged = null;
    const step = () => {
        const now = (performance.now() - began) / 1000;
        range.value = middle + reach * Math.sin(now);
        range.dispatchEvent(new Event('input', {bubbles: true}));
        if (now < seconds) requestAnimationFrame(step);
        else window.dragged = [window.redraws - before, now];
    };
    step();
"""


def work(browser_parts: list[psutil.Process]) -> tuple[float, float]:
    """Seconds of all cores that this process, and the browser, have used."""
    used = [part.cpu_times() for part in browser_parts]
    return time.process_time(), sum(one.user + one.system for one in used)


@pytest.mark.parametrize("height", [900, ALL])
def test_redraws(height: int, tmp_path: Path) -> None:
    """At least 30 a second on two free cores in a window of usual height; printed alone with all in sight."""
    with (
        served(SETUPS / "bore") as server,
        chromium(tmp_path, logs="OFF") as browser,
    ):
        show(browser, server.address, height=height)
        parts = psutil.Process(browser.driver.service.process.pid).children(
            recursive=True
        )
        print(
            f"\n{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, window 1280 x {height}"
        )
        for name, reach in (
            ("front camber", 1.0),
            ("rear ride height", 6.0),
            (" speed of the sweep", 3.0),
        ):
            began = work(parts)
            browser.run(_DRAG, name, reach, _SECONDS)
            time.sleep(_SECONDS + 1.0)
            count, seconds = browser.run("return window.dragged")
            own, shown = (
                1e3 * (now - then) / count
                for now, then in zip(work(parts), began, strict=True)
            )
            most = 2e3 / (own + shown)
            print(
                f"{name.strip()}: {count / seconds:.1f} redraws/s; {own:.0f} ms of a core for the answer and "
                f"{shown:.0f} ms for the browser, {most:.0f}/s at most on two free cores"
            )
            if height < ALL:
                assert count / seconds >= _LEAST or most >= _LEAST
