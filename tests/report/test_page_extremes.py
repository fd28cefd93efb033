"""The page of a project with extreme numbers is made without a warning of NumPy or of the drawing library."""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import pytest

from setupopt.evaluation.report_data import report
from setupopt.project import load
from setupopt.report.page.html import html

from . import report_folders as folders

EXTREMES = [
    (
        "venue.toml",
        r"(?m)^speed_m_s = .*$",
        "speed_m_s = 1",
    ),  # contact lost nearly everywhere
    ("venue.toml", r"(?m)^speed_m_s = .*$", "speed_m_s = 149"),  # limits broken
    (
        "venue.toml",
        r"(?m)^roll_angles_deg.*$",
        "roll_angles_deg = { from = 90, to = 90, step = 5 }",
    ),
    (
        "car.toml",
        r"(?m)^foundation_(\w+) = .*$",
        r"foundation_\1 = 0.001",
    ),  # tyres pressed in deep
]


@pytest.mark.parametrize(("file", "pattern", "value"), EXTREMES)
def test_no_warning(
    file: str, pattern: str, value: str, tmp_path: Path
) -> None:
    """Three roll angles and one extreme number; warnings are errors."""
    folder = folders.example("bore", tmp_path / "project")
    sweep = "roll_angles_deg = { from = 0, to = 180, step = 90 }"
    for name, found, wanted in (
        ("venue.toml", r"(?m)^roll_angles_deg.*$", sweep),
        (file, pattern, value),
    ):
        text = (folder / name).read_text()
        changed = re.sub(found, wanted, text)
        assert changed != text
        (folder / name).write_text(changed)
    project = load(folder)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        page = html(report(project, None, 0.05, "2026-01-31"))
    assert page.rstrip().endswith("</html>")
