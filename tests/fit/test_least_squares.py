"""Robust least squares: values, errors that hold, and what is not told."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from setupopt.fit.least_squares import Fitted, fit
from setupopt.fit.uncertainty import NotIdentifiable

X = np.linspace(0.0, 3.0, 40)


def line(
    y: np.ndarray, x: np.ndarray = X, noise: float = 0.1, **options: object
) -> Fitted:
    """Intercept and slope of a straight line."""
    return fit(
        lambda p: (y - p[0] - p[1] * x) / noise, np.zeros(2), np.full(2, -900.0), np.full(2, 900.0),
        ("intercept", "slope"), np.ones(2), **options,  # type: ignore[arg-type]
    )  # fmt: skip


def drawn(
    seed: int, count: int = 40, noise: float = 0.1
) -> tuple[np.ndarray, np.ndarray]:
    """Noisy points of 2 + 3 x."""
    x = np.linspace(0.0, 3.0, count)
    return x, 2.0 + 3.0 * x + noise * np.random.default_rng(seed).normal(
        size=count
    )


def test_line_against_ordinary_least_squares() -> None:
    """scipy's linregress on normal noise: within a third of an error; errors alike.

    soft_l1 is 96 % efficient there, so both differ by sqrt(1/0.96 - 1) = 0.2 errors and errors by 2 %; its
    own estimate of the noise differs by a few per cent.
    """
    x, y = drawn(3, 400)
    plain, found = linregress(x, y), line(y, x)
    assert found.value("slope") == pytest.approx(
        plain.slope, abs=0.6 * plain.stderr
    )
    assert found.standard_error("slope") == pytest.approx(plain.stderr, rel=0.1)
    assert found.standard_error("intercept") == pytest.approx(
        plain.intercept_stderr, rel=0.1
    )


@pytest.mark.parametrize("told", [0.03, 0.1, 0.3])
def test_errors_hold_whatever_noise_was_told(told: float) -> None:
    """Over 150 draws of 25 points, 1.96 errors hold the truth in 95 %: 90 to 99 % by chance (3 sigma)."""
    scores = []
    for seed in range(150):
        x, y = drawn(seed, 25)
        found = line(y, x, told, starts=1)
        scores += list((found.values - [2.0, 3.0]) / found.standard_errors)
    assert 0.90 <= np.mean(np.abs(scores) < 1.96) <= 0.99


def test_noise_is_found_where_there_are_enough_residuals() -> None:
    """Told 0.3 for 0.1: a third, to twice the 8 % of chance with 80 residuals; five tell nothing."""
    x, y = drawn(5, 80)
    assert line(y, x, 0.3).noise[""] == pytest.approx(1 / 3, rel=0.2)
    assert line(y[::16], x[::16], 0.3).noise[""] == 1.0


def test_few_residuals_make_errors_larger_never_smaller() -> None:
    """Six points, four to spare: by their rms over these four, unless that is less than told.

    That is ordinary least squares (scipy's linregress) up to the bend of the loss: 15 % of the error.
    """
    x, y = drawn(11, 6)
    plain = linregress(x, y).stderr
    assert line(y, x, 0.05).standard_error("slope") == pytest.approx(
        plain, rel=0.15
    )
    told = 10.0 * 0.1 / np.sqrt(((x - x.mean()) ** 2).sum())
    assert line(y, x, 1.0).standard_error("slope") == pytest.approx(
        told, rel=1e-3
    )


def test_quantities_with_few_residuals_share_their_noise() -> None:
    """Thirty quantities of one reading each, five times noisier than told: together they say so.

    To three times the 13 % by chance of thirty; the error is that of their mean, as well.
    """
    y = 1.0 + 0.5 * np.random.default_rng(1).normal(size=30)
    names = [str(number) for number in range(30)]
    found = fit(
        lambda p: (y - p) / 0.1,
        [0.0],
        [-9.0],
        [9.0],
        "a",
        [1.0],
        quantities=names,
    )
    assert len(set(found.noise.values())) == 1
    assert found.noise["0"] == pytest.approx(5.0, rel=0.4)
    assert found.standard_errors[0] == pytest.approx(
        y.std(ddof=1) / np.sqrt(30), rel=0.15
    )


def test_a_quantity_noisier_than_told_counts_less() -> None:
    """Two instruments on one number, one of them ten times worse than told: the answer is the good one's."""
    rng = np.random.default_rng(8)
    good, bad = 1.0 + 0.1 * rng.normal(size=30), 1.4 + 1.0 * rng.normal(size=30)
    both = np.concatenate([good, bad])
    found = fit(
        lambda p: (both - p[0]) / 0.1, [0.0], [-9.0], [9.0], ["level"], [1.0],
        quantities=["good"] * 30 + ["bad"] * 30,
    )  # fmt: skip
    assert found.noise["bad"] == pytest.approx(10.0, rel=0.4)
    assert found.value("level") == pytest.approx(
        good.mean(), abs=0.02
    )  # a good one's error of the mean


def test_parameters_use_up_residuals() -> None:
    """Twelve waves through 24 points leave sqrt(1/2) of the noise: it is found whole, and scored so.

    Mean of 40 draws, each known to sqrt(1/24): 3 % by chance, and a few per cent for what is cut as outlying.
    """
    x = np.arange(24.0) / 24.0
    waves = np.column_stack(
        [f(2 * np.pi * n * x) for n in range(1, 7) for f in (np.sin, np.cos)]
    )

    def noise(seed: int) -> float:
        y = np.random.default_rng(seed).normal(size=24)
        ends = np.full(12, 9.0)
        found = fit(
            lambda p: y - waves @ p,
            0.0 * ends,
            -ends,
            ends,
            "abcdefghijkl",
            ends / 9.0,
            starts=1,
        )
        return found.noise[""]

    assert np.mean([noise(seed) for seed in range(40)]) == pytest.approx(
        1.0, abs=0.12
    )


def test_a_reading_that_nothing_checks_has_no_score() -> None:
    """One row alone tells the second parameter: it fits by itself, and is neither good nor outlying."""
    y = np.append(1.0 + 0.1 * np.random.default_rng(3).normal(size=20), 7.0)
    found = fit(lambda p: (y - np.append(np.full(20, p[0]), p[1])) / 0.1, np.zeros(2), np.full(2, -9.0),
                np.full(2, 9.0), "ab", np.ones(2))  # fmt: skip
    assert found.value("b") == pytest.approx(7.0, abs=1e-6)
    assert found.scores[20] == 0.0 and not found.is_outlying[20]


def test_outlying_rows_are_named_and_hardly_pull() -> None:
    """Two rows thirty times the noise off: exactly they are named; the line moves by less than its error."""
    y = drawn(2)[1]
    clean = line(y)
    y[[7, 30]] += [3.0, -3.0]
    found = line(y, rows=np.arange(40) + 100)
    assert list(found.rows[found.is_outlying]) == [107, 130]
    assert (np.abs(found.values - clean.values) < clean.standard_errors).all()


def test_what_no_value_depends_on_is_untold() -> None:
    """No pretty number for a parameter that the residuals never see."""
    y = drawn(1)[1]
    found = fit(
        lambda p: (y - p[0] - p[1] * X) / 0.1,
        np.zeros(3),
        np.full(3, -9.0),
        np.full(3, 9.0),
        "abc",
        np.ones(3),
    )
    assert found.untold == (NotIdentifiable("c"),)
    assert not np.isfinite(found.standard_error("c"))
    assert np.isnan(found.correlation[2]).all()
    assert found.degrees_of_freedom == 38


def test_a_sum_is_told_though_its_terms_are_not() -> None:
    """a + 1.6 b is all that the rows show: neither of both, but the sum, with the error it has alone."""
    y = drawn(4)[1]
    found = fit(
        lambda p: (y - p[0] - 1.6 * p[1] - p[2] * X) / 0.1, np.zeros(3), np.full(3, -9.0), np.full(3, 9.0),
        "abc", np.ones(3),
    )  # fmt: skip
    assert found.untold == (
        NotIdentifiable("a", from_=("b",)),
        NotIdentifiable("b", from_=("a",)),
    )
    assert found.values @ [1.0, 1.6, 0.0] == pytest.approx(
        line(y).value("intercept"), abs=1e-4
    )
    alone = line(y).standard_error("intercept")
    assert found.error_of(np.array([1.0, 1.6, 0.0])) == pytest.approx(
        alone, rel=1e-3
    )
    assert found.error_of(np.array([1.0, 1.0, 0.0])) == np.inf


def test_what_stands_at_its_bound_is_untold() -> None:
    """The slope may go to 2 and no further: it stands there, without an error."""
    y = drawn(6)[1]
    found = fit(
        lambda p: (y - p[0] - p[1] * X) / 0.1, np.zeros(2), np.full(2, -9.0), np.array([9.0, 2.0]), "ab",
        np.ones(2),
    )  # fmt: skip
    assert found.untold == (NotIdentifiable("b", bound=2.0),)
    assert found.value("b") == 2.0
    assert np.isfinite(found.standard_error("a"))
    everything = fit(lambda p: 5.0 - p[:1], [0.0], [0.0], [1.0], "a", [1.0])
    assert everything.untold == (NotIdentifiable("a", bound=1.0),)


def test_an_error_as_large_as_the_scale_is_no_finding() -> None:
    """One point of noise 2 and a scale of 1: nothing was learned; with a scale of 3 something was."""

    def one(scale: float) -> Fitted:
        return fit(
            lambda p: (4.0 - p) / 2.0, [0.0], [-9.0], [9.0], "a", [scale]
        )

    assert not one(1.0).is_told("a")
    assert one(3.0).standard_error("a") == pytest.approx(
        2.0, rel=1e-6
    )  # its noise, there being no other


def test_errors_that_go_together_are_named() -> None:
    """Intercept and slope of points far from zero: correlation -mean(x) / rms(x), -0.9993 at 30 to 33."""
    x = X + 30.0
    found = line(drawn(9)[1], x)
    ((first, second, correlation),) = found.correlated
    assert (first, second) == ("intercept", "slope")
    assert correlation == pytest.approx(
        -x.mean() / np.sqrt((x**2).mean()), abs=1e-4
    )


def test_a_second_answer_is_told() -> None:
    """The square of a number leaves its sign open: the other one is named; of the number itself none is."""
    y = 4.0 + 0.05 * np.random.default_rng(0).normal(size=20)
    starts = np.array([[1.0], [-1.0]])
    squared = fit(
        lambda p: (y - p[0] ** 2) / 0.05, starts, [-9.0], [9.0], "a", [1.0]
    )
    assert squared.rival is not None
    assert squared.rival[0] == pytest.approx(-squared.value("a"), abs=1e-3)
    assert (
        fit(
            lambda p: (y - p[0]) / 0.05, starts, [-9.0], [9.0], "a", [1.0]
        ).rival
        is None
    )


def test_a_dip_at_the_end_of_a_flat_stretch_is_found() -> None:
    """Beyond 1 nothing depends on the first parameter; the least misfit lies at 0.9, in a dip 0.2 wide.

    Every start stands on the flat stretch, where no slope points to the dip.
    """

    def residuals(p: np.ndarray) -> np.ndarray:
        short = max(1.0 - p[0], 0.0)
        return (
            np.array([1.5 - 10.0 * short + 50.0 * short**2, *(p[1] - X)]) / 0.5
        )

    starts = np.array([[2.0, 1.0], [4.0, 2.0]])
    found = fit(
        residuals, starts, np.zeros(2), np.array([9.0, 9.0]), "ab", np.ones(2)
    )
    assert found.value("a") == pytest.approx(0.9, abs=1e-3)


def test_what_nothing_determines_ends_at_the_anchor() -> None:
    """Not where rounding stops the search: a lone parameter, and two of which only the sum is known."""
    y = drawn(4)[1]
    anchor = np.array([1.0, 3.0, 0.0, 4.0])
    found = fit(
        lambda p: (y - p[0] - p[1] - p[2] * X) / 0.1, np.zeros(4), np.full(4, -9.0), np.full(4, 9.0), "abcd",
        np.ones(4), anchor=anchor,
    )  # fmt: skip
    assert found.value("d") == pytest.approx(4.0, abs=1e-3)
    assert found.value("b") - found.value("a") == pytest.approx(2.0, abs=1e-3)
    assert found.value("a") + found.value("b") == pytest.approx(
        line(y).value("intercept"), abs=1e-4
    )


def test_eight_spare_residuals_tell_their_noise_whatever_rounding_does() -> (
    None
):
    """Nine readings of one number leave eight to spare; their leverages add up to 1 but for rounding.

    The noise is three times what was told: it is found each time, never left as told.
    """
    for seed in range(40):
        scales = np.random.default_rng(seed).uniform(0.5, 2.0, 9)
        y = 3.0 * np.random.default_rng(seed).normal(size=9)
        found = fit(
            lambda p, y=y, s=scales: (y - p[0]) * s,
            [0.0],
            [-9.0],
            [9.0],
            "a",
            [3.0],
            starts=1,
        )
        assert found.noise[""] != 1.0


def test_the_same_answer_every_time() -> None:
    """Starts are drawn, but always the same."""
    y = drawn(7)[1]
    assert (line(y).values == line(y).values).all()
