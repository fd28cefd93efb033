"""How a refusal reads, and what is needed only by some commands."""

from __future__ import annotations

import doctest
import importlib
import pickle
from pathlib import Path

import pytest
from processes import python

from setupopt.errors import InputError, InputErrors, OutputError, UserError
from setupopt.project import need

from .good_folder import write_folder


def test_message_holds_all_there_is() -> None:
    """File, line, key, found, expected; what is not known is left out."""
    assert (
        str(InputError("a.toml", 3, "car.x", "1", "2"))
        == "a.toml, line 3, car.x: found 1, expected 2"
    )
    assert (
        str(InputError("a.toml", None, "", "1", "2"))
        == "a.toml: found 1, expected 2"
    )


@pytest.mark.parametrize(
    "error",
    [
        InputError("a.toml", 3, "car.x", "1", "2"),
        InputErrors([InputError("a.toml", 3, "car.x", "1", "2")]),
        OutputError("a.toml", "no"),
    ],
)
def test_errors_come_through_processes(error: UserError) -> None:
    """A refusal in a worker process reads the same in the main one."""
    assert str(pickle.loads(pickle.dumps(error))) == str(error)


def test_missing_optional_entry_is_asked_for(tmp_path: Path) -> None:
    """Which key, where it belongs, what it is for."""
    file = write_folder(tmp_path) / "car.toml"
    with pytest.raises(InputError) as caught:
        need(None, file, "front.damper_x", "bumps are damped by it")
    assert str(caught.value) == (
        f"{file}, line 20, front.damper_x: found nothing, expected it, because bumps are damped by it"
    )
    assert need(0.0, "car.toml", "car.power_kW", "") == 0.0
    with pytest.raises(
        InputError, match=r"^car\.toml, car\.power_kW: found nothing"
    ):
        need(None, "car.toml", "car.power_kW", "the run-up needs it")


@pytest.mark.parametrize(
    "name",
    [
        "units",
        "project.toml_positions",
        "project.toml_file",
        "project.settings",
    ],
)
def test_examples_in_the_docs_run(name: str) -> None:
    """The doctests of this room."""
    result = doctest.testmod(importlib.import_module(f"setupopt.{name}"))
    assert result.attempted > 0
    assert result.failed == 0


def test_model_imports_nothing_heavy() -> None:
    """The physics and the help texts do not pay for the reading of files."""
    code = "import setupopt.project.model, sys; print(*sys.modules)"
    loaded = python(code).stdout.split()
    assert not {"pydantic", "tomlkit", "numpy", "pandas"} & set(loaded)
