"""Reads what was set and measured on the pad: a filled-in sheet as CSV, or a TOML file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from setupopt.errors import InputError, InputErrors
from setupopt.project.csv_read import CsvTable, read_csv
from setupopt.project.field_types import Bounds
from setupopt.project.model import AXLES, WHEELS
from setupopt.project.schema import AxleSetupTable
from setupopt.project.settings import SETTINGS
from setupopt.project.toml_file import TomlFile, read_toml, shown
from setupopt.project.toml_positions import Loc, quoted

WEIGHT = "corner_weight_kg"
BODY = "body"  # no number: a name, in the column of the first wheel
PER_AXLE = ("toe_mm", "anti_roll_N_per_mm", "third_N_per_mm")
_CENTRE_LINE = "ride_height_mm"  # may also be one value an axle
_NOTES = (*(f"target_{wheel}" for wheel in WHEELS), "tolerance", "where", "note", "initials")
_RIGHT = ("fr", "rr")
_HUGE = 1e9  # nothing that is measured; Python makes no float of the longest integers


class Quantity(NamedTuple):
    """One row of the file."""

    unit: str
    factor: float  # times the file's value is the value in SI
    bounds: Bounds


def _bounds(key: str) -> Bounds:
    found = AxleSetupTable.bounds(key)
    assert found is not None
    return found


QUANTITIES = {
    setting.key: Quantity(setting.unit, setting.factor, _bounds(setting.key)) for setting in SETTINGS
}
QUANTITIES[WEIGHT] = Quantity("kg", 1.0, Bounds(1, 5000, "kg"))


@dataclass(frozen=True, eq=False)
class Measured:
    """What was found: by quantity, FL, FR, RL, RR in SI (corner weights in kg), not a number where nothing.

    A value of an axle, or a ride height of the centre line, is given for the left wheel alone.
    """

    path: Path
    values: dict[str, NDArray[np.float64]]
    lines: dict[str, int | None]  # line of each quantity
    body: str = ""  # as it was noted; empty: not noted

    def get(self, quantity: str) -> NDArray[np.float64]:
        """Four values of a quantity."""
        return self.values.get(quantity, np.full(4, np.nan))

    def error(self, quantity: str, found: str, expected: str) -> InputError:
        """A mistake in a quantity."""
        return InputError(str(self.path), self.lines.get(quantity), quantity, found, expected)


def read_measured(path: str | Path) -> Measured:
    """The file's values. Raises InputErrors with every mistake."""
    file = Path(path)
    return _from_toml(read_toml(file)) if file.suffix.lower() == ".toml" else _from_csv(file)


# ---- CSV ---------------------------------------------------------------------------------------------------


def _from_csv(path: Path) -> Measured:
    table = read_csv(path, {}, ("quantity", "unit", *WHEELS), _NOTES)
    missing = [name for name in ("quantity", *WHEELS) if name not in table.names]
    if missing:
        raise InputErrors(
            InputError(str(path), 1, name, "no such column", "the column of a sheet") for name in missing
        )
    errors: list[InputError] = []
    values: dict[str, NDArray[np.float64]] = {}
    lines: dict[str, int | None] = {}
    body = ""
    for row, name in enumerate(table.names["quantity"]):
        quantity = name.strip()
        if not any(column[row].strip() for column in table.names.values()):
            continue  # spreadsheets leave rows of commas
        errors += _row_errors(table, row, quantity, quantity in lines)
        lines[quantity] = int(table.lines[row])
        if quantity == BODY:
            body = table.names[WHEELS[0]][row].strip().removeprefix("'")  # a sheet puts it before a "-"
        elif quantity in QUANTITIES:
            values[quantity], found = _row(table, row, quantity)
            errors += found
    if errors:
        raise InputErrors(errors)
    return Measured(path, values, lines, body)


