"""The functions of the package: one for every command, and their examples run."""

from __future__ import annotations

import doctest
from dataclasses import replace
from inspect import signature
from pathlib import Path

import pytest
from processes import python

import setupopt
from setupopt import api

HILL = Path(setupopt.__file__).parents[1] / "setups" / "hill"
WITH_EXAMPLES = ["assess", "propose", "prove", "compare", "speeds"]
FUNCTIONS = [
    *WITH_EXAMPLES,
    "fit_tyre",
    "fit_air",
    "sheet",
    "readback",
    "report",
    "route",
    "learn",
]


@pytest.fixture(scope="module")
def project() -> setupopt.Project:
    """The hill at two roll angles in one attitude: the examples are about names, not numbers."""
    hill = setupopt.load(HILL)
    sweep = replace(hill.venue.sweep, start=0.0, stop=0.05, step=0.05)
    return replace(
        hill,
        venue=replace(
            hill.venue, sweep=sweep, attitudes=hill.venue.attitudes[:1]
        ),
    )


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_of_the_functions_run(
    name: str, project: setupopt.Project
) -> None:
    """What the docstrings of the first five show is what comes out, and each shows something."""
    names = {"setupopt": setupopt, "project": project, "replace": replace}
    (example,) = doctest.DocTestFinder(recurse=False).find(
        getattr(api, name), name, globs=names
    )
    runner = doctest.DocTestRunner()
    runner.run(example)
    assert runner.tries > 1
    assert runner.failures == 0


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_function_takes_options_last(name: str) -> None:
    """One style: what it works on, then a frozen dataclass that may be left out."""
    *_, last = signature(getattr(api, name)).parameters.values()
    assert (last.name, last.default) == ("options", None)
    assert name in setupopt.__all__


def test_a_function_with_the_name_of_a_package_can_be_called() -> None:
    """`setupopt.report` and `setupopt.sheet` are packages as well, imported before or after."""
    code = (
        "import setupopt\nfirst = callable(setupopt.report), callable(setupopt.sheet)\n"
        "import setupopt.report.shared.tables as tables, setupopt.sheet.shims\n"
        "print(first, callable(setupopt.report), callable(setupopt.sheet), tables.bar(1.0, 2))"
    )
    assert python(code).stdout == "(True, True) True True ##\n"


def test_every_name_of_the_package_is_there() -> None:
    """All that is promised can be had, and nothing else."""
    assert all(getattr(setupopt, name) is not None for name in setupopt.__all__)
    with pytest.raises(
        AttributeError, match="'setupopt' has no attribute 'nothing'"
    ):
        setupopt.nothing  # noqa: B018
