"""Fitted bodies in words and tables; the words stand in fit_air.txt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict

from setupopt.evaluation.result import Field
from setupopt.fit.air.files import spread_toml
from setupopt.fit.air.fit import HELD_ERROR, AirFit
from setupopt.fit.air.fits import AirFits
from setupopt.fit.air.oddities import is_scattered
from setupopt.fit.air.rows import FORCES
from setupopt.report.fit_air.fields import cautions, force_errors, rung_fields
from setupopt.report.shared.template import rendered
from setupopt.units import DEG, MM


def text(fits: AirFits, width: int, short: bool = False) -> str:
    """All that was found, or with `short` the verdict without its tables; lines of at most `width`."""
    return rendered(
        "fit_air/fit_air", width, short, fits=fits, HELD_ERROR=HELD_ERROR, cautions=cautions,
        is_scattered=is_scattered, spread_toml=spread_toml, errors=_errors, ladder=_ladder, outlying=_outlying,
        settings=_settings,
    )  # fmt: skip


def _settings(fit: AirFit) -> Iterator[Field]:
    """What each wing does at each measured angle."""
    for number, element in enumerate(fit.air.elements):
        for row in fit.settings(number):
            yield {
                **asdict(row),
                "element": element.name,
                "angle": row.angle / DEG,
                "peak_gap": row.peak_gap / MM,
            }


def _errors(fit: AirFit) -> Iterator[Field]:
    """The error of left-out rows of every force, and how much of its changes is explained."""
    for place, force in enumerate(FORCES):
        yield {"force": force, **force_errors(fit, place)}


def _ladder(fit: AirFit) -> Iterator[Field]:
    """Every rung with what it frees and the error of left-out rows."""
    for rung in range(len(fit.steps)):
        star = " *" if rung == fit.rung else ""
        yield {"rung": f"{rung + 1}{star}", **rung_fields(fit, rung)}


def _outlying(fit: AirFit) -> list[Field]:
    """Which measured values do not fit, the worst first."""
    worst = sorted(fit.outlying, key=lambda one: -abs(one[2]))
    return [
        {"line": line, "force": force, "score": score}
        for line, force, score in worst
    ]
