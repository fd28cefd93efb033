"""The run card: what driver and crew chief must know, from the steady model and the proof of the setup."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import floor as whole_part
from math import inf

from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.result import Field, Result, finite
from setupopt.evaluation.ride_modes import RideModes, ride_modes
from setupopt.evaluation.summary import by_attitude, wheels_in_air
from setupopt.evaluation.would_hold import WouldHold, would_hold
from setupopt.project.bodies import with_body
from setupopt.project.field_types import KMH
from setupopt.project.model import Project, Setup
from setupopt.project.stored_proof import stored_proof
from setupopt.robust.speeds.window import (
    PLAIN,
    SafeWindow,
    WindowEnd,
    safe_window,
)


@dataclass(frozen=True)
class SpeedRange:
    """Lowest and highest allowed speed, m/s, in steps of 0.1 m/s and never outside the window of `speeds`.

    `below`, `above`: what breaks at lower and at higher speeds; empty where none was computed.
    """

    low: float
    high: float
    below: str
    above: str


@dataclass(frozen=True)
class RunCard:
    """One setup's card. `proof`: the kept answer of `prove`, None where exactly this setup has none."""

    project: Project
    setup: Setup
    floor: float
    result: Result
    speeds: SpeedRange | None  # None where the sweep's own speed is not safe
    proof: Field | None
    broken: tuple[Broken, ...]
    ride: RideModes | None  # None where car.toml lacks dampers or inertias

    @property
    def margin(self) -> float | None:
        """Worst steady margin; None where contact is lost."""
        return finite(self.result.worst_margin[0])

    @cached_property
    def would_hold(self) -> WouldHold | None:
        """What would hold the car, where it slides or loses contact."""
        return would_hold(replace(self.project, setup=self.setup), self.result)

    @property
    def do_not_run(self) -> tuple[str, ...]:
        """Why nobody may drive this setup, each reason in a line; empty where the model finds none."""
        reasons = [f"Limit broken: {limit.words}" for limit in self.broken]
        lost = [
            f"{row.attitude} ({row.lost} of {row.cases})"
            for row in by_attitude(self.result)
            if row.lost
        ]
        if lost:
            count = f"{self.result.lost()} of {len(self.result.cases)} cases"
            reasons.append(f"Contact lost in {count}: {', '.join(lost)}")
        if self.margin is not None and self.margin < self.floor:
            reasons.append(
                f"Margin under the minimum: {self.margin:.3f}, at least {self.floor:g}"
            )
        if self.speeds is None:
            reasons.append(
                "No safe speed: the sweep's own speed breaks the minimum margin, a limit or the power"
            )
        return tuple(reasons)

    @property
    def worst(self) -> Field:
        """Case, roll angle, attitude, sideslip, steer and balance of the worst steady case."""
        fields = self.result.fields(int(self.result.worst[0]))
        where = ("case", "roll_angle_deg", "along_mm", "attitude", "speed_m_s")
        kept = (*where, "sideslip_deg", "steer_deg", "balance")
        return {name: fields[name] for name in kept if name in fields}

    @property
    def gust(self) -> Field | None:
        """The direction with the least gust, of the proof."""
        return self._weakest("wind", "gust_m_s")

    @property
    def wind(self) -> Field | None:
        """The direction with the least steady wind, of the proof."""
        return self._weakest("wind", "steady_m_s")

    @property
    def bump(self) -> Field | None:
        """The case with the least bump allowance, of the proof."""
        return self._weakest("cases", "bump_mm", missing=-1.0)

    def _weakest(
        self, rows: str, key: str, missing: float = inf
    ) -> Field | None:
        """The row of the proof with the least of something; `missing` where it has none."""
        if self.proof is None:
            return None
        found: Field = min(
            self.proof[rows],
            key=lambda row: missing if row[key] is None else row[key],
        )
        return found

    def stop_rules(self) -> tuple[str, ...]:
        """When the run stops, in plain words."""
        return tuple(
            rule
            for rule in (
                _speed_rule(self),
                _wind_rule(self),
                _bump_rule(self),
                *_always(self.result),
            )
            if rule
        )


