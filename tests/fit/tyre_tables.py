"""Tables as a rig would give them, of invented tyres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import beta

from setupopt.fit.tyre_rig import READING, TYRE, read_off
from setupopt.fit.tyre_table import COLUMNS, QUANTITIES
from setupopt.units import BAR, DEG

Row = tuple[float, float, float]  # load N, inclination deg, pressure bar
HEAD = ("load_N", "inclination_deg", "pressure_bar")
# A day's programme: four loads, four inclinations, three pressures
PROGRAMME = [(n, i, p) for n in (1500.0, 3000.0, 4500.0, 6000.0) for i in (-6.0, -3.0, 0.0, 3.0)
             for p in (1.2, 1.5, 1.8)]  # fmt: skip


@dataclass(frozen=True)
class Invented:
    """A slick of no make, in SI."""

    radius: float = 0.28
    half_width: float = 0.115
    crown_radius: float = 1.1
    foundation: float = 6e6
    per_pressure: float = 160.0
    friction: float = 1.62
    friction_pressure: float = 150e3
    exponent: float = 0.18
    compliance: float = 0.8 * DEG / 1e3

    @property
    def key_values(self) -> dict[str, float]:
        """By the keys of the file; friction at 150 kPa."""
        return {
            "radius_mm": 280.0, "tread_width_mm": 230.0, "crown_radius_mm": 1100.0,
            "foundation_N_per_mm3": 0.006, "foundation_per_bar_N_per_mm3": 0.016, "friction": 1.62,
            "friction_exponent": 0.18, "inclination_compliance_deg_per_kN": 0.8,
        }  # fmt: skip


def answers(tyre: Invented, rows: Sequence[Row], grip: float = 1.0, from_touch: bool = False) -> np.ndarray:
    """(rows, quantities) in SI, by the kernels of the rig."""
    one, readings = np.zeros(1, TYRE)[0], np.zeros(len(rows), READING)
    for name in TYRE.names:
        one[name] = getattr(tyre, name, 0.0)
    one.friction, one.beta = grip * tyre.friction, beta(0.5, 2.0 - tyre.exponent)
    load, inclination, pressure = np.array(rows, dtype=float).T
    readings["load"], readings["inclination"], readings["pressure"] = load, inclination * DEG, pressure * BAR
    readings["side"], out = 1.0, np.empty((len(rows), len(QUANTITIES)))
    read_off(one, readings, float(from_touch), out)
    return out


def write(
    path: Path, rows: Sequence[Row], values: np.ndarray, keep: Sequence[str] = QUANTITIES, extra: str = ""
) -> Path:
    """A table of conditions and of `values` (rows, quantities) in SI, of which the columns `keep`."""
    lines = [",".join((*HEAD, *keep))]
    for row, found in zip(rows, values, strict=True):
        own = [found[QUANTITIES.index(key)] / COLUMNS[key].factor for key in keep]
        lines.append(",".join(f"{cell:.9g}" if np.isfinite(cell) else "" for cell in (*row, *own)))
    path.write_text("\n".join(lines) + "\n" + extra)
    return path


def noisy(values: np.ndarray, seed: int, share: float = 0.02) -> np.ndarray:
    """Every value off by chance, by so much of itself."""
    return values * (1.0 + share * np.random.default_rng(seed).normal(size=values.shape))
