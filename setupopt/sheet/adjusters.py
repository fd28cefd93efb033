"""How one axle's settings are turned: shims, flats of a turn, positions of the bar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.project.limits_model import Adjuster
from setupopt.project.model import AXLES, Project
from setupopt.sheet.shims import shim_combination
from setupopt.units import BAR, DEG, MM, N_PER_MM, NS_PER_MM

FLATS = 6  # of a turn: a hexagon
Shims = tuple[tuple[float, int], ...]
_NO_TABLES = Adjuster(None, (), None, ())  # limits.toml has none


@dataclass(frozen=True)
class AxleTools:
    """What the mechanics have on one axle."""

    adjuster: Adjuster

    @property
    def turn(self) -> float | None:
        """Ride height of a turn, m."""
        return self.adjuster.ride_height_per_turn

    @property
    def per_shim(self) -> float | None:
        """Camber per thickness of shims, rad/m; None where shims or their effect are not given."""
        return self.adjuster.camber_per_shim if self.adjuster.shims else None

    @property
    def perch_unit(self) -> str:
        """Turns, or mm of ride height."""
        return "turns" if self.turn else "mm"

    @property
    def camber_unit(self) -> str:
        """Millimetres of shim, or degrees."""
        return "mm of shim" if self.per_shim else "deg"

    def per_unit(self, unit: str) -> float:
        """SI change of the setting for one unit of an amount."""
        known = {
            "bar": BAR,
            "N/mm": N_PER_MM,
            "N s/mm": NS_PER_MM,
            "mm": MM,
            "deg": DEG,
        }
        if unit == "turns":
            return float(self.turn or 0.0)
        return (
            MM * float(self.per_shim or 0.0)
            if unit == "mm of shim"
            else known[unit]
        )

    # ---- ride height --------------------------------------------------------------------------------------

    def in_units(self, move: float) -> float:
        """A move of the perch, m, in turns or mm."""
        return move / self.per_unit(self.perch_unit)

    def perch_amount(self, move: float) -> float:
        """The amount that can be turned: whole flats, or tenths of a mm without a table."""
        parts = FLATS if self.turn else 10
        return round(self.in_units(move) * parts) / parts

    def raised(self, amount: float) -> float:
        """Height at the wheel, m, that an amount moves."""
        return amount * self.per_unit(self.perch_unit)

    def perch_words(self, amount: float) -> str:
        """Turns and flats, with their millimetres.

        >>> AxleTools(Adjuster(None, (), 0.0018, ())).perch_words(-1.5)
        '1 turn 3 flats (2.7 mm)'
        """
        height = f"{abs(self.raised(amount)) / MM:.1f} mm"
        if not self.turn:
            return height
        turns, flats = divmod(round(abs(amount) * FLATS), FLATS)
        parts = [
            f"{count} {word}{'s' * (count > 1)}"
            for count, word in ((turns, "turn"), (flats, "flat"))
            if count
        ]
        return f"{' '.join(parts)} ({height})"

    # ---- camber -------------------------------------------------------------------------------------------

    def shims_for(self, camber: float) -> Shims:
        """Shims, (size in m, count), that come nearest to a change of camber, rad; none that are not fitted
        come out.
        """
        if self.per_shim is None:
            return ()
        change = camber / self.per_shim + self.lacking(camber)
        return shim_combination(change, self.adjuster.shims)

    def lacking(self, camber: float) -> float:
        """Shims, m, that a change of camber, rad, takes out beyond those that are fitted."""
        if self.per_shim is None or self.fitted is None:
            return 0.0
        return max(0.0, -camber / self.per_shim - self.fitted)

    def camber_of(self, shims: Shims, wanted: float) -> float:
        """Change of camber, rad, that shims make towards `wanted`; to a hundredth of a degree without any."""
        if self.per_shim is None:
            return round(wanted / DEG, 2) * DEG
        return float(np.sign(wanted) * abs(self.per_shim) * thickness(shims))

    @property
    def fitted(self) -> float | None:
        """Thickness of the stack that is fitted today, m; None where limits.toml does not say."""
        return sum(self.adjuster.shims_fitted) or None

    def shim_words(
        self, shims: Shims, by: float, place: str = "each side"
    ) -> str:
        """What to do with the stack."""
        if self.per_shim is None:
            return f"change by {by / DEG:+.2f} deg {place}"
        adds = by / self.per_shim > 0.0
        parts = ", ".join(f"{count} x {size / MM:.2f}" for size, count in shims)
        moved = thickness(shims)
        words = f"{'add' if adds else 'take out'} {moved / MM:.2f} mm of shims {place}: {parts}"
        if self.fitted is None:
            return words
        left = self.fitted + (moved if adds else -moved)
        return f"{words}; the stack goes from {self.fitted / MM:.2f} to {left / MM:.2f} mm"

    # ---- dampers ------------------------------------------------------------------------------------------

    def clicks(self, field: str) -> tuple[float, ...]:
        """Rates of the damper by click, N s/m, of "damper_bump" or "damper_rebound"; or nothing."""
        clicks = field.replace("damper", "damper_clicks")
        return getattr(self.adjuster, clicks, ())

    def click(self, field: str, rate: float) -> int:
        """The click whose rate is nearest; the first of those equally near."""
        return int(np.abs(np.array(self.clicks(field)) - rate).argmin())

    # ---- bar ----------------------------------------------------------------------------------------------

    def position(self, rate: float) -> tuple[float, str]:
        """The bar's nearest rate, N/m at the wheel, and words for its position."""
        positions = self.adjuster.anti_roll_positions
        if not positions:
            return rate, ""
        nearest = int(np.abs(np.array(positions) - rate).argmin())
        return positions[
            nearest
        ], f" to position {nearest + 1} of {len(positions)}"


def thickness(shims: Shims) -> float:
    """Of all of them together, m."""
    return sum(size * count for size, count in shims)


def axle_tools(project: Project, axle: int) -> AxleTools:
    """The tools of one axle, 0 front, 1 rear."""
    given = getattr(project.limits, f"adjuster_{AXLES[axle]}", None)
    return AxleTools(given or _NO_TABLES)
