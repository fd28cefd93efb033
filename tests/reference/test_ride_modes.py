"""Ride frequencies and damping: a handbook's quarter car on four corners, closed forms, cautions.

J. Y. Wong, Theory of Ground Vehicles, chapter 7 (from memory): 454.5 kg on 22 kN/m, a wheel of 45.5 kg on a
tyre of 176 kN/m; natural frequencies 1.04 and 10.5 Hz.
"""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.evaluation.ride_modes import (
    MODES,
    Modes,
    RideModes,
    natural_modes,
)

BODY, WHEEL, SPRING, TYRE = 454.5, 45.5, 22e3, 176e3
HALF_BASE, HALF_TRACK = 1.3, 0.75  # m
PITCH, ROLL = 1900.0, 600.0  # kg m2


def modes(damper: float) -> Modes:
    """Of four corners under one body: heave up, pitch about y, roll about x; wheels at front left and so on."""
    x = np.array([HALF_BASE, HALF_BASE, -HALF_BASE, -HALF_BASE])
    y = np.array([HALF_TRACK, -HALF_TRACK, HALF_TRACK, -HALF_TRACK])
    lengths = np.hstack(
        [-np.ones((4, 1)), x[:, None], -y[:, None], np.eye(4)]
    )  # of the springs, by state
    on_tyres = np.diag([0.0, 0.0, 0.0, TYRE, TYRE, TYRE, TYRE])
    stiffness = SPRING * lengths.T @ lengths + on_tyres
    mass = np.array([4.0 * BODY, PITCH, ROLL, *4 * [WHEEL]])
    return natural_modes(mass, damper * lengths.T @ lengths, stiffness)


def quarter_roots(
    body: float, spring: float, tyre: float, damper: float
) -> np.ndarray:
    """Roots of one corner's characteristic polynomial, as handbooks print it."""
    return np.roots([
        body * WHEEL, damper * (body + WHEEL), body * (spring + tyre) + spring * WHEEL, damper * tyre,
        spring * tyre,
    ])  # fmt: skip


def test_a_handbooks_quarter_car() -> None:
    """To half of the last printed digit and the 0.4 % that body and wheel, moving together, add."""
    found = modes(0.0).natural
    assert found[MODES.index("heave")] == pytest.approx(1.04, abs=0.005 + 0.004)
    assert found[4:] == pytest.approx(np.full(4, 10.5), abs=0.05)
    assert found[MODES.index("warp")] == pytest.approx(10.5, abs=0.05)


@pytest.mark.parametrize(
    ("mode", "body"),
    [
        ("heave", BODY),
        ("pitch", PITCH / 4.0 / HALF_BASE**2),
        ("roll", ROLL / 4.0 / HALF_TRACK**2),
    ],
)
def test_every_motion_of_the_body_is_a_quarter_car(
    mode: str, body: float
) -> None:
    """A symmetrical car falls apart into quarter cars; the roots of a polynomial to 1e-9 of each."""
    row = MODES.index(mode)
    for damper in (0.0, 1500.0, 30e3):
        roots = quarter_roots(body, SPRING, TYRE, damper)
        swings = roots[roots.imag > 0.0]
        lowest = swings[np.abs(swings).argmin()]
        found = modes(damper)
        assert found.swing[row] == pytest.approx(
            abs(lowest) / 2.0 / np.pi, rel=1e-9
        )
        assert found.swing_ratio[row] == pytest.approx(
            -lowest.real / abs(lowest), rel=1e-9, abs=1e-9
        )


def test_light_dampers_swing_as_the_handbook_ratio_says() -> None:
    """The modal ratio is the first order of the true one: equal to 1 % where damping is 2 %."""
    found = modes(130.0)
    assert found.ratio[:3] == pytest.approx(found.swing_ratio[:3], rel=0.01)
    assert found.natural[:3] == pytest.approx(found.swing[:3], rel=1e-3)
    critical = 2.0 * np.sqrt((SPRING + TYRE) * WHEEL)
    assert found.ratio[4:] == pytest.approx(
        np.full(4, 130.0 / critical), rel=1e-12
    )


def test_stiff_dampers_carry_the_body_on_its_tyres() -> None:
    """Locked suspension: the whole corner on the tyre, of which no damper takes anything (limit, to 2 %)."""
    found = modes(1e6)
    assert found.swing[0] == pytest.approx(
        np.sqrt(TYRE / (BODY + WHEEL)) / 2.0 / np.pi, rel=0.02
    )
    assert found.swing_ratio[0] < 0.02
    assert np.isnan(found.swing[3:]).all()


def test_both_ends_are_cautioned() -> None:
    """Too much and too little damping are said, with the names; what lies between is not."""
    said = [list(RideModes(Modes(*(part[None] for part in modes(damper))), 0, 0).cautions)
            for damper in (1700.0, 100.0, 1e5)]  # fmt: skip
    assert said[0] == []
    assert "hardly damped" in said[1][0]
    assert "heave" in said[1][0]
    over, hardly = said[2]
    assert over.startswith("over-critical")
    assert "wheel rr" in over
    assert "heave" in hardly
