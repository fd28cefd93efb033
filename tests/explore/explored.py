"""A server in a thread and a browser on its page, for tests and the benchmark."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from browser import Browser

from setupopt.explore.server import ExploreServer
from setupopt.explore.session import Session
from setupopt.project import load


@contextmanager
def served(folder: Path) -> Iterator[ExploreServer]:
    """The server of a project, warm."""
    session = Session(load(folder))
    session.warm_up()
    with ExploreServer(session) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()


def show(
    browser: Browser, address: str, width: int = 1280, height: int = 900
) -> None:
    """Open the page and wait for its first exact answer."""
    for kind in browser.driver.log_types:
        browser.driver.get_log(kind)
    resize(browser, width, height)
    browser.driver.get(address)
    wait_for(
        browser,
        "document.body.dataset.state === 'exact' && margin.textContent.includes('baseline')",
    )


def resize(browser: Browser, width: int, height: int = 900) -> None:
    """A window so many pixels wide."""
    size = {
        "width": width,
        "height": height,
        "deviceScaleFactor": 1,
        "mobile": False,
    }
    browser.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def wait_for(browser: Browser, condition: str, seconds: float = 30.0) -> None:
    """Wait until a script's expression is true; what the page says otherwise."""
    end = time.monotonic() + seconds
    while not browser.run(f"return Boolean({condition})"):
        error = browser.run(
            "return document.getElementById('error').textContent"
        )
        assert time.monotonic() < end, f"{condition}: {error}"
        time.sleep(0.05)
