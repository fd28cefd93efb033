"""C. J. Dodds and J. D. Robson, The description of road surface roughness, J. Sound Vib. 31 (1973) 175-183.

From memory, not seen: a road's surface is taken to be isotropic, so that one track's spectrum gives the
cross spectrum of any two. No number is quoted; the closed form is held against integrals that do not use it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import k1

from setupopt.robust.road.spectrum import Road


@pytest.mark.parametrize("waviness", [1.6, 2.0, 2.5, 3.0])
@pytest.mark.parametrize("phase", [0.05, 0.3, 1.0, 3.0])
def test_integral_over_the_plane(waviness: float, phase: float) -> None:
    """Spectrum k^-(w+1) in the plane, cut at an offset: integral over k2 of S2 cos(k2 t), by quadrature."""
    track = 1.5
    k_along = phase / track

    def plane(k_across: float) -> float:
        return float(np.hypot(k_along, k_across) / k_along) ** -(waviness + 1)

    cut = quad(
        plane, 0, np.inf, weight="cos", wvar=track, epsabs=1e-10, limlst=200
    )[0]
    own = quad(plane, 0, np.inf, epsabs=1e-10)[0]
    found = float(Road(1.0, waviness).coherence(k_along / (2 * np.pi), track))
    assert found == pytest.approx(cut / own, abs=1e-8)


@pytest.mark.parametrize("waviness", [1.5, 2.0, 2.5])
@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0, 90.0])
def test_surface_is_as_rough_across_as_along(
    waviness: float, angle_deg: float
) -> None:
    """Mean square of the difference in height of two points 1.7 m apart, the same in every direction.

    Twice the integral of G_d(n) (1 - g(n, t) cos(2 pi n d)); along a track that is, for w = 2,
    2 pi^2 n0^2 G_d(n0) times the distance. By trapezoids to 1e-3, the tail beyond 100 cycles/m added.
    """
    road, apart = Road(1.0, waviness), 1.7
    along, across = (
        apart * np.cos(np.radians(angle_deg)),
        apart * np.sin(np.radians(angle_deg)),
    )

    def difference(d: float, t: float) -> float:
        n = np.concatenate(
            [
                np.geomspace(1e-7, 0.01, 4_001),
                np.linspace(0.01, 100, 100_001)[1:],
            ]
        )
        density = road.psd(n) * (
            1 - road.coherence(n, t) * np.cos(2 * np.pi * n * d)
        )
        tail = float(road.variance(100, 1e12))
        return 2 * (float(np.trapezoid(density, n)) + tail)

    assert difference(along, across) == pytest.approx(
        difference(apart, 0.0), rel=1e-3
    )
    if waviness == 2.0:
        assert difference(along, across) == pytest.approx(
            2 * np.pi**2 * 0.01 * apart, rel=1e-3
        )


def test_waviness_of_two_takes_k1() -> None:
    """x K_1(x) with x = 2 pi n t, by scipy's own K_1; 1 for one and the same track."""
    n = np.geomspace(1e-3, 2.83, 50)
    x = 2 * np.pi * n * 1.4
    assert Road(1.0).coherence(n, 1.4) == pytest.approx(x * k1(x), rel=1e-12)
    assert Road(1.0, 2.7).coherence(n, 0.0) == pytest.approx(
        np.ones(50), abs=1e-11
    )
