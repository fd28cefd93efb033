"""Project, setups and cases in; a Result out."""

from __future__ import annotations

import importlib
import inspect
from dataclasses import replace
from math import pi
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from cars import CAR, SETUP, load_cases, set_both, starts_of, venue

import setupopt
from setupopt.errors import UserError
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model, evaluate
from setupopt.physics.inputs import ANSWER
from setupopt.project.model import Attitude, Project, Sweep


def project() -> Project:
    """The invented car in a bore, straight and in a gust."""
    straight = Attitude(
        "straight", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0,) * 4, None
    )
    attitudes = (straight, replace(straight, name="gust", crosswind=6.0))
    place = replace(
        venue(1 / 8.0),
        sweep=Sweep(0.0, np.pi, np.pi / 6, 60.0),
        attitudes=attitudes,
    )
    return Project(Path("nowhere"), CAR, place, SETUP, None, ())


PROJECT = project()
SOFT = set_both(SETUP, spring=1e5)


@pytest.mark.parametrize("name", setupopt.__all__)
def test_library_names_stay_what_they_are(name: str) -> None:
    """Every look gives the same object, and it is no module, unless that is called like a function."""
    first = getattr(setupopt, name)
    importlib.import_module("setupopt.evaluation.model")
    assert getattr(setupopt, name) is first
    assert callable(first) or not isinstance(first, ModuleType)
    assert inspect.getdoc(first)


def test_unknown_library_name() -> None:
    """As any module answers."""
    with pytest.raises(AttributeError, match="no attribute 'perfect_setup'"):
        _ = setupopt.perfect_setup


def test_venues_sweep_and_todays_setup_by_default() -> None:
    """7 angles times 2 attitudes, the setup that the car stands on."""
    result = evaluate(PROJECT)
    assert result.answers.shape == (1, 14)
    assert (
        result.answers.tobytes() == evaluate(PROJECT, SETUP).answers.tobytes()
    )


def test_one_setup_or_several() -> None:
    """In the order given, each as if it were alone."""
    both = evaluate(PROJECT, [SOFT, SETUP])
    assert both.answers.shape == (2, 14)
    assert (
        both.answers[0].tobytes()
        == evaluate(PROJECT, SOFT).answers[0].tobytes()
    )
    assert (
        both.answers[1].tobytes()
        == evaluate(PROJECT, (SETUP,)).answers[0].tobytes()
    )
    assert (both.margin[0] != both.margin[1]).any()


def test_cases_of_the_callers_own() -> None:
    """A denser sweep, or a list, in place of the venue's sweep."""
    cases = sweep_cases(PROJECT.venue, np.radians([100.0, 45.0]))
    result = evaluate(PROJECT, cases=cases)
    assert result.cases is cases
    assert result.answers.shape == (1, 4)


def test_no_cases_give_no_answers() -> None:
    """An empty list of cases is an empty result, not the venue's sweep."""
    assert evaluate(
        PROJECT, cases=sweep_cases(PROJECT.venue).pick([])
    ).answers.shape == (1, 0)


def test_progress_is_told() -> None:
    """The counts add up to setups times cases."""
    told: list[int] = []
    setupopt.evaluate(PROJECT, [SOFT, SETUP], progress=told.append)
    assert sum(told) == 28


def test_section_too_tight_for_the_car_is_refused() -> None:
    """Turned across it, the car reaches 2 m round: R = 1.7 m leaves it no surface; the case is named."""
    model = Model(CAR)
    cases = load_cases(venue(), radius=[8.0, 1.7], heading=[0.0, pi / 2])
    with pytest.raises(
        UserError, match=r"case 2: a section of 1\.700 m radius is too tight"
    ):
        model.run(model.settings([SETUP]), cases)


def test_starts_may_leave_cases_out() -> None:
    """An answer without contact is no first guess; trims of a setup nearby are, and change no answer."""
    model, cases = Model(CAR), sweep_cases(PROJECT.venue)
    plain = model.run(model.settings([SETUP]), cases)
    starts = starts_of(model.run(model.settings([SOFT]), cases)).copy()
    starts["contact"][::2] = False
    starts["press"][::2] = 0.0
    warm = model.run(model.settings([SETUP]), cases, starts=starts)
    assert warm.margin == pytest.approx(plain.margin, abs=1e-9, nan_ok=True)
    for name in ("margin", "state", "effort"):
        np.testing.assert_array_equal(
            warm.answers[name][0, ::2], plain.answers[name][0, ::2]
        )


def test_starts_of_the_wrong_shape_are_refused() -> None:
    """One answer too few: compiled code does not look where it reads, so Python must."""
    model, cases = Model(CAR), sweep_cases(PROJECT.venue)
    room = np.zeros(
        len(cases), ANSWER
    )  # more than the array below, so that the test reads nobody else's
    with pytest.raises(ValueError, match=f"starts must be \\({len(cases)}\\)"):
        model.run(model.settings([SETUP]), cases, starts=room[:-1])


def test_settings_are_the_same_one_by_one_or_stacked() -> None:
    """A Setup that holds arrays is as many setups."""
    from setupopt.evaluation.setup_record import by_wheel

    model = Model(CAR)
    assert (
        model.settings(by_wheel([SETUP, SOFT])).tobytes()
        == model.settings([SETUP, SOFT]).tobytes()
    )
    assert model.settings(SETUP).size == 1
