"""What is refused, and the words for it: file, line, key, what was found, what is expected."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

# Mistakes printed at once; a file of the wrong kind can hold thousands
SHOWN = 20


# Categories of characters that are not to be seen: control, writing direction, half a letter, line ends
HIDDEN = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))


def printable(text: str) -> str:
    """A text whose hidden characters, but for line feeds, are written as escapes: a terminal obeys none.

    >>> print(printable("\\x1b[2Jname\\n\\u202e"))
    \\x1b[2Jname
    \\u202e
    """
    if text.isprintable():
        return text
    return "".join(map(_visible, text))


def _visible(letter: str) -> str:
    is_hidden = letter != "\n" and unicodedata.category(letter) in HIDDEN
    return letter.encode("unicode_escape").decode() if is_hidden else letter


class UserError(Exception):
    """Something the user can put right. Commands print it and exit with status 2."""


class InputError(UserError):
    """One mistake in what the user wrote. `line` is None and `key` empty where there is none."""

    def __init__(
        self, file: str, line: int | None, key: str, found: str, expected: str
    ) -> None:
        super().__init__(file, line, key, found, expected)
        self.file = file
        self.line = line
        self.key = key
        self.found = found
        self.expected = expected

    def __str__(self) -> str:
        line = "" if self.line is None else f"line {self.line}"
        where = ", ".join(part for part in (self.file, line, self.key) if part)
        return f"{where}: found {self.found}, expected {self.expected}"


class InputErrors(UserError):  # noqa: N818 - several of them
    """All mistakes found in one reading, in the order of the files and their lines."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        self.errors: tuple[InputError, ...] = tuple(errors)
        super().__init__(self.errors)

    def __str__(self) -> str:
        lines = [str(error) for error in self.errors[:SHOWN]]
        left = len(self.errors) - SHOWN
        return "\n".join(
            [*lines, f"and {left} more mistakes"] if left > 0 else lines
        )


class OutputError(UserError):
    """A file that could not be written."""

    def __init__(self, file: str, reason: str) -> None:
        super().__init__(file, reason)
        self.file = file
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.file}: could not be written ({self.reason})"
