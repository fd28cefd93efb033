"""The linear car on a random road by frequencies and by the Lyapunov equation: what the product is held to."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from linear_ride import Complex, LinearSystem, Numbers
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import simpson
from scipy.linalg import solve_continuous_lyapunov

from setupopt.robust.road.spectrum import N0, Contacts, Road, patch_gain


class Output(NamedTuple):
    """Rows of what is asked for: position q + velocity q' + acceleration q'' + road e + road_velocity e'."""

    position: Numbers  # (outputs, dof), as the next two
    velocity: Numbers
    acceleration: Numbers
    road: Numbers  # (outputs, inputs), as the next
    road_velocity: Numbers


def output(system: LinearSystem, **parts: ArrayLike) -> Output:
    """Output rows of a system; parts that are left out are zero, a single row serves all outputs."""
    given = [np.atleast_2d(parts.pop(name, 0.0)) for name in Output._fields]
    assert not parts
    count = max(len(part) for part in given)
    widths = 3 * (system.dof,) + 2 * (system.road_stiffness.shape[1],)
    return Output(
        *(
            np.broadcast_to(p, (count, width))
            for p, width in zip(given, widths, strict=True)
        )
    )


def frequency_response(
    system: LinearSystem, rows: Output, frequency: Numbers
) -> Complex:
    """Outputs to road heights e exp(2 pi i f t), each wheel's on its own: (frequencies, outputs, inputs)."""
    s = 2j * np.pi * np.asarray(frequency)[:, None, None]
    left = s**2 * system.mass + s * system.damping + system.stiffness
    displacement = np.linalg.solve(
        left, system.road_stiffness + s * system.road_damping
    )
    motion = rows.position + s * rows.velocity + s**2 * rows.acceleration
    return motion @ displacement + rows.road + s * rows.road_velocity


class ResponseSpectra(NamedTuple):
    """One-sided spectra of outputs: (frequencies, outputs), per Hz; frequencies (frequencies,) in Hz."""

    frequency: Numbers
    density: Numbers

    def moment(self, order: int) -> Numbers:
        """Integral of (2 pi f)^order G(f) df: (outputs,). Order 0 is the variance, 2 that of the rate."""
        weight = (2 * np.pi * self.frequency[:, None]) ** order
        return simpson(weight * self.density, x=self.frequency, axis=0)


def response_density(response: Complex, road: Complex) -> Numbers:
    """Spectra of outputs (frequencies, outputs): `response` (frequencies, outputs, inputs) times the spectra
    of the road under the wheels (frequencies, inputs, inputs)."""
    return np.einsum(
        "foi,fij,foj->fo", response, road, response.conj(), optimize=True
    ).real


_NOTHING = 1e-6  # of the terms that cancel


def response_to_road(
    system: LinearSystem,
    rows: Output,
    road: Road,
    contacts: Contacts,
    speed: float,
    points: int = 2001,
) -> ResponseSpectra:
    """Spectra of the outputs on a random road at a speed in m/s, over the road's band.

    The frequencies stand as speed x wavenumber, in equal ratios: 2001 over ISO 8608's band are 0.28 % apart,
    which resolves a damping ratio of 1 % and any wheelbase below 10 m.
    """
    wavenumber = np.geomspace(*road.band, points)
    frequency = speed * wavenumber
    response = frequency_response(system, rows, frequency)
    under = wheel_spectra(road, wavenumber, contacts) / speed
    return ResponseSpectra(frequency, response_density(response, under))


def white_covariance(
    system: LinearSystem, rows: Output, intensity: ArrayLike
) -> Numbers:
    """Covariance (outputs, outputs) where the road's velocity is white noise, an unlimited band of w = 2.

    `intensity` W (inputs, inputs), two-sided: E[e'(t) e'(t')] = W delta(t - t'). Counted from where the car
    would stand at rest, p = q - R e with K R = B, the state (p, q') is stationary: A P + P A' + N W N' = 0.
    Raises ValueError where an output follows the height of such a road, or holds the white noise itself, so
    that its variance is infinite: of four wheels on four roads of their own, even the load at rest is.
    """
    w = np.atleast_2d(intensity)
    at_rest = np.linalg.solve(system.stiffness, system.road_stiffness)
    kick = system.forced(system.road_damping)
    _require_nothing(rows.position, at_rest, rows.road, w)
    _require_nothing(
        rows.acceleration, kick[system.dof :], rows.road_velocity, w
    )
    noise = kick - np.vstack([at_rest, np.zeros_like(at_rest)])
    free = system.free()
    state = solve_continuous_lyapunov(free, -noise @ w @ noise.T)
    seen = (
        np.hstack([rows.position, rows.velocity])
        + rows.acceleration @ free[system.dof :]
    )
    return seen @ state @ seen.T


def _require_nothing(
    rows: Numbers,
    columns: NDArray[np.floating],
    direct: Numbers,
    intensity: Numbers,
) -> None:
    """Refuses (rows x columns + direct) x intensity unless it cancels."""
    found = (rows @ columns + direct) @ intensity
    terms = (np.abs(rows) @ np.abs(columns) + np.abs(direct)) @ np.abs(
        intensity
    )
    if np.any(np.abs(found) > _NOTHING * terms):
        raise ValueError(
            "under white road velocity the variance of this output is infinite"
        )


def slope_psd(road: Road, wavenumber: ArrayLike) -> Numbers:
    """Spectrum of a road's slope, ISO 8608's velocity form: (2 pi n)^2 G_d(n), m; level for w = 2.

    At speed V the road's vertical velocity has V times this spectrum, per Hz.
    """
    return (2 * np.pi * np.asarray(wavenumber)) ** 2 * road.psd(wavenumber)


def wheel_spectra(
    road: Road, wavenumber: Numbers, contacts: Contacts
) -> NDArray[np.complex128]:
    """Spectra of the heights under the wheels, m2 per cycle/m, (wavenumbers, wheels, wheels).

    Entry (i, j) is that of wheel i times the conjugate of wheel j; each wheel averages over its patch
    and meets the road late by the distance it stands behind.
    """
    across = np.abs(np.subtract.outer(contacts.side, contacts.side))
    n = np.asarray(wavenumber)[:, None]
    late = np.exp(-2j * np.pi * n * contacts.behind)
    wheel = patch_gain(n, contacts.patch) * late
    pairs = wheel[:, :, None] * wheel[:, None, :].conj()
    alike = road.coherence(n[:, :, None], across)
    return pairs * alike * road.psd(n[:, :, None])


def white_intensity(road: Road, speed: float) -> float:
    """W of the vertical velocity of a road with w = 2, E[e'(t) e'(t')] = W delta(t - t'), m2/s.

    W = 2 pi^2 G_d(n0) n0^2 V: half of the one-sided, level spectrum of the velocity.
    """
    assert road.waviness == 2.0
    return speed * float(slope_psd(road, N0)) / 2
