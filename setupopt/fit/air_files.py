"""Fitted bodies in the form of bodies/NAME.toml, and what to write into `[spread]` of limits.toml."""

from __future__ import annotations

from math import ceil
from typing import Any

from setupopt.fit.air import SPREADS, AirFits
from setupopt.fit.air_fit import AirFit
from setupopt.project.schema import SpreadTable
from setupopt.units import MM, PERCENT

_DIGITS = 5  # of a fitted number
_Remarks = dict[tuple[int | None, str], str]  # by element and key
_AIR = {
    "drag_area_m2": ("drag_area", 1.0), "drag_height_mm": ("drag_height", MM),
    "side_area_m2_per_rad": ("side_area", 1.0), "side_station_mm": ("side_station", MM),
    "side_height_mm": ("side_height", MM), "front_ride_station_mm": ("front_ride_station", MM),
    "rear_ride_station_mm": ("rear_ride_station", MM),
}  # fmt: skip
_ELEMENT = {
    "station_mm": ("station", MM), "chord_mm": ("chord", MM), "span_mm": ("span", MM),
    "offset_mm": ("offset", MM), "free_area_m2": ("free_area", 1.0), "ground_area_m2": ("ground_area", 1.0),
    "peak_gap_mm": ("peak_gap", MM), "yaw_loss_per_rad2": ("yaw_loss", 1.0),
}  # fmt: skip


def body_as_dict(fit: AirFit) -> dict[str, Any]:
    """The body by the keys and units of its file; geometry to 1e-6 of the unit, the rest to five digits."""
    air = fit.air
    parts = [{"name": element.name, **_entries(element, _ELEMENT)} for element in air.elements]
    return {"air": {**_entries(air, _AIR), "element": parts}}


def _entries(holder: object, keys: dict[str, tuple[str, float]]) -> dict[str, float]:
    return {key: _rounded(key, getattr(holder, field) / unit) for key, (field, unit) in keys.items()}


def _rounded(key: str, value: float) -> float:
    is_fitted = "area" in key or key in ("peak_gap_mm", "yaw_loss_per_rad2")
    return float(f"{value:.{_DIGITS}g}") if is_fitted else round(value, 6)


def body_toml(fits: AirFits, fit: AirFit) -> str:
    """The file of a body: on top where it comes from, beside each number how sure it is."""
    import tomlkit  # here, because only what writes files needs it

    said, values = _remarks(fit), body_as_dict(fit)["air"]
    document, air, parts = tomlkit.document(), tomlkit.table(), tomlkit.aot()
    for line in _top(fits, fit):
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    _fill(air, {key: value for key, value in values.items() if key != "element"}, said, None)
    for number, entries in enumerate(values["element"]):
        part = tomlkit.table()
        _fill(part, entries, said, number)
        parts.append(part)
    air.add("element", parts if values["element"] else [])
    document.add("air", air)
    return tomlkit.dumps(document)


def _fill(table: Any, entries: dict[str, Any], said: _Remarks, number: int | None) -> None:
    """Entries with what is said of them."""
    for key, value in entries.items():
        table.add(key, value)
        if (number, key) in said:
            table[key].comment(said[number, key])


def _top(fits: AirFits, fit: AirFit) -> tuple[str, ...]:
    table, like = _plain(fits.table.path.name), _plain(fits.project.car.name)
    return (
        f'Body from {len(fit.rows)} measured rows of {table}, configuration "{_plain(fit.label)}".',
        f'Parts, their places and what is held: those of car.toml of the car "{like}".',
        f"Rung {fit.rung + 1} of {len(fit.steps)}; +- is one standard error.",
    )


def _plain(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _remarks(fit: AirFit) -> _Remarks:
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
    head = "# For limits.toml: cross-validated errors of the measured air loads, the largest of all bodies."
    return "\n".join([head, "[spread]", *(_spread_line(fits, key) for key in SPREADS)]) + "\n"


def _spread_line(fits: AirFits, key: str) -> str:
    value, bounds = spread_percent(fits, key), SpreadTable.bounds(key)
    if value is None:
        return f"# {key}: the table does not tell"
    if bounds is not None and value > bounds.high:
        return f"# {key} = {value:g}: more than limits.toml takes, the fit foretells nothing"
    return f"{key} = {value:g}"


def spread_percent(fits: AirFits, key: str) -> float | None:
    """A key of `[spread]` in percent, up to the next tenth; None where the table does not tell."""
    share = fits.spread(key)
    return None if share is None else ceil(round(10.0 * share / PERCENT, 6)) / 10.0
