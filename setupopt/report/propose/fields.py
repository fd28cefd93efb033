"""A proposal judged, for scripts; its words are in `text`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from setupopt.evaluation.result import Field, finite
from setupopt.evaluation.variables import Slot
from setupopt.evaluation.would_hold import WouldHold, would_hold
from setupopt.project import Project, setup_as_dict
from setupopt.project.checksum import project_checksum
from setupopt.project.settings import rounded
from setupopt.report.propose.picture import tradeoff_svg
from setupopt.report.propose.required import required_fields
from setupopt.report.shared.plain import picked, plain
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult
from setupopt.search.proposal import Alternative, Plateau
from setupopt.search.shadow_prices import ShadowPrice
from setupopt.search.sides import Sides
from setupopt.search.worth import PLATEAU_LOSS


class AttitudeLine(NamedTuple):
    """An attitude: its worst margin, minus infinity where contact is lost, its weight and its own floor."""

    attitude: str
    margin: float
    weight: float
    floor: float | None
    is_kept: bool | None  # None without a floor


@dataclass(frozen=True)
class JudgedProposal:
    """A proposal for a project, and what was asked of it. `floor`: that of attitudes without their own."""

    project: Project
    asked: ProposalOptions
    proposal: Proposal
    floor: float | None

    @property
    def margin(self) -> float | None:
        """Worst margin of all attitudes; None where contact is lost in any case."""
        return finite(self.proposal.margin)

    @property
    def start_margin(self) -> float | None:
        """The same for today's setup."""
        return finite(self.proposal.start_margin)

    @cached_property
    def attitudes(self) -> tuple[AttitudeLine, ...]:
        """Every attitude in the order of the venue, between the angles of the check too."""
        p = self.proposal
        return tuple(
            AttitudeLine(
                name, margin, weight, finite(floor),
                name not in p.missed_minimums if np.isfinite(floor) else None,
            )
            for name, margin, weight, floor in p.by_attitude()
        )  # fmt: skip

    @property
    def is_under_floor(self) -> bool:
        """Whether a floor was asked for and is not reached; a lost case reaches none."""
        if self.floor is None:
            return False
        return any(
            line.margin < self.floor
            for line in self.attitudes
            if line.floor is None
        )

    @property
    def holds(self) -> bool:
        """Whether no case slides or loses contact, and every limit and minimum margin is satisfied."""
        return (
            self.proposal.holds
            and self.proposal.margin >= 0.0
            and not self.is_under_floor
        )

    @property
    def alternatives(self) -> tuple[Alternative, ...]:
        """None for a proposal that does not hold: what it loses most is no margin."""
        return self.proposal.alternatives if self.proposal.holds else ()

    @property
    def sides(self) -> Sides | None:
        """What sides of their own bring; None where no setup keeps contact and limits."""
        sides = self.proposal.sides
        return sides if sides and worth(sides.alike) is not None else None

    @cached_property
    def would_hold(self) -> WouldHold | None:
        """What would hold the proposed setup, where it slides or loses contact."""
        one = replace(self.proposal.project, setup=self.proposal.setup)
        return would_hold(one, self.proposal.result)

    @cached_property
    def picture(self) -> str:
        """The trade-off, SVG."""
        return tradeoff_svg(self.proposal, self.proposal.required)

    @property
    def contact_lost(self) -> int:
        """Cases of the check that lose contact; between its angles there may be more."""
        return self.proposal.result.lost()

    def as_dict(self) -> Field:
        """Plain Python values, None for what has no answer."""
        p = self.proposal
        return {
            "setup": setup_as_dict(p.setup),
            "margin": self.margin,
            "start_margin": self.start_margin,
            "worst": p.worst,
            "binding_cases": [
                {**binding.fields, "weight": binding.weight}
                for binding in p.active_cases
            ],
            "limit_prices": price_rows(p.prices),
            **picked(p.evidence, "evaluations", "seconds"),
            "speed_m_s": p.project.venue.sweep.speed,
            "project_checksum": project_checksum(self.project),
            "holds": self.holds,
            "would_hold": self.would_hold and asdict(self.would_hold),
            "limits_broken": plain(p.broken),
            "floors_broken": list(p.missed_minimums),
            "by_attitude": [
                picked(
                    line,
                    "attitude",
                    "margin",
                    "weight",
                    "floor",
                    kept="is_kept",
                )
                for line in self.attitudes
            ],
            **self._what_it_is_worth(),
            "required": required_fields(p.required),
            "cautions": list(self.project.cautions),
            "floor": self.floor,
            "contact_lost": self.contact_lost,
            "slides": p.result.sliding(),
            "cases": len(p.result.cases),
            # Weights and floors stand with the attitudes
            "asked": picked(
                self.asked,
                "starts",
                "seed",
                "keep",
                "robust",
                "rear_reserve",
                "most_growth",
                "min_gain",
                "raised",
                "least_margin",
                alternatives="loss",
            ),
        }

    def _what_it_is_worth(self) -> Field:
        """Other setups, how far to trust this one, and the worth of every change."""
        p = self.proposal
        r = self.proposal.robustness
        return {
            "counted_margin": worth(p.weighted_margin),
            "start_counted_margin": finite(p.start_weighted_margin),
            "alternatives": [
                self._alternative(one) for one in self.alternatives
            ],
            "robustness": (
                None
                if r is None
                else {**plain(vars(r)), **picked(r, "price", "gain")}
            ),
            "evidence": self._evidence(),
            "gains": plain(p.gains),
            "changes": [
                {
                    **_named(one.slot),
                    "today": one.slot.value(self.project.setup),
                    "proposed": one.slot.value(self.proposal.setup),
                    "loss": finite(one.loss),
                    "limits_broken": list(one.broken),
                }
                for one in p.changes
            ],
            "plateaus": {
                "loss": PLATEAU_LOSS,
                "settings": [_plateau(one) for one in p.plateaus],
            },
            "left_out": {
                "loss": p.dropped_loss,
                "settings": [
                    {**_named(one.slot), **_values(one, "today", "wanted")}
                    for one in p.dropped
                ],
            },
            "sides": self.sides and _sides(self.sides),
        }

    def _alternative(self, one: Alternative) -> Field:
        fields = picked(
            one, "margin", "differs", counted_margin="weighted_margin"
        )
        return {**fields, "setup": setup_as_dict(one.setup)}

    def _evidence(self) -> Field:
        e = self.proposal.evidence
        return {
            "ends_of_starts": [worth(end) for end in e.ends_of_starts],
            "bound": worth(e.bound),
            "continuous": worth(e.continuous),
            "with_parts": worth(e.with_parts),
            "steps": e.steps,
            "independent_search": {
                "points": e.searched_points,
                "found": worth(e.searched),
                "climbed": worth(e.searched_end),
            },
            "parts": e.parts and self._parts(e.parts),
        }

    def _parts(self, chosen: BranchAndBoundResult) -> Field:
        fields = picked(
            chosen,
            "solves",
            sets="count",
            overshoot="bound_violation",
            finished="is_finished",
        )
        return fields | {
            "bound": worth(chosen.bound),
            "solved": len(chosen.sets),
        }


