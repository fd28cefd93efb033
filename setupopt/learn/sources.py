"""Logs as files write them: frames of numbers, some rows at a time, their index the line in the file.

CSV, MAT (to version 7), sheets (.xlsx, .ods; extra `excel`), MDF 4 and TDMS (extra `logs`). Where a file has
no lines, the names count as line 1 and the first sample as line 2.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from setupopt.errors import InputError, InputErrors, UserError
from setupopt.project.csv_read import Column
from setupopt.project.field_types import Bounds

_ROWS = 50_000  # at a time
_NUMBER = Column(Bounds(-1e300, 1e300, ""))
_WHOLE = "a whole .csv, .mat (to version 7), .xlsx or .ods (setupopt[excel]), .mf4 or .tdms file (setupopt[logs])"
Source = tuple[
    list[str], Callable[[list[str]], Iterable[Any]]
]  # names; frames of the wanted columns


def frames(
    path: Path, choose: Callable[[list[str]], list[str]]
) -> Iterator[Any]:
    """The columns of a log that `choose` picks from their names. Raises InputErrors."""
    try:
        names, found = _OPENERS[path.suffix.lower()](path)
        line = 2
        for frame in found(choose(names)):
            frame.index = range(line, line + len(frame))
            line += len(frame)
            yield frame.apply(lambda column: _numbers(path, column)).dropna(
                how="all"
            )
    except UserError:
        raise
    except Exception as error:  # libraries raise what they like at a file that is damaged or of another kind
        said = (
            str(error)
            .split("\n")[0]
            .replace("No columns to parse from file", "no rows")[:160]
        )
        at = re.search(r"in line (\d+)", said)
        found_words = f"that it cannot be read ({said})"
        raise InputErrors(
            [
                InputError(
                    str(path),
                    int(at[1]) if at else None,
                    "",
                    found_words,
                    _WHOLE,
                )
            ]
        ) from None


def _numbers(path: Path, column: Any) -> Any:
    """Cells as numbers, an empty one as none; any other is refused with its line."""
    cells = column.astype(str).str.strip() if column.dtype == object else column
    values = pd.to_numeric(cells, errors="coerce").astype(float)
    odd = cells[~np.isfinite(values) & column.notna() & (cells != "")][
        :20
    ].astype(str)
    if odd.size:
        raise InputErrors(
            InputError(
                str(path),
                line,
                str(column.name),
                f'"{cell}"',
                _NUMBER.instead_of(cell),
            )
            for line, cell in odd.items()
        )
    return values


def _csv(path: Path) -> Source:
    read: Any = {
        "header": None,
        "skip_blank_lines": False,
        "encoding": "utf-8-sig",
    }
    head = pd.read_csv(path, nrows=1, dtype=str, keep_default_na=False, **read)
    names = [name.strip() for name in head.iloc[0]]
    rows = pd.read_csv(path, skiprows=1, chunksize=_ROWS, **read)
    return names, lambda wanted: (
        frame.set_axis(names, axis=1)[wanted] for frame in rows
    )


def _columns(columns: dict[str, Any]) -> Source:
    """A source of whole columns, which give their rows by slices."""

    def rows(wanted: list[str]) -> Iterator[Any]:
        for start in range(0, len(columns[wanted[0]]), _ROWS):
            yield pd.DataFrame(
                {
                    name: np.asarray(columns[name][start : start + _ROWS])
                    for name in wanted
                }
            )

    return list(columns), rows


def _mat(path: Path) -> Source:
    found = import_module("scipy.io").loadmat(path, squeeze_me=True)
    return _columns(
        {name: values for name, values in found.items() if np.ndim(values) == 1}
    )


def _sheet(path: Path) -> Source:
    table = pd.read_excel(path, header=None, engine="calamine", dtype=object)
    names = [str(cell).strip() for cell in table.iloc[0]]
    return names, lambda wanted: [
        table.iloc[1:].set_axis(names, axis=1)[wanted]
    ]


def _mdf(path: Path) -> Source:
    file = import_module("asammdf").MDF(str(path))
    names = [
        name for name in file.channels_db if name not in ("time", "time_s")
    ]

    def rows(wanted: list[str]) -> Iterator[Any]:
        channels = [name for name in wanted if name in names]
        for frame in file.iter_to_dataframe(
            channels=channels, chunk_ram_size=50_000_000
        ):
            yield frame.rename_axis("time_s").reset_index()[wanted]

    return ["time_s", *names], rows


def _tdms(path: Path) -> Source:
    file = import_module("nptdms").TdmsFile.open(str(path))
    return _columns(
        {
            channel.name: channel
            for group in file.groups()
            for channel in group.channels()
        }
    )


_OPENERS = {
    ".csv": _csv,
    ".mat": _mat,
    ".xlsx": _sheet,
    ".ods": _sheet,
    ".mf4": _mdf,
    ".tdms": _tdms,
}
