"""The picture of safe speeds: valid, the same bytes, and what ends a window written beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.report.speeds.picture import speeds_picture
from setupopt.robust.speeds.study import SpeedStudy, study_speeds

from .svgs import lines

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="module")
def study() -> SpeedStudy:
    """The bore with few cases."""
    bore = setupopt.load(SETUPS / "bore")
    sweep = replace(bore.venue.sweep, step=np.radians(45.0), speed=52.0)
    few = replace(
        bore,
        venue=replace(
            bore.venue, sweep=sweep, attitudes=bore.venue.attitudes[:2]
        ),
    )
    return study_speeds(few)


def test_it_says_what_it_shows(study: SpeedStudy) -> None:
    """Place, model, no clearance; both ends with what breaks beyond; axes with units; the run-up's sum."""
    told = lines(speeds_picture(study))
    assert study.window is not None
    low, high = study.window.low, study.window.high
    assert study.run_up is not None
    for wanted in (
        study.project.venue.name, "by the model", "no clearance to drive", "speed of the sweep m/s",
        f"{low.speed:.2f} m/s", "the minimum margin", f"{high.speed:.2f} m/s", high.beyond[0].limit,
        "contact lost", "safe", "worst of all", "the sweep's 52 m/s", "metres from standstill",
        f"{study.run_up.metres[-1]:.1f} m, {study.run_up.seconds[-1]:.2f} s",
    ):  # fmt: skip
        assert wanted in told


def test_same_study_same_bytes(study: SpeedStudy) -> None:
    """Neither date nor random names."""
    assert speeds_picture(study) == speeds_picture(study)


def test_without_a_window_or_a_run_up(study: SpeedStudy) -> None:
    """Nothing shaded, no end, no second curve; still a picture."""
    bare = replace(study, windows=(), run_up=None)
    told = lines(speeds_picture(bare))
    assert "safe" not in told.splitlines()
    assert "standstill" not in told


def test_a_car_that_slides_is_on_its_picture(study: SpeedStudy) -> None:
    """At the sweep's speed: with the axis cut at -0.3 its line was nowhere, and other attitudes looked sound."""
    at = np.abs(study.speeds - study.driven).argmin()
    shift = 0.75 + float(study.margin[at].min())
    sliding = replace(study, windows=(), margin=study.margin - shift)
    assert "\u22120.6" in lines(speeds_picture(sliding)).splitlines()


def test_target_that_is_never_reached_is_told(study: SpeedStudy) -> None:
    """As a line with words, and a car that does not get going has no curve."""
    assert study.run_up is not None
    slow = replace(study, run_up=replace(study.run_up, top=30.0))
    assert "52 m/s, not reached" in lines(speeds_picture(slow))
    still = replace(study, run_up=replace(study.run_up, top=0.0))
    assert "standstill" not in lines(speeds_picture(still))


def test_notebooks_show_every_speed(study: SpeedStudy) -> None:
    """From the first to the last, with the margin and what is broken."""
    shown = study._repr_html_()
    for speed in study.speeds[[0, -1]]:
        assert f"<td>{speed}</td>" in shown
    assert f"{study.margin[0].min():.6f}" in shown
    assert study.broken[-1][0].limit in shown
