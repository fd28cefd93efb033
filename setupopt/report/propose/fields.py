"""A proposal judged, for scripts; what is said of it as text stands in `proposal_text`."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.result import Field, finite
from setupopt.project import Project, setup_as_dict
from setupopt.project.checksum import project_checksum
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.proposal import Alternative


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
        return any(line.margin < self.floor for line in self.attitudes if line.floor is None)

    @property
    def holds(self) -> bool:
        """Whether every case holds, every limit is kept and every floor is reached."""
        return self.proposal.holds and not self.is_under_floor

    @property
    def alternatives(self) -> tuple[Alternative, ...]:
        """None for a proposal that does not hold: what it loses most is no margin."""
        return self.proposal.alternatives if self.proposal.holds else ()

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
            "binding_cases": [{**binding.fields, "weight": binding.weight} for binding in p.active_cases],
            "limit_prices": self._prices(),
            "evaluations": p.evidence.evaluations,
            "seconds": p.evidence.seconds,
            "project_checksum": project_checksum(p.project),
            "holds": self.holds,
            "limits_broken": [asdict(limit) for limit in p.broken],
            "floors_broken": list(p.missed_minimums),
            "by_attitude": self._attitudes(),
            "counted_margin": finite(p.weighted_margin),
            "start_counted_margin": finite(p.start_weighted_margin),
            "alternatives": self._alternatives(),
            "robustness": self._robustness(),
            "evidence": self._evidence(),
            "gains": [asdict(gain) for gain in p.gains],
            "cautions": list(self.project.cautions),
            "floor": self.floor,
            "contact_lost": self.contact_lost,
            "cases": len(p.result.cases),
            "asked": self._asked(),
        }

    def _attitudes(self) -> list[Field]:
        return [
            {
                "attitude": line.attitude,
                "margin": finite(line.margin),
                "weight": line.weight,
                "floor": line.floor,
                "kept": line.is_kept,
            }
            for line in self.attitudes
        ]

    def _prices(self) -> list[Field]:
        return [
            {**asdict(price), "solved_again": finite(price.solved_again), "agrees": price.agrees}
            for price in self.proposal.prices
        ]

    def _alternatives(self) -> list[Field]:
        return [
            {
                "margin": finite(one.margin),
                "counted_margin": finite(one.weighted_margin),
                "differs": one.differs,
                "setup": setup_as_dict(one.setup),
            }
            for one in self.alternatives
        ]

    def _robustness(self) -> Field | None:
        r = self.proposal.robustness
        if r is None:
            return None
        told = {name: finite(value) if isinstance(value, float) else value for name, value in vars(r).items()}
        return {**told, "price": finite(r.price), "gain": finite(r.gain)}

    def _evidence(self) -> Field:
        e = self.proposal.evidence
        return {
            "ends_of_starts": [finite(end) for end in e.ends_of_starts],
            "independent_search": {
                "points": e.searched_points, "found": finite(e.searched), "climbed": finite(e.searched_end),
            },
            "bound": finite(e.bound),
            "continuous": finite(e.continuous),
            "with_parts": finite(e.with_parts),
            "parts": self._parts(),
            "steps": e.steps,
        }  # fmt: skip

    def _parts(self) -> Field | None:
        chosen = self.proposal.evidence.parts
        if chosen is None:
            return None
        return {
            "sets": chosen.count,
            "solved": len(chosen.sets),
            "solves": chosen.solves,
            "bound": finite(chosen.bound),
            "overshoot": finite(chosen.bound_violation),
            "finished": chosen.is_finished,
        }

    def _asked(self) -> Field:
        """What decides the answer besides the project; weights and floors stand with the attitudes."""
        a = self.asked
        return {
            "starts": a.starts,
            "seed": a.seed,
            "keep": list(a.keep),
            "robust": a.robust,
            "alternatives": a.loss,
        }