def _row_errors(table: CsvTable, row: int, quantity: str, is_second: bool) -> Iterator[InputError]:
    if quantity not in (BODY, *QUANTITIES):
        yield table.error(row, "quantity", quoted(quantity), "one of " + ", ".join((*QUANTITIES, BODY)))
        return
    if is_second:
        yield table.error(row, "quantity", f"{quantity} a second time", "every quantity once")
    unit = table.names.get("unit", [""] * (row + 1))[row].strip()
    if quantity != BODY and unit and unit != QUANTITIES[quantity].unit:
        yield table.error(row, "unit", quoted(unit), f"{QUANTITIES[quantity].unit}, or nothing")


def _row(table: CsvTable, row: int, quantity: str) -> tuple[NDArray[np.float64], list[InputError]]:
    """Values of a row in SI, and what is wrong with its cells."""
    values = np.full(4, np.nan)
    errors = []
    for index, wheel in enumerate(WHEELS):
        cell = table.names[wheel][row].strip()
        if not cell:
            continue
        if quantity in PER_AXLE and wheel in _RIGHT:
            errors.append(
                table.error(row, wheel, quoted(cell), "nothing: an axle's value belongs in fl or rl")
            )
            continue
        number = _number(cell)
        wrong = _wrong(quantity, number, cell)
        if wrong:
            errors.append(table.error(row, wheel, quoted(cell), wrong))
        values[index] = number * QUANTITIES[quantity].factor
    return values, errors


def _number(cell: str) -> float:
    try:
        return float(cell) if cell.isascii() and "_" not in cell else math.nan
    except ValueError:
        return math.nan


def _wrong(quantity: str, number: float, cell: str) -> str:
    """What is expected instead of a value, empty where it is one."""
    bounds = QUANTITIES[quantity].bounds
    if bounds.low <= number <= bounds.high:
        return ""
    comma = ", with a decimal point" if "," in cell else ""
    return f"a number {bounds}{comma}, or nothing"


# ---- TOML --------------------------------------------------------------------------------------------------


def _from_toml(file: TomlFile) -> Measured:
    """Tables [fl], [fr], [rl], [rr] by wheel, [front], [rear] for what an axle has once; the body on top."""
    errors: list[InputError] = []
    values = {quantity: np.full(4, np.nan) for quantity in QUANTITIES}
    body = file.data.get(BODY, "")
    if not isinstance(body, str):
        errors.append(file.error((BODY,), "the name of the body on the car"))
    for name, table in file.data.items():
        if name == BODY:
            continue
        if name not in (*WHEELS, *AXLES) or not isinstance(table, dict):
            errors.append(file.error((name,), "one of the tables " + ", ".join((*WHEELS, *AXLES))))
            continue
        for key, value in table.items():
            errors += _entry(file, (name, key), value, values)
    if errors:
        raise InputErrors(errors)
    lines = {key: _first_line(file, key) for key in (BODY, *QUANTITIES)}
    return Measured(file.path, values, lines, body)


def _entry(
    file: TomlFile, loc: Loc, value: Any, values: dict[str, NDArray[np.float64]]
) -> Iterator[InputError]:
    """Put one entry into `values`, or say what is wrong with it."""
    table = str(loc[0])
    key = str(loc[1])
    known = _keys(table)
    if key not in known:
        yield file.error(loc, "one of " + ", ".join(known), f"an unknown key ({shown(value)})")
    elif isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > _HUGE:
        yield file.error(loc, f"a number {QUANTITIES[key].bounds}")
    elif wrong := _wrong(key, float(value), str(value)):
        yield file.error(loc, wrong)
    else:
        index = WHEELS.index(table) if table in WHEELS else 2 * AXLES.index(table)  # type: ignore[arg-type]
        if not np.isnan(values[key][index]):
            left = WHEELS[index]
            axle = AXLES[index // 2]
            yield file.error(
                loc, f"it once, in [{left}] or for the centre line in [{axle}]", "it a second time"
            )
        values[key][index] = float(value) * QUANTITIES[key].factor


def _first_line(file: TomlFile, key: str) -> int | None:
    """The line on which a quantity comes first."""
    return min((line for loc, line in file.lines.items() if loc[-1] == key), default=None)


def _keys(table: str) -> list[str]:
    """The keys of a table."""
    if table in WHEELS:
        return [key for key in QUANTITIES if key not in PER_AXLE]
    return [*PER_AXLE, _CENTRE_LINE]