def worth(merit: float) -> float | None:
    """A number of the search; None at -1 and below, where it says what is missing to contact or limits."""
    return merit if merit > -1.0 else None


def price_rows(prices: Sequence[ShadowPrice]) -> list[Field]:
    """Prices of limits as propose keeps them."""
    return [asdict(price) | picked(price, "agrees") for price in prices]


def _named(slot: Slot) -> Field:
    return {"setting": slot.name, "unit": slot.setting.unit}


def _values(row: Any, *names: str) -> Field:
    """Values of a row with a `slot` in the unit of the files; None for what is as car.toml says."""
    return {name: _in_files(row.slot, getattr(row, name)) for name in names}


def _in_files(slot: Slot, value: float) -> float | None:
    return None if np.isnan(value) else rounded(value, slot.setting)


def _plateau(one: Plateau) -> Field:
    values = _values(one, "lower", "upper")
    return {
        **_named(one.slot),
        "from": values["lower"],
        "to": values["upper"],
    }


def _sides(sides: Sides) -> Field:
    moved = [
        {
            **_named(slot),
            "alike": _in_files(slot, even),
            "apart": _in_files(slot, own),
        }
        for slot, even, own in sides.moved
    ]
    return {
        **picked(sides, "alike", "apart", "gain", free="are_free"),
        "moved": moved,
    }
