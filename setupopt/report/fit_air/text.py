"""Fitted bodies in words and tables; the words stand in fit_air.txt."""

from __future__ import annotations

from collections.abc import Iterator

from setupopt.evaluation.result import Field
from setupopt.fit.air.files import spread_toml
from setupopt.fit.air.fit import HELD_ERROR, AirFit, Number
from setupopt.fit.air.fits import AirFits
from setupopt.fit.air.oddities import is_scattered
from setupopt.fit.air.rows import FORCES
from setupopt.physics.inputs import Floats
from setupopt.report.fit_air.fields import cautions, frees, miss
from setupopt.report.shared.tables import angle, significant
from setupopt.report.shared.template import rendered
from setupopt.units import DEG, MM, PERCENT


def text(fits: AirFits, width: int, short: bool = False) -> str:
    """All that was found, or with `short` the verdict without its tables; lines of at most `width`."""
    helpers = (
        cautions, is_scattered, spread_toml, _span, _errors, _ladder, _outlying, _settings, _four,
    )  # fmt: skip
    return rendered(
        "fit_air/fit_air", width, short, fits=fits, DEG=DEG, MM=MM, HELD_ERROR=HELD_ERROR,
        value=lambda row: _in_unit(row.value, row, 4),
        error=lambda row: _in_unit(row.error, row, 2),
        like=lambda row: _in_unit(row.term.like, row, 4),
        **{one.__name__.lstrip("_"): one for one in helpers},
    )  # fmt: skip


def _span(values: Floats) -> str:
    low = angle(float(values.min()))
    high = angle(float(values.max()))
    return low if low == high else f"{low} to {high}"


def _four(value: float) -> str:
    return significant(value, 4)


def _in_unit(value: float | None, row: Number, digits: int) -> str:
    return (
        "held" if value is None else significant(value / row.term.unit, digits)
    )


def _settings(fit: AirFit) -> Iterator[Field]:
    """What each wing does at each measured angle."""
    for number, element in enumerate(fit.air.elements):
        for row in fit.settings(number):
            yield {
                "element": element.name,
                "angle": row.angle / DEG,
                "free_area": row.free_area,
                "ground_area": row.ground_area,
                "peak_gap": row.peak_gap / MM,
                "drag_area": row.drag_area,
            }


def _errors(fit: AirFit) -> Iterator[Field]:
    """The error of left-out rows of every force, and how much of its changes is explained."""
    for place, force in enumerate(FORCES):
        yield {
            "force": force,
            "values": int(fit.rows.counts[:, place].sum()),
            "error": _percent(fit.error(place)),
            "explained": _percent(fit.explained(place)),
        }


def _percent(share: float | None) -> float | None:
    return None if share is None else share / PERCENT


def _ladder(fit: AirFit) -> Iterator[Field]:
    """Every rung with what it frees and the error of left-out rows."""
    for rung in range(len(fit.steps)):
        yield {
            "rung": f"{rung + 1}{' *' if rung == fit.rung else ''}",
            "frees": frees(fit, rung),
            "error": _percent(miss(fit, rung)),
        }


def _outlying(fit: AirFit) -> list[Field]:
    """Which measured values do not fit, the worst first."""
    worst = sorted(fit.outlying, key=lambda one: -abs(one[2]))
    return [
        {"line": line, "force": force, "score": score}
        for line, force, score in worst
    ]
