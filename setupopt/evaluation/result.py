"""What comes back from an evaluation: every field with its unit and shape, and a pandas view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from setupopt import units
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.counts import Counts, Named, counted
from setupopt.physics.inputs import SIDESLIP, STEER, Floats, Record, Records
from setupopt.project.model import AXLES, WHEELS

if TYPE_CHECKING:
    import pandas as pd

Field = dict[str, Any]


IN_AIR = 0.01  # of m g / 4
# What a lost case has besides its margin.
_OF_LOST = (
    "case",
    "roll_angle_deg",
    "along_mm",
    "attitude",
    "speed_m_s",
    "contact",
)
_LISTED = (
    "roll_angle_deg",
    "along_mm",
    "margin",
    "attitude",
    "sideslip_deg",
    "steer_deg",
    "balance",
    "wheels_in_air",
)


_BITS = np.array([1, 2, 4, 8])
# By a bit for each wheel: "fl rr"; empty where there is none.
_WHEEL_NAMES = np.array(
    [
        " ".join(wheel for w, wheel in enumerate(WHEELS) if bits >> w & 1)
        for bits in range(16)
    ],
    dtype=object,
)


def _by_wheel(
    name: str, unit: str, values: Floats, factor: float
) -> dict[str, Floats]:
    """Four columns in file units from (n, wheels) in SI."""
    return {
        f"{name}_{wheel}_{unit}": values[:, w] / factor
        for w, wheel in enumerate(WHEELS)
    }


@dataclass(frozen=True)
class Result:
    """Answers of setups x cases, setups slowest.

    `answers` is (setups, cases) of ANSWER records in SI, those of `setupopt.evaluate` without `fold` and
    `null`; `car` the VEHICLE record; `physics.inputs` explains every field. `higher`: margin of the car's other
    position in cases of a sweep that have two, else not a number; None where it was not looked for. `counts`:
    of all cases of one setup, where these are only those that anything is said of. The
    properties below are (setups, cases) unless they say otherwise.
    """

    cases: CaseSet
    answers: Records
    car: Record
    higher: Floats | None = None
    counts: Counts | None = None

    @property
    def contact(self) -> np.ndarray:
        """Whether the car keeps contact; no other number of a lost case is an answer."""
        return np.asarray(self.answers["contact"])

    @property
    def margin(self) -> Floats:
        """Grip margin; not a number where contact is lost."""
        return np.asarray(self.answers["margin"])

    @property
    def safe_margin(self) -> Floats:
        """The margin; minus infinity where contact is lost."""
        return np.where(self.contact, self.margin, -np.inf)

    @property
    def search_margin(self) -> Floats:
        """The margin for a search: finite everywhere, with a slope towards contact where contact is lost.

        Below -1 it is compressed. In a lost case it measures the distance to contact, not a slide.
        """
        return np.asarray(self.answers["search_margin"])

    @cached_property
    def travel_left(self) -> Floats:
        """Least travel left to a bump or droop stop, m."""
        travel = self.answers["travel"]
        to_bump = self.car["bump_travel"] - travel
        to_droop = travel + self.car["droop_travel"]
        left = np.minimum(to_bump, to_droop)
        return np.asarray(left.min(axis=-1))

    @cached_property
    def in_air(self) -> np.ndarray:
        """Wheels that stand in the air while the car keeps contact, (setups, cases, wheels).

        Such a wheel carries less than `IN_AIR` of the weight on a wheel of the car, m g / 4, on average.
        """
        least = IN_AIR * self.car["mass"] * units.GRAVITY / len(WHEELS)
        return np.asarray(
            self.contact[..., None] & (self.answers["load"] < least)
        )

    @property
    def worst(self) -> np.ndarray:
        """Index of the worst case of each setup, (setups). A lost case is worse than any other."""
        return np.asarray(self.ranked.argmin(axis=1))

    @property
    def ranked(self) -> Floats:
        """Margins that can be compared, (setups, cases): a lost case is lower than all others."""
        return np.where(self.contact, self.margin, self.search_margin - 1e6)

    @property
    def worst_margin(self) -> Floats:
        """Margin of each setup's worst case, (setups); minus infinity where contact is lost anywhere."""
        return np.asarray(self.safe_margin.min(axis=1))

    def counted(self, setup: int = 0, by_name: bool = True) -> Counts:
        """How many cases of a setup lose contact, slide or have a wheel in the air; by name, or together alone."""
        if self.counts is not None:
            return self.counts
        contact = self.contact[setup]
        slides = self.answers["slides"][setup]
        in_air = self.in_air[setup]
        return counted(self.cases, contact, slides, in_air, by_name)

    def alone(self, case: int) -> Named:
        """The counts of one case."""
        return self.pick([case]).counted(by_name=False).every

    @property
    def count(self) -> int:
        """How many cases there are."""
        return self.counts.every.cases if self.counts else len(self.cases)

    def lost(self, setup: int = 0) -> int:
        """How many cases of a setup lose contact."""
        return self.counted(setup, by_name=False).every.lost

    def sliding(self, setup: int = 0) -> int:
        """In how many cases of a setup the car slides: it is held only by more friction than there is.

        Their use, loads and grip are left out of the case table. All else in it, and the wheels in the air,
        are those of the trim at lambda, and no limit is judged there.
        """
        return self.counted(setup, by_name=False).every.sliding

    def pick(self, rows: Sequence[int] | np.ndarray) -> Result:
        """Some of the cases, with the numbers they have here."""
        index = np.asarray(rows, dtype=int)
        cases = replace(
            self.cases.pick(index), number=self.cases.numbers[index]
        )
        return Result(cases, self.answers[:, index], self.car)

    def by_angle(self, setup: int = 0) -> list[Field]:
        """Worst attitude at every roll angle of a sweep, as `rows`; margin None where contact is lost."""
        shape = (len(self.cases.attitudes), self.cases.angles.size)
        worst = self.safe_margin[setup].reshape(shape).argmin(axis=0)
        return self.rows(worst * shape[1] + np.arange(shape[1]), setup)

    def rows(
        self, cases: Sequence[int] | np.ndarray, setup: int = 0
    ) -> list[Field]:
        """The columns of the case table that a list of cases shows, as plain Python values."""
        columns = self.pick(cases).columns(setup)
        listed = {name: columns[name] for name in _LISTED if name in columns}
        held = self.contact[setup, cases]
        return [_row(listed, row, held[row]) for row in range(len(held))]

    def columns(self, setup: int = 0) -> dict[str, Any]:
        """The case table in file units, (cases) each, in its fixed order."""
        a = self.answers[setup]
        c = self.cases.records
        first = np.where(a["limiting"] == 0.0, *AXLES)
        held = np.where(
            a["slides"], np.nan, 1.0
        )  # what there is of a trim at full friction
        point = np.isfinite(a["clearance"])
        return {
            "case": self.cases.numbers,
            "roll_angle_deg": np.round(c["roll_angle"] / units.DEG, 9),
            **(
                {"along_mm": np.round(c["along"] / units.MM, 6)}
                if self.cases.is_along
                else {}
            ),
            "attitude": np.array(self.cases.attitude, dtype=object),
            "speed_m_s": c["speed"],
            "contact": a["contact"],
            "margin": a["margin"],
            "use_front": held * a["use"][:, 0],
            "use_rear": held * a["use"][:, 1],
            "first_axle": first.astype(object),
            **_by_wheel("load", "N", held[:, None] * a["load"], 1.0),
            **_by_wheel("grip", "N", held[:, None] * a["grip"], 1.0),
            **_by_wheel("inclination", "deg", a["inclination"], units.DEG),
            **_by_wheel("patch", "mm2", a["patch"], units.MM2),
            "front_gap_mm": a["ride_gap"][:, 0] / units.MM,
            "rear_gap_mm": a["ride_gap"][:, 1] / units.MM,
            "downforce_N": a["downforce"],
            "drag_N": a["drag"],
            "heave_mm": a["state"][:, 0] / units.MM,
            "pitch_deg": a["state"][:, 1] / units.DEG,
            "body_roll_deg": a["state"][:, 2] / units.DEG,
            "least_clearance_mm": np.where(point, a["clearance"], np.nan)
            / units.MM,
            "travel_left_mm": self.travel_left[setup] / units.MM,
            "wheels_in_air": _WHEEL_NAMES[self.in_air[setup] @ _BITS],
            "sideslip_deg": a["state"][:, SIDESLIP] / units.DEG,
            "steer_deg": a["state"][:, STEER] / units.DEG,
            **_by_wheel("slip_angle", "deg", a["slip_angle"], units.DEG),
            "lambda": a["friction_factor"],
            "balance": held * a["balance"],
            "growth_per_s": a["growth"],
        }

    def shown_columns(self, setup: int = 0) -> dict[str, np.ndarray]:
        """As `columns`; the answers of a lost case are missing: not a number."""
        lost = ~self.contact[setup]
        shown = {}
        for name, column in self.columns(setup).items():
            if name not in _OF_LOST and lost.any():
                column = np.where(lost, np.nan, column)
            shown[name] = column
        return shown

    def frame(self, setup: int = 0) -> pd.DataFrame:
        """The case table as a pandas frame; the answers of a lost case are missing."""
        import pandas as pd

        return pd.DataFrame(self.shown_columns(setup))

    def _repr_html_(self) -> str:
        """For notebooks: the case table of the first setup."""
        return html_table(self.frame())

    def fields(self, case: int, setup: int = 0) -> Field:
        """One case's row of the table as plain Python values; None for what has no answer."""
        return _row(
            self.pick([case]).columns(setup), 0, self.contact[setup, case]
        )


def html_table(rows: Any) -> str:
    """A frame, or rows as dicts, as a table for notebooks, of at most 60 rows; pandas escapes its texts."""
    import pandas as pd

    return str(pd.DataFrame(rows).to_html(index=False, max_rows=60))


def _row(columns: dict[str, Any], case: int, held: bool) -> Field:
    """One case as plain Python values; None for what has no answer."""
    shown = {
        name: column[case]
        for name, column in columns.items()
        if held or name in _OF_LOST
    }
    return {name: _plain(shown.get(name)) for name in columns}


def degrees(angle: float) -> float:
    """An angle of the input, in degrees, without the noise of the conversion."""
    return round(float(angle / units.DEG), 9) + 0.0


def finite(value: Any) -> float | None:
    """A number as Python's own; None for one that is not finite."""
    number = float(value)
    return number if np.isfinite(number) else None


def _plain(value: Any) -> Any:
    """A NumPy scalar as Python's own; None for a missing number."""
    value = value.item() if isinstance(value, np.generic) else value
    return (
        None if isinstance(value, float) and not np.isfinite(value) else value
    )
