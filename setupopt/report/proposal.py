"""A proposal judged, for scripts; what is said of it as text stands in `proposal_text`."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from setupopt.project import Project, setup_as_dict
from setupopt.result import Field
from setupopt.search import Proposal


def _margin(value: float) -> float | None:
    """A margin, or None where contact is lost."""
    return value if np.isfinite(value) else None


@dataclass(frozen=True)
class JudgedProposal:
    """A proposal for a project. `floor`: the least margin asked for, if one was."""

    project: Project
    proposal: Proposal
    floor: float | None

    @property
    def margin(self) -> float | None:
        """Worst margin on the dense sweep; None where contact is lost in any case."""
        return _margin(self.proposal.margin)

    @property
    def start_margin(self) -> float | None:
        """The same for today's setup."""
        return _margin(self.proposal.start_margin)

    @property
    def is_under_floor(self) -> bool:
        """Whether a floor was asked for and is not reached; a lost case reaches none."""
        return self.floor is not None and (self.margin is None or self.margin < self.floor)

    @property
    def holds(self) -> bool:
        """Whether every case holds, every limit is kept and the floor, if any, is reached."""
        return self.proposal.holds and not self.is_under_floor

    @property
    def worst(self) -> Field:
        """The worst case of the dense sweep."""
        return self.proposal.result.fields(int(self.proposal.result.worst[0]))

    def as_dict(self) -> dict[str, Any]:
        """Plain Python values, None for what has no answer."""
        p = self.proposal
        return {
            "setup": setup_as_dict(p.setup),
            "margin": self.margin,
            "start_margin": self.start_margin,
            "worst": self.worst,
            "binding_cases": p.binding_cases(),
            "limit_prices": [asdict(price) for price in p.prices],
            "evaluations": p.evaluations,
            "seconds": p.seconds,
            "limits_broken": [asdict(limit) for limit in p.broken],
            "contact_lost": p.result.lost(),
            "cases": len(p.result.cases),
            "margin_before_rounding": p.margin_before_rounding,
            "ends_of_starts": list(p.start_merits),
            "iterations": p.iterations,
            "cautions": list(self.project.cautions),
            "floor": self.floor,
        }
