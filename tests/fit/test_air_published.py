"""The fit on published data: a wing in ground effect, and bodies of which clearance explains little."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

from fit.air_tables import attitudes, one_part
from setupopt.fit.air.fit import AirFit
from setupopt.fit.air.fits import fit_body
from setupopt.fit.air.oddities import oddities
from setupopt.project.model import Car

# Zerihan, PhD thesis, University of Southampton, 2001, figure 7a, single element, transition free, read off
# to 0.02; the largest height from its text. Quoted from notes, not seen first-hand.
CHORD = 0.2234  # m
HEIGHTS = np.array(
    [
        0.055,
        0.067,
        0.082,
        0.11,
        0.134,
        0.179,
        0.224,
        0.313,
        0.448,
        0.671,
        1.0,
        3.36,
    ]
)
LIFT = np.array(
    [1.60, 1.68, 1.72, 1.71, 1.61, 1.41, 1.26, 1.08, 0.93, 0.84, 0.77, 0.69]
)
WINDSOR = Path(__file__).parents[1] / "reference" / "data" / "windsorml"


def front_only(car: Car, heights: np.ndarray, areas: np.ndarray) -> AirFit:
    """A part over the front axle at heights (m), its downforce per dynamic pressure (m2) measured there."""
    still = {"body_roll": 0.0, "yaw": 0.0, "curvature": 0.0}
    rows = replace(
        attitudes(heights.size, **still), front_ride=heights, rear_ride=heights
    )
    rows.forces[:, 0] = areas * rows.pressure
    return fit_body("a", "a", car, rows.in_order())


@pytest.mark.parametrize(
    ("ground", "peak"), [(1.0, 0.1), (0.5, 0.2), (2.0, 0.05)]
)
def test_a_wing_in_ground_effect_peaks_where_it_was_measured(
    ground: float, peak: float
) -> None:
    """From any of three wings to start with. The peak lies between the heights printed on both sides of the
    highest one (0.067 and 0.11 chords), as high as printed (1.72, to 0.02), 2.1 to 2.6 times the free one."""
    fit = front_only(
        one_part(0.7, ground, peak * CHORD, CHORD), CHORD * HEIGHTS, LIFT
    )
    wing = fit.air.elements[0]
    assert 0.067 < wing.peak_gap / CHORD < 0.11
    top = wing.free_area + wing.ground_area
    assert top == pytest.approx(
        1.72, abs=0.02 + 0.005
    )  # and half a unit of its last digit
    assert 2.1 < top / wing.free_area < 2.6
    assert not fit.held


def test_the_wing_s_long_tail_is_not_in_the_model_and_shows() -> None:
    """Half a chord up the measured lift is still 1.35 times the free one, where the model's is gone: left-out
    rows are off by more than the figure could be read (0.02 of 1.3, 1.5 %)."""
    error = front_only(
        one_part(0.7, 1.0, 0.1 * CHORD, CHORD), CHORD * HEIGHTS, LIFT
    ).error(0)
    assert error is not None
    assert 0.02 < error < 0.08


@cache
def windsor() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Clearances in m, downforce coefficients, and all geometry (runs, 7) of the open data set."""
    read = {"delimiter": ",", "skip_header": 1}
    forces = np.genfromtxt(WINDSOR / "force_mom_all.csv", **read)
    geometry = np.genfromtxt(WINDSOR / "geo_parameters_all.csv", **read)
    assert (forces[:, 0] == geometry[:, 0]).all()
    return 1e-3 * geometry[:, 5], -forces[:, 3], geometry[:, 1:]


def explained(foretold: np.ndarray, measured: np.ndarray) -> float:
    """Cross-validated R2: against the mean of all others."""
    count = measured.size
    alone = (measured - measured.mean()) * count / (count - 1)
    return 1.0 - float(((foretold - measured) ** 2).sum() / (alone**2).sum())


def linear(columns: np.ndarray, measured: np.ndarray) -> np.ndarray:
    """Each row by least squares on all others, in closed form."""
    columns = np.column_stack([np.ones(measured.size), columns])
    hat = columns @ np.linalg.pinv(columns)
    return measured - (measured - hat @ measured) / (1.0 - np.diag(hat))


def curved(heights: np.ndarray, measured: np.ndarray) -> np.ndarray:
    """Each tenth of the rows by scipy's fit of the same shape to the others."""

    def shape(
        h: np.ndarray, free: float, ground: float, peak: float
    ) -> np.ndarray:
        return free + ground * h / peak * np.exp(1.0 - h / peak)

    foretold = np.empty(measured.size)
    for fold in range(10):
        out = np.arange(measured.size) % 10 == fold
        found, _ = curve_fit(
            shape, heights[~out], measured[~out], p0=(-0.15, 0.3, 0.05)
        )
        foretold[out] = shape(heights[out], *found)
    return foretold


@cache
def windsor_fit() -> AirFit:
    """A body that lifts, and a floor under it."""
    heights, downforce, _ = windsor()
    car = one_part(-0.15, 0.0, 0.05, 1.0)
    body = replace(car.air.elements[0], name="body", span=0.3)
    floor = replace(body, name="floor", free_area=0.0, ground_area=0.2)
    car = replace(car, air=replace(car.air, elements=(body, floor)))
    return front_only(car, heights, downforce)


def test_clearance_explains_little_of_bodies_of_many_shapes() -> None:
    """355 open simulations of a simple body (Ashton and others, 2024), all of whose shape changes. A straight
    line, scipy's fit of the same curve and this fit agree that clearance explains a few per cent of the
    downforce, to 5 points of R2; and all geometry together explains more, which the fit does not claim."""
    heights, downforce, geometry = windsor()
    ours = windsor_fit().explained(0)
    assert ours is not None
    line = explained(linear(heights[:, None], downforce), downforce)
    curve = explained(curved(heights, downforce), downforce)
    print(
        f"\nclearance explains {ours:.3f} of the downforce; a line {line:.3f}, scipy's curve {curve:.3f}"
    )
    assert ours == pytest.approx(line, abs=0.05)
    assert ours == pytest.approx(curve, abs=0.05)
    assert 0.0 < ours < 0.1
    assert explained(linear(geometry, downforce), downforce) > 2.0 * max(
        ours, line, curve
    )


def test_what_clearance_does_not_explain_is_in_the_error() -> None:
    """Close to the root mean square of the downforce itself: nobody may take this for a fit. The least error
    that explains no more than a tenth is sqrt(0.9) of the scatter."""
    fit, (_, downforce, _) = windsor_fit(), windsor()
    error = fit.error(0)
    assert error is not None
    assert error > 0.95 * downforce.std() / np.sqrt((downforce**2).mean())
    said = next(
        one
        for one in oddities(fit)
        if one.startswith("downforce_front_N: left-out rows")
    )
    share = 100.0 * (fit.explained(0) or 0.0)
    assert (
        f"{100.0 * error:.0f} % off, and {share:.0f} % of its changes explained"
        in said
    )


def test_less_clearance_is_less_lift_in_the_fit_too() -> None:
    """As the data's bins show (10 to 41 mm against 134 to 166 mm, means differ by five standard errors)."""
    heights, downforce, _ = windsor()
    floor = windsor_fit().air.elements[1]
    low, high = (
        downforce[(heights > a) & (heights < b)].mean()
        for a, b in ((0.010, 0.041), (0.134, 0.166))
    )
    assert low > high
    near, far = (0.025 / floor.peak_gap, 0.15 / floor.peak_gap)
    assert (
        floor.ground_area
        * (near * np.exp(1.0 - near) - far * np.exp(1.0 - far))
        > 0.0
    )
