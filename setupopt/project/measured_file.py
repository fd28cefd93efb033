"""Reads what was set and measured on the pad: a filled-in sheet as CSV, or a TOML file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, create_model

from setupopt.errors import InputError, InputErrors
from setupopt.project.csv_read import (
    MOST_MEASURED_ROWS,
    Column,
    CsvTable,
    number,
    read_csv,
)
from setupopt.project.field_makers import by_name, optional
from setupopt.project.field_types import Bounds, Table
from setupopt.project.model import AXLES, WHEELS
from setupopt.project.settings import BALANCE, SETTINGS
from setupopt.project.setup_schema import AxleSetupTable
from setupopt.project.toml_file import TomlFile, read_toml
from setupopt.project.toml_positions import quoted
from setupopt.project.validation_errors import checked

WEIGHT = "corner_weight_kg"
BODY = "body"  # no number: a name, in the column of the first wheel
CROSS = "cross_weight_percent"
PER_AXLE = ("anti_roll_N_per_mm", "third_N_per_mm")
BOTH_SIDES = (
    "ride_height_mm",
    "toe_mm",
)  # may also be one value an axle: of the centre line, of each wheel
_WINGS = "wings"
_BALLAST = "ballast"
_NOTES = (
    *(f"target_{wheel}" for wheel in WHEELS),
    "tolerance",
    "where",
    "note",
    "initials",
)
_RIGHT = ("fr", "rr")


_read = partial(Column, empty=np.nan)
_PER_CAR = tuple(setting.key for setting in BALANCE)
# What each row of the file holds
QUANTITIES = {
    **{s.key: _read(AxleSetupTable.number_bounds(s.key)) for s in SETTINGS},
    WEIGHT: _read(Bounds(1, 5000, "kg")),
    "damper_bump_clicks": _read(Bounds(0, 200, "clicks")),
    "damper_rebound_clicks": _read(Bounds(0, 200, "clicks")),
    **dict.fromkeys(_PER_CAR, _read(Bounds(0, 100, "%"))),
}
_NAMED = {
    _WINGS: _read(Bounds(-90, 90, "deg")),
    _BALLAST: _read(Bounds(-5000, 12_000, "mm")),
}


def clicks_key(field: str) -> str:
    """The quantity of a damper's clicks; `field`: "damper_bump" or "damper_rebound"."""
    return f"{field}_clicks"


def wing_key(name: str) -> str:
    """The quantity of a wing's angle."""
    return f"{_WINGS}.{name}"


def ballast_key(name: str) -> str:
    """The quantity of a ballast piece's station."""
    return f"{_BALLAST}.{name}"


def _quantity(key: str) -> Column | None:
    """What a row is about; None where there is no such quantity."""
    kind, dot, name = key.partition(".")
    return _NAMED.get(kind) if dot and name else QUANTITIES.get(key)


@dataclass(frozen=True, eq=False)
class Measured:
    """What was found: by quantity, FL, FR, RL, RR in SI (corner weights in kg), not a number where nothing.

    A value of an axle, a ride height of the centre line, or a toe that both wheels have, is given for the
    left wheel alone; a value of the whole car for the first wheel.
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
        return InputError(
            str(self.path), self.lines.get(quantity), quantity, found, expected
        )


def read_measured(path: str | Path) -> Measured:
    """The file's values. Raises InputErrors with every mistake."""
    file = Path(path)
    return (
        _from_toml(read_toml(file))
        if file.suffix.lower() == ".toml"
        else _from_csv(file)
    )


# ---- CSV ---------------------------------------------------------------------------------------------------


def _from_csv(path: Path) -> Measured:
    names = ("quantity", "unit", *WHEELS)
    table = read_csv(path, {}, names, _NOTES, MOST_MEASURED_ROWS)
    missing = [
        name for name in ("quantity", *WHEELS) if name not in table.names
    ]
    if missing:
        raise InputErrors(
            InputError(
                str(path), 1, name, "no such column", "the column of a sheet"
            )
            for name in missing
        )
    errors: list[InputError] = []
    values: dict[str, NDArray[np.float64]] = {}
    lines: dict[str, int | None] = {}
    body = ""
    for row, quantity in enumerate(table.names["quantity"]):
        if not any(column[row] for column in table.names.values()):
            continue  # a note alone
        errors += _row_errors(table, row, quantity, quantity in lines)
        lines[quantity] = int(table.lines[row])
        if quantity == BODY:
            body = table.names[WHEELS[0]][row].removeprefix(
                "'"
            )  # a sheet puts it before a "-"
        elif _quantity(quantity) is not None:
            values[quantity], found = _row(table, row, quantity)
            errors += found
    if errors:
        raise InputErrors(errors)
    return Measured(path, values, lines, body)


