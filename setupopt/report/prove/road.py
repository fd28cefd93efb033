"""Linear and nonlinear answers on a rough road side by side, and why they differ where they do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass

import numpy as np

from setupopt.evaluation.result import Field, finite
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, WHEELS
from setupopt.report.shared.plain import picked, plain
from setupopt.report.shared.template import whole_lines
from setupopt.robust.ride_model import REASONS
from setupopt.robust.road.study import Ridden, RoadStudy
from setupopt.robust.road.time_domain_road import QUANTITIES, Spread
from setupopt.robust.robustness import RobustnessReport
from setupopt.units import DEG, MM

CLOSE = 0.03  # relative; a larger difference wants a reason
_SHIFT = 0.1  # of an rms
_HEAVY = 0.25  # rms of a wheel's load over its load at rest
_UNITS = {
    "margin": ("", 1.0),
    "load": ("N", 1.0),
    "gap": ("mm", MM),
    "travel": ("mm", MM),
}


@dataclass(frozen=True)
class RoadLine:
    """One quantity: rms by the linear answer, and in the rides with its interval at 95 %, in `unit`."""

    quantity: str
    unit: str
    smooth: float | None  # on a smooth road
    mean: float | None  # in the rides
    linear_rms: float | None
    rms: float | None
    low: float | None
    high: float | None

    @property
    def difference(self) -> float | None:
        """Linear over nonlinear rms, less one."""
        if not self.rms or self.linear_rms is None:
            return None
        return self.linear_rms / self.rms - 1.0

    @property
    def differs(self) -> bool:
        """Whether the linear rms is more than 3 % off, and outside what chance allows."""
        if (
            self.linear_rms is None
            or self.low is None
            or self.high is None
            or self.difference is None
        ):
            return self.rms is not None
        return (
            abs(self.difference) > CLOSE
            and not self.low <= self.linear_rms <= self.high
        )


@dataclass(frozen=True)
class RoadTable:
    """One ridden case."""

    row: int
    lines: tuple[RoadLine, ...]
    ridden: Ridden
    linear_chance: float
    why: tuple[str, ...]

    def as_dict(self) -> Field:
        """For scripts."""
        sums = self.ridden.sums
        share, low, high = sums.chance_under()
        fallen, least, most = sums.chance_fallen()
        return plain(
            {
                "rides": sums.rides,
                "not_stood": fallen,
                "not_stood_low": least,
                "not_stood_high": most,
                "ends": {
                    REASONS[i]: int(count)
                    for i, count in enumerate(sums.reasons)
                    if count
                },
                "drift_mm": sums.drift / MM,
                "sideslip_deg": sums.sideslip / DEG,
                **picked(sums, "lost", "seconds", "least_margin"),
                "least_load_N": sums.least_load.min(),
                "spare_clearance_mm": sums.least_clearance / MM,
                "chance_linear": self.linear_chance,
                "chance": share,
                "chance_low": low,
                "chance_high": high,
                **picked(
                    sums,
                    time_under_floor="share_under",
                    time_off_surface="share_off_surface",
                    time_on_stop="share_on_stop",
                ),
                "quantities": [
                    {**asdict(line), "differs": line.differs}
                    for line in self.lines
                ],
                "why": list(self.why),
            }
        )


def road_tables(proof: RobustnessReport) -> tuple[RoadTable, ...]:
    """One table for each case that was ridden."""
    return (
        ()
        if proof.road is None
        else tuple(_table(proof, proof.road, r) for r in proof.road.ridden)
    )


def _table(
    proof: RobustnessReport, study: RoadStudy, ridden: Ridden
) -> RoadTable:
    lines = tuple(_lines(proof, study, ridden))
    chance = float(study.linear["chance"][ridden.row])
    return RoadTable(
        ridden.row, lines, ridden, chance, _why(proof, lines, ridden)
    )


def _lines(
    proof: RobustnessReport, study: RoadStudy, ridden: Ridden
) -> Iterator[RoadLine]:
    smooth = _smooth(proof, ridden.row)
    # the quantities' linear rms
    a = study.linear[ridden.row]
    sigma = np.concatenate(
        [
            [a["sigma_margin"]],
            a["sigma_load"],
            a["sigma_gap"],
            a["sigma_travel"],
        ]
    )
    for place, quantity in enumerate(QUANTITIES):
        unit, factor = _UNITS[quantity.split()[0]]
        spread = Spread(
            *(value / factor for value in ridden.sums.spread(quantity))
        )
        yield RoadLine(
            quantity,
            unit,
            finite(smooth[place] / factor),
            finite(spread.mean),
            finite(sigma[place] / factor),
            *(finite(value) for value in spread[1:]),
        )


def _smooth(proof: RobustnessReport, row: int) -> Floats:
    """The quantities without road."""
    a = proof.steady.answers[0, row]
    return np.concatenate(
        [[a["margin"]], a["load"], a["ride_gap"], a["travel"]]
    )


# ---- why ---------------------------------------------------------------------------------------------------


def _why(
    proof: RobustnessReport, lines: tuple[RoadLine, ...], ridden: Ridden
) -> tuple[str, ...]:
    """Reasons why linear and nonlinear answers differ, as far as the rides tell them."""
    car = proof.project.car
    axles = zip(AXLES, (car.front, car.rear), strict=True)
    shifts = [
        abs(line.mean - line.smooth) / line.rms
        for line in lines
        if line.rms and line.mean is not None and line.smooth is not None
    ]
    swings = [
        line.rms / line.smooth
        for line in lines[1 : 1 + len(WHEELS)]
        if line.rms and line.smooth
    ]
    words = whole_lines(
        "prove/why",
        sums=ridden.sums,
        car=car,
        off=[line.quantity for line in lines if line.differs],
        uneven=[
            name
            for name, axle in axles
            if axle.damper_bump != axle.damper_rebound
        ],
        shift=max(shifts, default=0.0),
        heavy=max(swings, default=0.0),
        is_measured=proof.plan.profile is not None,
        SHIFT=_SHIFT,
        HEAVY=_HEAVY,
    )
    return tuple(words.splitlines())
