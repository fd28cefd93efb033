"""Logs as files write them: frames of numbers, some rows at a time, their index the line in the file.

CSV, MAT (to version 7), sheets (.xlsx, .ods; extra `excel`), MDF 4 and TDMS (extra `logs`). Where a file has
no lines, the names count as line 1 and the first sample as line 2.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from setupopt.errors import InputError, InputErrors, UserError
from setupopt.files import open_regular, reason
from setupopt.project.csv_read import Column
from setupopt.project.field_types import Bounds

_ROWS = 50_000  # at a time
_MOST_BYTES = 4_000_000_000
_NUMBER = Column(Bounds(-1e300, 1e300, ""))
Frames = Callable[[list[str]], Iterable[pd.DataFrame]]
Source = tuple[list[str], Frames]  # names of columns, and frames of those wanted


def refused(path: Path, line: int | None, key: str, found: str, expected: str) -> InputErrors:
    """One mistake in a log."""
    return InputErrors([InputError(str(path), line, key, found, expected)])


def frames(path: Path, choose: Callable[[list[str]], list[str]]) -> Iterator[pd.DataFrame]:
    """The columns of a log that `choose` picks from their names. Raises InputErrors."""
    opener = _OPENERS.get(path.suffix.lower())
    if opener is None:
        raise refused(path, None, "", f"a file {path.suffix or 'without an end'}", " ".join(_OPENERS))
    try:
        open_regular(path, _MOST_BYTES).close()
        names, found = opener(path)
        wanted = choose(names)
        line = 2
        for frame in found(wanted):
            frame.index = pd.RangeIndex(line, line + len(frame))
            line += len(frame)
            yield frame.apply(lambda column: _numbers(path, column))
    except UserError:
        raise
    except FileNotFoundError:
        raise refused(path, None, "", "no such file", "a log to read") from None
    except ImportError as error:
        expected = "a CSV file, or the extra: pip install 'setupopt[excel,logs]'"
        raise refused(path, None, "", f"a file for a library that is missing ({error.name})", expected) from None
    except Exception as error:  # libraries raise what they like at a damaged file
        why = reason(error) if isinstance(error, OSError) else str(error).split("\n")[0][:120]
        expected = f"a whole {path.suffix} file"
        raise refused(path, None, "", f"that it cannot be read ({why})", expected) from None


def _numbers(path: Path, column: Any) -> Any:
    """Cells as numbers, an empty one as none; any other is refused with its line."""
    values = pd.to_numeric(column, errors="coerce").astype(float)
    is_empty = column.isna() | (column.astype(str).str.strip() == "") if column.dtype == object else column.isna()
    odd = column[~np.isfinite(values) & ~is_empty][:20]
    if len(odd):
        raise InputErrors(
            InputError(str(path), line, str(column.name), f'"{cell}"', _NUMBER.instead_of(str(cell).strip()))
            for line, cell in odd.items()
        )
    return values


def _csv(path: Path) -> Source:
    text = io.TextIOWrapper(open_regular(path, _MOST_BYTES), encoding="utf-8-sig", newline="")
    try:
        head = text.readline(1_000_000)
    except UnicodeDecodeError:
        raise refused(path, 1, "", "a byte that is no UTF-8 text", "a CSV file") from None
    if "," not in head and re.search("[;\t]", head):
        raise refused(path, 1, "", "semicolons or tabs", "commas between the columns, points in the numbers")
    if not head.strip():
        raise refused(path, 1, "", "no names", "a header line with time_s and other channels")
    names = [name.strip().strip('"') for name in head.split(",")]
    return names, lambda wanted: _csv_frames(path, text, names, wanted)


def _csv_frames(path: Path, text: Any, names: list[str], wanted: list[str]) -> Iterator[pd.DataFrame]:
    read: Any = {"names": names, "usecols": wanted, "index_col": False, "skip_blank_lines": False}
    line = 1
    try:
        with text, pd.read_csv(text, header=None, chunksize=_ROWS, **read) as found:
            for frame in found:
                line += len(frame)
                yield frame
    except pd.errors.EmptyDataError:
        return
    except pd.errors.ParserError as error:
        cells = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", str(error))
        if cells is None:
            raise
        expected = f"{cells[1]}, as in the header (a decimal comma starts a new cell)"
        raise refused(path, int(cells[2]) + 1, "", f"{cells[3]} cells", expected) from None
    except UnicodeDecodeError as error:
        found_byte = f"the byte 0x{error.object[error.start]:02x} here or below"
        raise refused(path, line + 1, "", found_byte, "UTF-8 text") from None


def _columns(path: Path, columns: dict[str, Any]) -> Source:
    """A source of whole columns, which give their rows by slices."""
    sizes = {name: len(column) for name, column in columns.items()}
    size = max(sizes.values(), default=0)
    for name, found in sizes.items():
        if found != size:
            raise refused(path, None, name, f"{found} values", f"{size}, as another channel has")

    def rows(wanted: list[str]) -> Iterator[pd.DataFrame]:
        for start in range(0, size, _ROWS):
            yield pd.DataFrame({name: np.asarray(columns[name][start : start + _ROWS]) for name in wanted})

    return list(columns), rows


def _mat(path: Path) -> Source:
    from scipy.io import loadmat

    try:
        found = loadmat(path, squeeze_me=True)
    except NotImplementedError:
        raise refused(path, None, "", "version 7.3", "a MAT file up to version 7: save(..., '-v7')") from None
    return _columns(path, {name: v for name, v in found.items() if np.ndim(v) == 1 and v.dtype.kind in "fiub"})


def _sheet(path: Path) -> Source:
    book = import_module("python_calamine").CalamineWorkbook.from_path(str(path))
    head, *rows = book.get_sheet_by_index(0).to_python() or [[]]
    names = [str(cell).strip() for cell in head]
    table = pd.DataFrame(rows, columns=names, dtype=object)
    return names, lambda wanted: [table[wanted]] if len(table) else []


def _mdf(path: Path) -> Source:
    file = import_module("asammdf").MDF(str(path))

    def rows(wanted: list[str]) -> Iterator[pd.DataFrame]:
        channels = [name for name in wanted if name != "time_s"]
        for frame in file.iter_to_dataframe(channels=channels, chunk_ram_size=50_000_000):
            yield frame.rename_axis("time_s").reset_index()[wanted]

    return ["time_s", *(name for name in file.channels_db if name not in ("time", "time_s"))], rows


def _tdms(path: Path) -> Source:
    file = import_module("nptdms").TdmsFile.open(str(path))
    return _columns(path, {channel.name: channel for group in file.groups() for channel in group.channels()})


_OPENERS: dict[str, Callable[[Path], Source]] = {
    ".csv": _csv, ".mat": _mat, ".xlsx": _sheet, ".ods": _sheet, ".mf4": _mdf, ".tdms": _tdms,
}  # fmt: skip
