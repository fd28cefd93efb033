"""Published finite minimax problems: the largest entry of a vector function is minimised over x.

Statements and optima of most: L. Luksan and J. Vlcek, Test problems for nonsmooth unconstrained and linearly
constrained optimization, ICS AS CR report V-798 (2000). The report was not open: its values were seen in a
table that quotes it, and their last digits worked out for this project with SLSQP. What says "from memory"
was written without a source at hand and kept because test_minimax_problems reaches the published optimum with
it, to every digit: that checks all rows that bind there. Nothing here knows the search engine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Floats = np.ndarray
REPORT = "Luksan and Vlcek, ICS AS CR V-798, 2000"


@dataclass(frozen=True, kw_only=True)
class Published:
    """Starts and optimum of a problem. Its box holds them strictly inside.

    `start` is the published one, `second_start` this project's own. `last_digit` is one unit of the last
    digit to which `optimum` is known; `point`: where it is, if that is known.
    """

    start: tuple[float, ...]
    second_start: tuple[float, ...]
    optimum: float
    last_digit: float = 0.0
    source: str
    point: tuple[float, ...] | None = None


@dataclass(frozen=True)
class MinimaxProblem(Published):
    """Minimise max(functions(x)) where slopes @ x >= least, inside the box."""

    functions: Callable[[Floats], Floats]  # (variables) -> (rows)
    low: tuple[float, ...]
    high: tuple[float, ...]
    slopes: tuple[tuple[float, ...], ...] = ()  # (limits, variables)
    least: tuple[float, ...] = ()  # (limits)


def both_signs(values: Floats) -> Floats:
    """Rows whose largest is the largest absolute value."""
    return np.concatenate([values, -values])


# --- smooth functions, no data ----------------------------------------------------------------


def cb2(x: Floats) -> Floats:
    """Charalambous and Bandler's second."""
    a, b = x
    return np.array(
        [a**2 + b**4, (2 - a) ** 2 + (2 - b) ** 2, 2 * np.exp(b - a)]
    )


def dem(x: Floats) -> Floats:
    """Two planes and a bowl, of very different slopes."""
    a, b = x
    return np.array([5 * a + b, -5 * a + b, a**2 + b**2 + 4 * b])


def lq(x: Floats) -> Floats:
    """A plane and a bowl."""
    a, b = x
    return np.array([-a - b, -a - b + a**2 + b**2 - 1])


def mifflin_1(x: Floats) -> Floats:
    """-a + 20 max(a^2 + b^2 - 1, 0), the inner max written as two rows."""
    a, b = x
    return np.array([-a, -a + 20 * (a**2 + b**2 - 1)])


def rosen_suzuki(x: Floats) -> Floats:
    """A quadratic program by exact penalties of weight 10."""
    a, b, c, d = x
    f = a**2 + b**2 + 2 * c**2 + d**2 - 5 * a - 5 * b - 21 * c + 7 * d
    g1 = a**2 + b**2 + c**2 + d**2 + a - b + c - d - 8
    g2 = a**2 + 2 * b**2 + c**2 + 2 * d**2 - a - d - 10
    g3 = a**2 + b**2 + c**2 + 2 * a - b - d - 5
    return np.array([f, f + 10 * g1, f + 10 * g2, f + 10 * g3])


def wong_1(x: Floats) -> Floats:
    """A program of seven variables by exact penalties of weight 10. From memory; only goal, g1, g4 bind."""
    a, b, c, d, e, f, g = x
    goal = (
        (a - 10) ** 2 + 5 * (b - 12) ** 2 + c**4 + 3 * (d - 11) ** 2 + 10 * e**6
    )
    goal += 7 * f**2 + g**4 - 4 * f * g - 10 * f - 8 * g
    g1 = 2 * a**2 + 3 * b**4 + c + 4 * d**2 + 5 * e - 127
    g2 = 7 * a + 3 * b + 10 * c**2 + d - e - 282
    g3 = 23 * a + b**2 + 6 * f**2 - 8 * g - 196
    g4 = 4 * a**2 + b**2 - 3 * a * b + 2 * c**2 + 5 * f - 11 * g
    return goal + 10 * np.array([0.0, g1, g2, g3, g4])


def mad_1(x: Floats) -> Floats:
    """Functions of MAD1 and MAD2."""
    a, b = x
    return np.array([a**2 + b**2 + a * b - 1, np.sin(a), -np.cos(b)])


