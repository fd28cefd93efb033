"""What is refused, and how it is said: file, line, key, what was found, what is expected."""

from __future__ import annotations

from collections.abc import Iterable

SHOWN = 20  # mistakes printed at once; a file of the wrong kind can hold thousands


class UserError(Exception):
    """Something the user can put right. Commands print it and exit with status 2."""


class InputError(UserError):
    """One mistake in what the user wrote. `line` is None and `key` empty where there is none."""

    def __init__(self, file: str, line: int | None, key: str, found: str, expected: str) -> None:
        super().__init__(file, line, key, found, expected)
        self.file = file
        self.line = line
        self.key = key
        self.found = found
        self.expected = expected

    def __str__(self) -> str:
        line = "" if self.line is None else f"line {self.line}"
        place = ", ".join(part for part in (self.file, line, self.key) if part)
        return f"{place}: found {self.found}, expected {self.expected}"


class InputErrors(UserError):  # noqa: N818 - several of them
    """All mistakes found in one reading, in the order of the files and their lines."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        self.errors: tuple[InputError, ...] = tuple(errors)
        super().__init__(self.errors)

    def __str__(self) -> str:
        said = [str(error) for error in self.errors[:SHOWN]]
        left = len(self.errors) - SHOWN
        return "\n".join([*said, f"and {left} more mistakes"] if left > 0 else said)


class OutputError(UserError):
    """A file that could not be written."""

    def __init__(self, file: str, reason: str) -> None:
        super().__init__(file, reason)
        self.file = file
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.file}: could not be written ({self.reason})"