def _row_errors(
    table: CsvTable, row: int, quantity: str, is_second: bool
) -> Iterator[InputError]:
    known = _quantity(quantity)
    if known is None and quantity != BODY:
        names = (*QUANTITIES, wing_key("NAME"), ballast_key("NAME"), BODY)
        yield table.error(
            row, "quantity", quoted(quantity), "one of " + ", ".join(names)
        )
        return
    if is_second:
        yield table.error(
            row, "quantity", f"{quantity} a second time", "every quantity once"
        )
    unit = table.names.get("unit", [""] * (row + 1))[row]
    if known is not None and unit and unit != known.bounds.unit:
        expected = f"{known.bounds.unit}, or nothing"
        yield table.error(row, "unit", quoted(unit), expected)


def _row(
    table: CsvTable, row: int, quantity: str
) -> tuple[NDArray[np.float64], list[InputError]]:
    """Values of a row in SI, and what is wrong with its cells."""
    values = np.full(4, np.nan)
    errors = []
    known = _quantity(quantity)
    assert known is not None
    for index, wheel in enumerate(WHEELS):
        cell = table.names[wheel][row]
        if not cell:
            continue
        misplaced = ""
        if quantity in PER_AXLE and wheel in _RIGHT:
            misplaced = "nothing: an axle's value belongs in fl or rl"
        elif (quantity in _PER_CAR or "." in quantity) and index > 0:
            misplaced = "nothing: the car's value belongs in fl"
        if misplaced:
            errors.append(table.error(row, wheel, quoted(cell), misplaced))
            continue
        value = number(cell)
        if not known.holds(value):
            expected = known.instead_of(cell)
            errors.append(table.error(row, wheel, quoted(cell), expected))
        values[index] = value * known.factor
    return values, errors


# ---- TOML --------------------------------------------------------------------------------------------------


def _table(*keys: str) -> Any:
    """A table of the file for some quantities."""
    fields: Any = {
        key: (float | None, optional(*QUANTITIES[key].bounds)) for key in keys
    }
    return create_model("_Table", __base__=Table, **fields)


_OF_AXLE = {*PER_AXLE, *_PER_CAR}
_TABLES: Any = {
    BODY: (str, Field("", description="the name of the body on the car")),
    **dict.fromkeys(
        WHEELS,
        (_table(*(key for key in QUANTITIES if key not in _OF_AXLE)), {}),
    ),
    **dict.fromkeys(AXLES, (_table(*PER_AXLE, *BOTH_SIDES), {})),
    "balance": (_table(*_PER_CAR), {}),
    **{
        name: (dict[str, float], by_name(*column.bounds))
        for name, column in _NAMED.items()
    },
}
_File = create_model("_File", __base__=Table, **_TABLES)


def _from_toml(file: TomlFile) -> Measured:
    """Tables by wheel ([fl] ...), by axle ([front] ...), and for the whole car; the body on top."""
    tables = checked(file, _File).model_dump(exclude_unset=True)
    body = tables.pop(BODY, "")
    errors: list[InputError] = []
    values: dict[str, NDArray[np.float64]] = {}
    lines: dict[str, int | None] = {BODY: file.lines.get((BODY,))}
    for table, entries in tables.items():
        wheel = _wheel(table)
        for key, value in entries.items():
            name = f"{table}.{key}" if table in _NAMED else key
            column = _quantity(name)
            assert column is not None
            lines.setdefault(name, file.lines.get((table, key)))
            row = values.setdefault(name, np.full(4, np.nan))
            if not np.isnan(row[wheel]):
                expected = f"it once, in [{WHEELS[wheel]}] or for the axle in [{AXLES[wheel // 2]}]"
                errors.append(
                    file.error((table, key), expected, "it a second time")
                )
            row[wheel] = value * column.factor
    if errors:
        raise InputErrors(errors)
    return Measured(file.path, values, lines, body)


def _wheel(table: str) -> int:
    """The wheel that has the values of a table, by its number."""
    if table in WHEELS:
        return WHEELS.index(table)
    return 2 if table == "rear" else 0
