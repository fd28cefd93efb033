"""A report: today's setup and the proposed one, assessed, with all that the project keeps of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from setupopt.evaluation.assessment import Assessment, assess
from setupopt.evaluation.result import Field
from setupopt.project.checksum import project_checksum, setup_checksum
from setupopt.project.model import Project
from setupopt.project.stored_proof import stored_proof
from setupopt.project.writing import setup_as_dict
from setupopt.report.assess.text import CLOSING
from setupopt.report.page.patch import KPA
from setupopt.report.page.prices import Prices, is_plain, kept_prices
from setupopt.report.page.stand import Stand, stand
from setupopt.units import MM

TODAY, PROPOSED = "today", "proposed"
_ALONE = "there is no proposed.toml in this project"
_SAME = "proposed.toml is this very setup"


@dataclass(frozen=True)
class Part:
    """One setup of the report. `role`: today or proposed. `proof`: the kept one of exactly this setup."""

    role: str
    assessment: Assessment
    proof: dict[str, Any] | None

    @property
    def project(self) -> Project:
        """The project standing on this setup."""
        return self.assessment.project

    @property
    def checksum(self) -> str:
        """That of this setup in its project."""
        return setup_checksum(self.project, self.project.setup)

    @cached_property
    def stand(self) -> Stand:
        """How the car stands in the worst case."""
        return stand(self.project, self.assessment.result, self.assessment.worst)

    def as_dict(self) -> Field:
        """Plain Python values; `assessment` as `assess --json` gives it."""
        setup = setup_as_dict(self.project.setup)
        return {
            "setup": {**setup["setup"], "checksum": self.checksum},
            "front": setup["front"],
            "rear": setup["rear"],
            "holds": self.assessment.holds,
            "assessment": self.assessment.as_dict(),
            "gaps": [_gap(gap) for gap in self.stand.gaps],
            "peak_pressure_kPa": self._peaks(),
            "proof": self.proof,
        }

    def _peaks(self) -> Field:
        """Highest contact pressure of each wheel in the worst case; None where contact is lost."""
        return {
            wheel.name: None if wheel.patch is None else wheel.patch.peak / KPA for wheel in self.stand.wheels
        }


def _gap(gap: Any) -> Field:
    least = None if gap.least is None else gap.least / MM
    return {"where": gap.name, "gap_mm": gap.gap / MM, "least_gap_mm": least}


@dataclass(frozen=True)
class Report:
    """All that the page tells. `alone`: why there is no second setup, else empty. `date` as YYYY-MM-DD."""

    today: Part
    proposed: Part | None
    alone: str
    prices: Prices
    date: str

    @property
    def parts(self) -> tuple[Part, ...]:
        """Today's first."""
        return (self.today,) if self.proposed is None else (self.today, self.proposed)

    @property
    def target(self) -> Part:
        """The setup that the car is to stand on: the proposed one where there is one."""
        return self.proposed or self.today

    @property
    def holds(self) -> bool:
        """Whether the target keeps contact, limits and floor in every case."""
        return self.target.assessment.holds

    @property
    def cautions(self) -> tuple[str, ...]:
        """Those of all setups, each once."""
        return tuple(dict.fromkeys(caution for part in self.parts for caution in part.project.cautions))

    def as_dict(self) -> Field:
        """For scripts; plain Python values, None for what has no answer."""
        kept, project = self.prices.proposal, self.today.project
        return {
            "car": project.car.name,
            "venue": project.venue.name,
            "date": self.date,
            "project_checksum": project_checksum(project),
            "holds": self.holds,
            "target": self.target.role,
            TODAY: self.today.as_dict(),
            PROPOSED: None if self.proposed is None else self.proposed.as_dict(),
            "alone": self.alone or None,
            "limit_prices": None if kept is None else kept["limit_prices"],
            "limit_prices_missing": self.prices.why or None,
            "cautions": list(self.cautions),
            "closing": CLOSING,
        }


def report(today: Project, proposed: Project | None, floor: float | None, date: str) -> Report:
    """Everything about the setups that the two projects stand on. Raises UserError for impossible cases.

    A proposal that is today's setup is no second one.
    """
    same = proposed is not None and _checksum(proposed) == _checksum(today)
    other = None if proposed is None or same else _part(PROPOSED, proposed, floor)
    alone = _ALONE if proposed is None else _SAME if same else ""
    return Report(_part(TODAY, today, floor), other, alone, kept_prices(proposed), date)


def _checksum(project: Project) -> str:
    return setup_checksum(project, project.setup)


def _part(role: str, project: Project, floor: float | None) -> Part:
    kept = stored_proof(project, project.setup)
    return Part(role, assess(project, None, floor), kept if is_plain(kept) else None)