def _always(result: Result) -> tuple[str, ...]:
    """The rules of every card. A wheel in the air is no surprise where the model lifts it."""
    wheel = "a wheel was seen in the air"
    if wheels_in_air(result):
        wheel += " in a case that is not named above"
    return (
        "The surface is wet, dirty, or not the one that was surveyed.",
        f"The floor has touched, {wheel}, or the car was hit.",
        "A read-back is missing, or anything was turned after it.",
        "Driver, crew or the engineer in charge say so: no reason is needed.",
    )


def run_card(project: Project, setup: Setup, floor: float = 0.0) -> RunCard:
    """The card of a setup in its body, with the proof that its project keeps of it."""
    project = with_body(project, setup.body)
    window = safe_window(replace(project, setup=setup), floor)
    speeds = (
        None
        if window is None
        else _rounded_inwards(window, project.venue.sweep.speed)
    )
    result = evaluate(project, setup)
    limits_broken = broken(project, setup, result)
    ride = ride_modes(replace(project, setup=setup), result)
    return RunCard(
        project,
        setup,
        floor,
        result,
        speeds,
        stored_proof(project, setup),
        limits_broken,
        ride,
    )


def _rounded_inwards(window: SafeWindow, driven: float) -> SpeedRange:
    """The window in steps of 0.1 m/s; the sweep's own speed stays inside."""
    low = min(-down(-window.low.speed, 1), driven)
    high = max(down(window.high.speed, 1), driven)
    return SpeedRange(
        low, high, _first_broken(window.low), _first_broken(window.high)
    )


def _first_broken(end: WindowEnd) -> str:
    """What breaks first beyond an end, in words; a limit of the project by its key."""
    return (
        PLAIN.get(end.beyond[0].limit, end.beyond[0].limit)
        if end.beyond
        else ""
    )


def _speed_rule(card: RunCard) -> str:
    window = card.speeds
    if window is None:
        return "Do not run: at the speed of the sweep the minimum margin or a limit is not kept."
    low = f"under {at_least(window.low)} ({window.below})"
    ends = [low if window.below else ""]
    ends.append(
        f"over {at_most(window.high)} ({window.above or 'not looked at'})"
    )
    return f"Speed {' or '.join(end for end in ends if end)}."


def at_most(speed: float) -> str:
    """A highest speed in both units, rounded down.

    >>> at_most(54.37)
    '54.3 m/s, 195 km/h'
    """
    return f"{down(speed, 1):g} m/s, {down(speed / KMH, 0):.0f} km/h"


def at_least(speed: float) -> str:
    """A lowest speed in both units, rounded up.

    >>> at_least(12.31)
    '12.4 m/s, 45 km/h'
    """
    return f"{-down(-speed, 1):g} m/s, {-down(-speed / KMH, 0):.0f} km/h"


def down(value: float, digits: int) -> float:
    """To so many digits, never above the value but for the noise of its last bits."""
    scale = 10.0**digits
    return whole_part(value * scale + 1e-9) / scale


def _wind_rule(card: RunCard) -> str:
    if card.gust is None or card.wind is None:
        return ""
    limits = [
        f"{words} over {at_most(row[key])}"
        for words, row, key in (
            ("gusts", card.gust, "gust_m_s"),
            ("steady wind", card.wind, "steady_m_s"),
        )
        if row[key] is not None
    ]
    return (
        f"Wind: {', or '.join(limits)}, from any direction." if limits else ""
    )


def _bump_rule(card: RunCard) -> str:
    if card.bump is None or card.bump["bump_mm"] is None:
        return ""
    highest = down(card.bump["bump_mm"], 2)
    return f"Anything higher than {highest:.2f} mm lies on the line that is driven."
