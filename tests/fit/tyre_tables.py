"""Tables as a rig would give them, of invented tyres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import beta

from setupopt.fit.tyre_rig import READING, TYRE, read_off
from setupopt.fit.tyre_table import COLUMNS, QUANTITIES, SLIP, STIFFNESS
from setupopt.units import BAR, DEG

Row = tuple[float, float, float]  # load N, inclination deg, pressure bar
CurveRow = tuple[float, float, float, float]  # and slip angle deg
HEAD = ("load_N", "inclination_deg", "pressure_bar")
PRESS = QUANTITIES[:5]  # what a press and a drag test give
PLAIN = (*PRESS, STIFFNESS)
# A day's programme: four loads, four inclinations, three pressures
PROGRAMME = [(n, i, p) for n in (1500.0, 3000.0, 4500.0, 6000.0) for i in (-6.0, -3.0, 0.0, 3.0)
             for p in (1.2, 1.5, 1.8)]  # fmt: skip
# Slip curves: two loads, three inclinations, one pressure
CURVES = [(n, i, 1.5, a) for n in (1500.0, 4500.0) for i in (-4.0, 0.0, 4.0)
          for a in (-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0)]  # fmt: skip


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
    shear: float = 1.6
    thrust: float = 0.6
    carcass: float = 0.0
    carcass_per_pressure: float = 0.0
    relaxation: float = 0.21

    @property
    def key_values(self) -> dict[str, float]:
        """By the keys of the file; friction at 150 kPa."""
        return {
            "radius_mm": 280.0, "tread_width_mm": 230.0, "crown_radius_mm": 1100.0,
            "foundation_N_per_mm3": self.foundation / 1e9,
            "foundation_per_bar_N_per_mm3": self.per_pressure / 1e4,
            "friction": 1.62, "friction_exponent": 0.18, "inclination_compliance_deg_per_kN": 0.8,
            "shear_per_foundation": 1.6,
        }  # fmt: skip

    @property
    def more_key_values(self) -> dict[str, float]:
        """Those that car.toml has a default for, and the relaxation length, too."""
        more = {
            "camber_thrust_share": 0.6, "carcass_N_per_mm": self.carcass / 1e3,
            "carcass_per_bar_N_per_mm": self.carcass_per_pressure * 100.0, "relaxation_mm": 210.0,
        }  # fmt: skip
        return self.key_values | more


# On a carcass of 150 N/mm at no pressure and 60 N/mm per bar, with a tread four times as stiff
SOFT = Invented(
    foundation=2.4e7,
    per_pressure=640.0,
    carcass=150e3,
    carcass_per_pressure=0.6,
)


def answers(
    tyre: Invented,
    rows: Sequence[Row] | Sequence[CurveRow],
    grip: float = 1.0,
    from_touch: bool = False,
) -> np.ndarray:
    """(rows, quantities) in SI, by the kernels of the rig; without slip angles no curves."""
    one = np.zeros(1, TYRE)[0]
    readings = np.zeros(len(rows), READING)
    for name in TYRE.names:
        one[name] = getattr(tyre, name, 0.0)
    one.friction = grip * tyre.friction
    one.beta = beta(0.5, 2.0 - tyre.exponent)
    load, inclination, pressure, *slip = np.array(rows, dtype=float).T
    readings["load"] = load
    readings["inclination"] = inclination * DEG
    readings["pressure"] = pressure * BAR
    readings["side"] = 1.0
    readings["slip"] = slip[0] * DEG if slip else np.nan
    readings["stiffness"] = 1.0
    out = np.empty((len(rows), len(QUANTITIES)))
    read_off(one, readings, float(from_touch), out)
    return out


def write(
    path: Path, rows: Sequence[Row] | Sequence[CurveRow], values: np.ndarray, keep: Sequence[str] = (),
    extra: str = "",
) -> Path:  # fmt: skip
    """A table of conditions and of `values` (rows, quantities) in SI, of which the columns `keep`.

    Left out: what a press, a drag test and small slip angles give, as far as `values` has it.
    """
    keep = keep or [
        key for key in PLAIN if QUANTITIES.index(key) < values.shape[1]
    ]
    head = HEAD if len(rows[0]) == 3 else (*HEAD, SLIP)
    lines = [",".join((*head, *keep))]
    for row, found in zip(rows, values, strict=True):
        own = [
            found[QUANTITIES.index(key)] / COLUMNS[key].factor for key in keep
        ]
        lines.append(
            ",".join(
                f"{cell:.9g}" if np.isfinite(cell) else ""
                for cell in (*row, *own)
            )
        )
    path.write_text("\n".join(lines) + "\n" + extra)
    return path


def noisy(values: np.ndarray, seed: int, share: float = 0.02) -> np.ndarray:
    """Every value off by chance, by so much of itself."""
    return values * (
        1.0 + share * np.random.default_rng(seed).normal(size=values.shape)
    )
