"""A TOML file with its text, so that a mistake in it can be named with its line."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from setupopt.errors import InputError, InputErrors
from setupopt.files import read_regular, reason
from setupopt.project.toml_positions import (
    Loc,
    deep_key,
    key_at,
    key_lines,
    key_text,
    nearest_line,
    quoted,
)

LARGEST = 300_000  # bytes; the examples have a few thousand
_MINUS = "\u2010\u2011\u2012\u2013\u2014\u2212\ufe63\uff0d"  # what word processors put for the minus sign
# A number behind "=", or in a list behind "[" or ",", up to the next mark
_COMMA = re.compile(rf"=\s*([-+{_MINUS}]?\d+,\d+)\s*(?=[,}}#]|$)")
_OTHER_MINUS = re.compile(rf"[=\[,]\s*([{_MINUS}]\s*\d[\d.,]*(?<!,))")


@dataclass(frozen=True)
class TomlFile:
    """A file that is valid TOML; the schema checks what it says."""

    path: Path
    text: str
    data: dict[str, Any]

    @cached_property
    def lines(self) -> dict[Loc, int]:
        """The line of every key; scanned only when there is a mistake to name."""
        return key_lines(self.text)

    def error(
        self, loc: Loc, expected: str, found: str | None = None
    ) -> InputError:
        """The mistake at `loc`; what was found is looked up unless it is given."""
        if found is None:
            found = shown(look_up(self.data, loc))
        return InputError(
            str(self.path),
            nearest_line(self.lines, loc),
            key_text(loc),
            found,
            expected,
        )


def read_toml(path: Path) -> TomlFile:
    """Read and parse a file. Raises InputErrors when it is missing, not text, or not TOML."""
    text = read_text(path, LARGEST)
    if line := deep_key(text):
        raise _refused(
            path, line, "", "a key of very many parts", "a flat table of keys"
        )
    try:
        return TomlFile(path, text, tomllib.loads(text))
    except RecursionError:
        raise _refused(
            path,
            None,
            "",
            "lists or tables nested too deep",
            "a flat table of keys",
        ) from None
    except ValueError as error:  # TOMLDecodeError, and Python's limit on the digits of an integer
        raise _syntax(path, text, str(error)) from None


def read_text(path: Path, largest: int) -> str:
    """The UTF-8 text of a file of at most `largest` bytes. Raises InputErrors."""
    raw = _read_bytes(path, largest)
    try:
        text = raw.decode(
            "utf-8-sig"
        )  # some editors put a byte order mark in front
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(
            path, line, "", f"the byte 0x{raw[error.start]:02x}", "UTF-8 text"
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise _refused(path, line, "", "the byte 0x00", "UTF-8 text")
    if not text.strip():
        raise _refused(path, None, "", "an empty file", "tables and keys")
    return text


def _read_bytes(path: Path, largest: int) -> bytes:
    try:
        return read_regular(path, largest)
    except FileNotFoundError:
        found = "no such file"
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        found = f"that it cannot be read ({reason(error)})"
    raise _refused(path, None, "", found, "a file to read")


_POSITION = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")

_TWICE = (
    "Cannot overwrite",
    "Cannot declare",
    "Cannot mutate",
    "Cannot redefine",
    "Duplicate",
)


def _syntax(path: Path, text: str, message: str) -> InputErrors:
    position = _POSITION.search(message)
    line = (
        int(position[1])
        if position and position[1]
        else text.count("\n") + 1
        if position
        else None
    )
    key = key_at(text, line) if line else ()
    fault = message[: position.start()] if position else message
    if mistake := _odd_number(text, line):
        return _refused(path, line, key_text(key), *mistake)
    if fault.startswith(_TWICE):
        return _refused(
            path,
            line,
            key_text(key),
            "it a second time",
            "every key and table once",
        )
    return _refused(
        path,
        line,
        key_text(key),
        f"a mistake of syntax ({fault})",
        "valid TOML",
    )


def _odd_number(text: str, line: int | None) -> tuple[str, str] | None:
    """A number with a decimal comma or another minus sign on a line, and what is expected instead."""
    lines = text.splitlines()
    content = lines[line - 1] if line and line <= len(lines) else ""
    if found := _OTHER_MINUS.search(content):
        plain = "-" + found[1].lstrip(_MINUS + " ").replace(",", ".")
        return found[
            1
        ], f"a number with the minus sign of the keyboard: {plain}"
    if found := _COMMA.search(content):
        return found[
            1
        ], f"a number with a decimal point: {found[1].replace(',', '.')}"
    return None


def _refused(
    path: Path, line: int | None, key: str, found: str, expected: str
) -> InputErrors:
    return InputErrors([InputError(str(path), line, key, found, expected)])


def look_up(data: Any, loc: Loc) -> Any:
    """The value at `loc` of parsed data; None where there is nothing."""
    for part in loc:
        if isinstance(data, dict):
            data = data.get(str(part))
        elif (
            isinstance(data, list)
            and isinstance(part, int)
            and part < len(data)
        ):
            data = data[part]
        else:
            return None
    return data


def shown(value: object) -> str:
    """A value as the user wrote it, short and safe for a terminal.

    >>> print(shown("160"), shown(True), shown({}), shown(None))
    "160" true a table nothing
    """
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) > 10**30:
        return "a huge integer"  # Python refuses to print some of them
    if isinstance(value, str):
        return quoted(value)
    return str(value)
