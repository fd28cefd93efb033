"""Fitted bodies in the form of bodies/NAME.toml, and what to write into `[spread]` of limits.toml."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import ceil
from typing import Any

from setupopt.errors import UserError
from setupopt.evaluation.result import Field
from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.fits import SPREADS, AirFits
from setupopt.fit.air.oddities import oddities
from setupopt.project.car_schema import (
    AirTable,
    ElementTable,
    WingSettingTable,
)
from setupopt.project.field_types import Table
from setupopt.project.limits_schema import SpreadTable
from setupopt.project.writing import comment_text
from setupopt.units import PERCENT

_DIGITS = 5  # of a fitted number


def body_as_dict(fit: AirFit) -> Field:
    """The body by the keys and units of its file; geometry to 1e-6 of the unit, the rest to five digits."""
    parts: list[Field] = []
    for number, element in enumerate(fit.air.elements):
        rows = fit.settings(number)
        settings = [_entries(row, WingSettingTable) for row in rows]
        for row in rows:
            if row.angle == fit.angles[number]:  # as the body wears it
                element = replace(element, drag_area=row.drag_area)
        own = {"setting": settings} if settings else {}
        parts.append(
            {"name": element.name, **_entries(element, ElementTable), **own}
        )
    return {"air": {**_entries(fit.air, AirTable), "element": parts}}


def _entries(holder: object, table: type[Table]) -> dict[str, float]:
    """The numbers of an object of the model by the keys of its table, where it has them."""
    found = {
        key: getattr(holder, table.si_name(key))
        for key in table.model_fields
        if table.bounds(key)
    }
    return {
        key: _rounded(key, value / table.factor(key))
        for key, value in found.items()
        if value is not None
    }


def _rounded(key: str, value: float) -> float:
    is_fitted = "area" in key or key in ("peak_gap_mm", "yaw_loss_per_rad2")
    return float(f"{value:.{_DIGITS}g}") if is_fitted else round(value, 6)


def body_toml(fits: AirFits, fit: AirFit) -> str:
    """The file of a body: on top where it comes from and what is odd, beside each number how sure it is."""
    import tomlkit  # here, because only what writes files needs it

    head = (
        f'Body from {len(fit.rows)} measured rows of {fits.table.path.name}, configuration "{fit.label}".',
        f'Parts, their places and what is held: those of car.toml of the car "{fits.project.car.name}".',
        f"Rung {fit.rung + 1} of {len(fit.steps)}; +- is one standard error.",
        *(f"! {said}" for said in oddities(fit)),
    )
    document: Any = tomlkit.parse(tomlkit.dumps(body_as_dict(fit)))
    air = document["air"]
    tables: Any = {None: air, **dict(enumerate(air["element"]))}
    for (number, key), words in _remarks(fit).items():
        if key in tables[number]:
            tables[number][key].comment(words)
    return comment_text("\n".join(map(_one_line, head))) + tomlkit.dumps(
        document
    )


def _one_line(text: str) -> str:
    return text.replace("\n", " ")


def _remarks(fit: AirFit) -> dict[tuple[int | None, str], str]:
    """How sure each number is, by element and key."""
    factor = fit.common_factor
    said = {}
    for number in fit.numbers:
        term = number.term
        if number.error is not None:
            words = f"+- {number.error / term.unit:.2g}"
        elif term.is_area and factor is not None:
            words = f"held at {factor[0]:.4g} times that of car.toml"
        else:
            words = "held as in car.toml"
        said[term.element, term.key] = words
    return said


def spread_toml(fits: AirFits) -> str:
    """The fragment for limits.toml: cross-validated errors in percent, rounded up to tenths."""
    head = "# For [spread] of limits.toml: cross-validated, the largest of all bodies."
    return (
        "\n".join(
            [head, "[spread]", *(_spread_line(fits, key) for key in SPREADS)]
        )
        + "\n"
    )


def _spread_line(fits: AirFits, key: str) -> str:
    value, there = spread_percent(fits, key), limits_percent(fits, key)
    if value is None:
        return f"# {key}: the table does not tell"
    if value > _most(key):
        return f"# {key} = {value:g}: above what limits.toml takes; foretells nothing"
    return f"{key} = {value:g}  # limits.toml has {'none' if there is None else f'{there:g}'}"


def _most(key: str) -> float:
    return SpreadTable.number_bounds(key).high


def limits_percent(fits: AirFits, key: str) -> float | None:
    """The same key as limits.toml of the project has it."""
    limits = fits.project.limits
    share = (
        None
        if limits is None
        else getattr(limits.spread, key.removesuffix("_percent"), None)
    )
    return None if share is None else float(f"{share / PERCENT:.10g}")


def raised_limits(fits: AirFits, text: str) -> str:
    """The text of limits.toml with `[spread]` raised to what was found; all else as it was, comments too.

    Raises UserError where its layout does not bear that.
    """
    import tomlkit

    document: Any = tomlkit.parse(text)
    wanted = tomllib.loads(text)
    for values in (document, wanted):
        spread = values.setdefault("spread", {})
        for key in SPREADS:
            value = spread_percent(fits, key)
            if value is not None and spread.get(key, -1.0) < value <= _most(
                key
            ):
                spread[key] = value
    raised = tomlkit.dumps(document)
    if tomllib.loads(raised) != wanted:
        raise UserError(
            "limits.toml is laid out so that its [spread] has to be changed by hand"
        )
    return raised


def spread_percent(fits: AirFits, key: str) -> float | None:
    """A key of `[spread]` in percent, up to the next tenth; None where the table does not tell."""
    share = fits.spread(key)
    return (
        None if share is None else ceil(round(10.0 * share / PERCENT, 6)) / 10.0
    )
