"""A headless Chromium that looks at pages on disk: what it complains of, what it asks for, what it prints."""

from __future__ import annotations

import base64
import io
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
    "--disable-dev-shm-usage",
)  # fmt: skip
# Every element that reaches beyond the window, or holds more than it shows; pictures clip what they hold.
_OVERFLOWING = """
    const wide = document.documentElement.clientWidth + 0.5, found = [];
    for (const e of document.body.querySelectorAll('*')) {
        if (e.closest('svg') && e.tagName !== 'svg') continue;
        const box = e.getBoundingClientRect();
        if (box.left < -0.5 || box.right > wide || (e.tagName !== 'svg' && e.scrollWidth > e.clientWidth + 1
            && getComputedStyle(e).display !== 'inline')) found.push(e.outerHTML.slice(0, 120));
    }
    if (document.documentElement.scrollWidth > wide) found.push('the document');
    return found;
"""


class Browser:
    """One browser for many pages."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver

    def open(self, page: Path, width: int) -> None:
        """Show a page in a window so many pixels wide, and forget what was logged before."""
        size = {
            "width": width,
            "height": 900,
            "deviceScaleFactor": 1,
            "mobile": False,
        }
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        for kind in ("browser", "performance"):
            self.driver.get_log(kind)
        self.driver.get(page.resolve().as_uri())

    def run(self, script: str, *args: Any) -> Any:
        """What a script in the page returns."""
        return self.driver.execute_script(script, *args)

    def complaints(self) -> list[str]:
        """What the console says."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """Every address that was asked for, without data that stands in the page itself.

        Those of the browser's own first page are none of ours: they come late on a busy machine.
        """
        events = [
            json.loads(entry["message"])["message"]
            for entry in self.driver.get_log("performance")
        ]
        found = [
            e["params"]["request"]["url"]
            for e in events
            if e["method"] == "Network.requestWillBeSent"
        ]
        return [
            url for url in found if not url.startswith(("data:", "chrome:"))
        ]

    def overflowing(self) -> list[str]:
        """The beginning of every element that is too wide."""
        return list(self.run(_OVERFLOWING))

    def pdf(self) -> io.BytesIO:
        """The page as it is printed, on the paper that it asks for."""
        asked = {"preferCSSPageSize": True, "printBackground": True}
        printed = self.driver.execute_cdp_cmd("Page.printToPDF", asked)
        return io.BytesIO(base64.b64decode(printed["data"]))


@contextmanager
def chromium(folder: Path, logs: str = "ALL") -> Iterator[Browser]:
    """A browser whose own files are in `folder`. Without one: a failure in CI, elsewhere a skip.

    `logs`: OFF where time is measured, because the browser works for its logs too.
    """
    paths = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if None in paths:
        reason = "chromium or chromedriver is not installed"
        pytest.fail(reason) if os.environ.get("CI") else pytest.skip(reason)
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = str(paths[0])
    for flag in (*_FLAGS, f"--user-data-dir={folder}"):
        options.add_argument(flag)
    options.set_capability(
        "goog:loggingPrefs", {"browser": logs, "performance": logs}
    )
    driver = webdriver.Chrome(options=options, service=Service(str(paths[1])))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
