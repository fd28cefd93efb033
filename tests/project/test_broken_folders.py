"""Every way to break a folder is refused, with the file, the line and the key, and nothing else is raised."""

from __future__ import annotations

from pathlib import Path

import pytest

from setupopt.errors import InputError, InputErrors
from setupopt.project import load

from .broken_folders import broken_folders, broken_lines, with_line
from .good_folder import FILES, write_folder


def _errors(folder: Path) -> tuple[InputError, ...]:
    with pytest.raises(InputErrors) as caught:
        load(folder)
    return caught.value.errors


def _names(error: InputError, file: str, key: str) -> bool:
    """Whether the error is about the key or a part of its value."""
    return Path(error.file).name == file and (
        error.key == key or error.key.startswith((f"{key}[", f"{key}."))
    )


def test_every_broken_folder_is_refused_by_file_and_key(tmp_path: Path) -> None:
    """No mistake of a user ends in an answer, in another exception, or in a message about another place."""
    names = set()
    for broken in broken_folders(tmp_path):
        errors = _errors(broken.folder)
        assert all(
            _names(error, broken.file, broken.key) for error in errors
        ), f"{broken.name}: {errors}"
        assert "expected" in str(errors[0])
        names.add(broken.name)
    assert len(names) >= 200


def test_every_broken_line_is_named_by_its_number(tmp_path: Path) -> None:
    """The line in the message is the one to edit; for a missing key it is the header of its table."""
    for wrong, line, _, instead in broken_lines():
        if wrong in ("bool", "missing key"):
            error = _errors(
                write_folder(
                    tmp_path,
                    **{
                        line.file.removesuffix(".toml"): with_line(
                            line, instead
                        )
                    },
                )
            )[0]
            if wrong == "missing key":
                header = line.table.partition("[")[0]
                assert (
                    FILES[line.file]
                    .splitlines()[(error.line or 0) - 1]
                    .strip("[]")
                    == header
                )
            else:
                assert error.line == line.number