def mad_4(x: Floats) -> Floats:
    """Functions of MAD4 and MAD5; b must be positive."""
    a, b = x
    return np.array([-np.exp(a - b), np.sinh(a - 1) - 1, -np.log(b) - 1])


def madsen(x: Floats) -> Floats:
    """Absolute values of three functions; two optima, each the other's mirror image."""
    a, b = x
    return both_signs(np.array([a**2 + b**2 + a * b, np.sin(a), np.cos(b)]))


# --- fits to data, largest residual -----------------------------------------------------------

BARD_Y = np.array(
    [
        0.14,
        0.18,
        0.22,
        0.25,
        0.29,
        0.32,
        0.35,
        0.39,
        0.37,
        0.58,
        0.73,
        0.96,
        1.34,
        2.10,
        4.39,
    ]
)
KOWALIK_OSBORNE_Y = np.array(
    [
        0.1957,
        0.1947,
        0.1735,
        0.1600,
        0.0844,
        0.0627,
        0.0456,
        0.0342,
        0.0323,
        0.0235,
        0.0246,
    ]
)
KOWALIK_OSBORNE_U = np.array(
    [4, 2, 1, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625]
)


def bard(x: Floats) -> Floats:
    """15 points; Bard, SIAM J. Numer. Anal. 7 (1970), from memory. Poles where b and c have unlike signs."""
    a, b, c = x
    u = np.arange(1.0, 16.0)
    v = 16.0 - u
    return both_signs(BARD_Y - (a + u / (v * b + np.minimum(u, v) * c)))


def kowalik_osborne(x: Floats) -> Floats:
    """11 points; Kowalik and Osborne, Methods for unconstrained optimization problems, 1968, from memory."""
    a, b, c, d = x
    u = KOWALIK_OSBORNE_U
    return both_signs(
        a * (u**2 + b * u) / (u**2 + c * u + d) - KOWALIK_OSBORNE_Y
    )


def exponential(x: Floats) -> Floats:
    """EXP: e^t at 21 points of [-1, 1] by a line over a cubic. From memory."""
    a, b, c, d, e = x
    t = np.linspace(-1.0, 1.0, 21)
    return both_signs(
        (a + b * t) / (1 + c * t + d * t**2 + e * t**3) - np.exp(t)
    )


def evd_61(x: Floats) -> Floats:
    """EVD61: a sum of exponentials and sines at 51 points of [0, 5] by a lower one. From memory."""
    a, b, c, d, e, f = x
    t = np.linspace(0.0, 5.0, 51)
    y = 0.5 * np.exp(-t) - np.exp(-2 * t) + 0.5 * np.exp(-3 * t)
    y += 1.5 * np.exp(-1.5 * t) * np.sin(7 * t) + np.exp(-2.5 * t) * np.sin(
        5 * t
    )
    return both_signs(
        a * np.exp(-b * t) * np.cos(c * t + d) + e * np.exp(-f * t) - y
    )


# --- the problems -----------------------------------------------------------------------------

