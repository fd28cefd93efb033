"""Closed forms: derived in a line or two, printed by nobody. The model must meet them; no outside truth."""

from __future__ import annotations

from collections.abc import Callable
from math import atan, pi, sqrt

import test_gobbi_mastinu_2001 as gobbi
import test_johnson_1985 as johnson
import test_kropac_mucka_2005 as kropac
import test_rice_1945 as rice
import test_sayers_1986 as sayers
from cars import STIFF_SETUP
from random_ride import white_intensity
from scipy.optimize import brentq
from test_abramowicz_szuszkiewicz_1993 import slowest
from test_closed_forms import (
    SETUP,
    hard_car,
    margins,
    moments,
    point_mass,
    transfer,
)

from setupopt.robust.level_crossings import (
    crossing_rate,
)
from setupopt.robust.road.spectrum import CLASSES, Road

from .check import Check, half_digit, plain
from .sources import OWN


def _derived(
    quantity: str, unit: str, value: str, ours: Callable[[], float], why: str, within: float | None = None,
    decimals: int | None = None,
) -> Check:  # fmt: skip
    """To half a digit of the value as worked out, unless more is said to be open."""
    open_ = half_digit(value) * 1.02 if within is None else within
    return Check(
        quantity, unit, value, ours, open_, why, OWN, "derivation", decimals
    )


def _least_downforce(friction: float) -> float:
    """Of a point mass at the worst angle, over its weight."""
    car, angle = point_mass(friction), pi - atan(1.0 / friction)
    weights = sqrt(1.0 + 1.0 / friction**2)
    return float(
        brentq(
            lambda w: margins(car, angle, w)[0],
            0.98 * weights,
            1.02 * weights,
            xtol=1e-9,
        )
    )


def _round_the_axis(angle_deg: float) -> float:
    """Moment of the tyres about the axis of a bore over that of all else, whole invented car."""
    tyres, weight, rest = moments(angle_deg, SETUP)
    return tyres / (weight + rest)


def _transfer() -> float:
    """Of both axles, CG 0.45 m up, 1000 kg, 1.5 m track, at 9.81 m/s2."""
    return float(transfer(hard_car(0.45), STIFF_SETUP, 9.81).sum())


WHOLE_CAR = [
    *(
        _derived(f"downforce over weight at the worst angle, grip {friction}", "", value,
                 lambda friction=friction: _least_downforce(friction), "sqrt(1 + 1/mu^2)", 5e-6, 5)
        for friction, value in ((0.8, "1.60078106"), (1.0, "1.41421356"), (1.4, "1.22890361"),
                                (2.0, "1.11803399"))
    ),
    *(
        _derived(f"moment of the tyres about a bore's axis over all others, {angle} deg", "", "1.0000000",
                 lambda angle=angle: _round_the_axis(angle), "every normal meets the axis", 1e-7)
        for angle in (40.0, 100.0, 150.0)
    ),
    _derived("slowest speed round an upright cylinder of 5 m, grip 1", "m/s", "7.0024",
             lambda: slowest(5.0, 1.0, 1e-3), "sqrt(g R / mu), g = 9.80665; CG a millimetre up", 1.4e-3),
    _derived("load transfer of a stiff car, both axles", "N", "2943.00", _transfer,
             "m a h / t; hard, not rigid", 0.015),
]  # fmt: skip

PATCH = [
    _derived("load of a crowned patch, 8 mm deep", "N", "5061.012745", lambda: johnson.patch()[0],
             "pi k d^2 sqrt(R1 R2)"),
    _derived("area of that patch", "m2", "0.03163132966", lambda: johnson.patch()[2], "2 pi d sqrt(R1 R2)"),
    *(
        _derived(f"load of a flat tread leaning {lean:.0f} deg", "N", f"{row[0]:.6f}",
                 lambda lean=lean: johnson.patch(lean_deg=lean, crown=float("inf"), half=0.125)[0],
                 "integral of (4/3) k sqrt(2 R) e^1.5")
        for lean, row in johnson.FLAT_TREAD.items()
    ),
    *(
        _derived(f"friction of a patch over that at its mean pressure, n = {exponent:.3g}", "",
                 f"{ratio:.6f}", lambda exponent=exponent: johnson.ratio(exponent), "2^(1-n) / (2-n)")
        for exponent, ratio in johnson.MEAN_PRESSURE_RATIO.items()
    ),
]  # fmt: skip


def _random_car(number: int, row: int) -> float:
    return float(gobbi.by_lyapunov(list(gobbi.WORKED)[number])[row])


ROAD = [
    *(
        _derived(f"quarter car {number + 1}, variance of the {name}", unit, plain(value),
                 lambda number=number, row=row: _random_car(number, row), "Lyapunov equation in symbols",
                 1e-9 * value, decimals)
        for number, (values, _) in enumerate(gobbi.WORKED.values())
        for row, (name, unit, value, decimals) in enumerate(
            zip(("travel", "body's acceleration", "tyre's load"), ("m2", "m2/s4", "N2"), values, (13, 8, 3),
                strict=True))
    ),
    _derived("variance of a road of class C, 0.011 to 2.83 cycles/m", "m2", "0.0002318227",
             lambda: float(Road(CLASSES["C"].mean).variance()), "integral of the power law"),
    _derived("white intensity of class A at 50 m/s", "m2/s", "0.00015791367",
             lambda: white_intensity(Road(CLASSES["A"].mean), 50.0), "2 pi^2 G n0^2 V"),
    *(
        _derived(f"gain of the roughness index at {wavelength} m", "", f"{gain:.4f}",
                 lambda wavelength=wavelength: sayers.gain(1 / wavelength),
                 "frequency answer of the quarter car")
        for wavelength, gain in sayers.GAIN.items() if wavelength in (30.0, 15.0, 5.0, 2.4)
    ),
    _derived("roughness index of a random road of class A", "mm/m", "2.2189",
             lambda: kropac.index(Road(CLASSES["A"].mean)), "Gaussian, by the Lyapunov equation"),
]  # fmt: skip


def _crossings(level: float) -> float:
    m0, m2, _ = rice.level_band(0.0, 10.0)
    return crossing_rate(level, m0, m2)


CHANCE = [
    *(
        _derived(f"crossings of {level:.0f} sigma, noise level to 10 Hz", "1/s", f"{rate:.6f}",
                 lambda level=level: _crossings(level), "10/sqrt(3) exp(-level^2/2)")
        for level, rate in rice.LOW_PASS.items()
    ),
]  # fmt: skip

CHECKS = [*WHOLE_CAR, *PATCH, *ROAD, *CHANCE]
