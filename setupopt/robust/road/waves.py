"""A random road in waves: what two tracks share of each, and how a car's contacts meet them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from setupopt.robust.road.spectrum import Contacts, Numbers, Road, patch_gain

Complex = NDArray[np.complex128]


class Waves(NamedTuple):
    """A random road under two tracks, in waves that they share and waves that they have against each other.

    wavenumber (points,), cycles/m; size (points, tracks, halves), root of the spectrum of each.
    """

    wavenumber: Numbers
    size: Numbers


def waves(road: Road, track: float, points: int) -> Waves:
    """Waves over the road's band, in equal ratios, for tracks so many metres apart.

    Of the spectrum of either track (1 + g) / 2 is shared and (1 - g) / 2 is not, g: coherence.
    """
    wavenumber = np.geomspace(*road.band, points)
    alike = road.coherence(wavenumber, track)
    shared, apart = (
        np.sqrt(0.5 * road.psd(wavenumber) * (1.0 + sign * alike))
        for sign in (1.0, -1.0)
    )
    return Waves(
        wavenumber,
        np.stack([shared, apart, shared, -apart], axis=-1).reshape(-1, 2, 2),
    )


def under(contacts: Contacts, road: Waves) -> Complex:
    """The waves as each contact meets them, (points, contacts, halves)."""
    n = road.wavenumber[:, None]
    late = patch_gain(n, contacts.patch) * np.exp(
        -2j * np.pi * n * contacts.behind
    )
    sides = np.where(contacts.side > 0.0, 0, 1)
    return late[:, :, None] * road.size[:, sides, :]