# CB2: one public file of test problems prints 1.9523248, which is wrong; its point gives the value here.
MINIMAX = {
    "CB2": MinimaxProblem(
        cb2, (-5, -5), (5, 5), start=(1.0, -0.1), second_start=(2.0, 2.0),
        optimum=1.95222449, last_digit=1e-8, source=REPORT, point=(1.139038, 0.899560),
    ),
    "DEM": MinimaxProblem(
        dem, (-5, -5), (5, 5), start=(1.0, 1.0), second_start=(-2.0, -1.0),
        optimum=-3.0, last_digit=1e-9, source=REPORT, point=(0.0, -3.0),
    ),
    "LQ": MinimaxProblem(
        lq, (-5, -5), (5, 5), start=(-0.5, -0.5), second_start=(1.5, 0.2),
        optimum=-np.sqrt(2.0), last_digit=1e-9, source=REPORT, point=(np.sqrt(0.5), np.sqrt(0.5)),
    ),
    "Mifflin1": MinimaxProblem(
        mifflin_1, (-5, -5), (5, 5), start=(0.8, 0.6), second_start=(-1.0, -2.0),
        optimum=-1.0, last_digit=1e-9, source=REPORT, point=(1.0, 0.0),
    ),
    "Rosen-Suzuki": MinimaxProblem(
        rosen_suzuki, (-5,) * 4, (5,) * 4, start=(0.0,) * 4, second_start=(3.0, -2.0, 1.0, 2.0),
        optimum=-44.0, last_digit=1e-9, source=REPORT, point=(0.0, 1.0, 2.0, -1.0),
    ),
    "Wong 1": MinimaxProblem(
        wong_1, (-10,) * 7, (10,) * 7,
        start=(1.0, 2.0, 0.0, 4.0, 0.0, 1.0, 1.0), second_start=(5.0, -3.0, 2.0, 6.0, -1.0, -2.0, 3.0),
        optimum=680.630057, last_digit=1e-6, source=REPORT,
    ),
    "Bard": MinimaxProblem(  # the optimum is a line of points: a = .0534694, b + c = 3.5
        bard, (-2, 0.1, 0.1), (3, 6, 6), start=(1.0, 1.0, 1.0), second_start=(-0.5, 4.0, 0.5),
        optimum=0.0508163265, last_digit=1e-10, source=f"{REPORT}; data from memory",
    ),
    "Kowalik-Osborne": MinimaxProblem(  # no poles in the box: u^2 + c u + d > 0
        kowalik_osborne, (-1, -2, -0.1, 0.01), (1, 2, 1, 1),
        start=(0.25, 0.39, 0.415, 0.39), second_start=(0.1, -0.5, 0.8, 0.7),
        optimum=0.00808436839, last_digit=1e-11, source=f"{REPORT}; data from memory",
    ),
    "EXP": MinimaxProblem(  # in corners of the box the cubic has roots, and the functions poles
        exponential, (-1, -1, -1, -0.5, -0.5), (2, 2, 0.5, 0.5, 0.5),
        start=(0.5, 0.0, 0.0, 0.0, 0.0), second_start=(1.5, -0.3, -0.3, 0.2, 0.1),
        optimum=1.22371251e-4, last_digit=1e-12, source=f"{REPORT}; from memory",
    ),
    "EVD61": MinimaxProblem(  # 51 points and the phase d; other texts differ in both
        evd_61, (0, 0, 3, -4, -4, -1), (5, 5, 10, 2, 4, 4),
        start=(2.0, 2.0, 7.0, 0.0, -2.0, 1.0), second_start=(1.0, 1.0, 6.5, -1.0, 0.5, 1.5),
        optimum=0.0349049265, last_digit=1e-10, source=f"{REPORT}; from memory",
    ),
    "MAD1": MinimaxProblem(
        mad_1, (-5, -5), (5, 5), start=(1.0, 2.0), second_start=(-2.0, 3.0),
        optimum=-0.389659516, last_digit=1e-9, source=REPORT, slopes=((1.0, 1.0),), least=(0.5,),
    ),
    "MAD2": MinimaxProblem(  # -37/112, least of 7 a^2 + 12.5 a + 5.25; the second start breaks the limit
        mad_1, (-5, -5), (5, 5), start=(-2.0, -1.0), second_start=(1.0, 2.0),
        optimum=-0.330357143, last_digit=1e-9, source=REPORT, slopes=((-3.0, -1.0),), least=(2.5,),
        point=(-25 / 28, 5 / 28),
    ),
    "MAD4": MinimaxProblem(
        mad_4, (-5, 0.001), (5, 5), start=(-1.0, 0.01), second_start=(2.0, 0.2),
        optimum=-0.448910786, last_digit=1e-9, source=f"{REPORT}; start from memory",
        slopes=((0.05, -1.0),), least=(-0.5,),
    ),
    "MAD5": MinimaxProblem(
        mad_4, (-5, 0.001), (5, 5), start=(-1.0, 3.0), second_start=(1.0, 4.0),
        optimum=-0.429280615, last_digit=1e-9, source=f"{REPORT}; start from memory",
        slopes=((-0.9, 1.0),), least=(1.0,),
    ),
    "Madsen": MinimaxProblem(
        madsen, (-5, -5), (5, 5), start=(3.0, 1.0), second_start=(-1.0, 2.0),
        optimum=0.616432436, last_digit=1e-9, source="Madsen, J. IMA 16 (1975) 321, from memory",
        point=(0.453296, -0.906592),
    ),
}  # fmt: skip
