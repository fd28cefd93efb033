"""The data of a report: today's setup and the proposed one, assessed, with all that the project keeps."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from setupopt.evaluation.assessment import Assessment, assess
from setupopt.evaluation.drawn_state import DrawnState, drawn_state
from setupopt.project.checksum import setup_checksum
from setupopt.project.model import Project
from setupopt.project.stored_prices import (
    is_plain,
    stored_prices,
    stored_route,
)
from setupopt.project.stored_proof import stored_proof

TODAY, PROPOSED = "today", "proposed"
_ALONE = "there is no proposed.toml in this project"
_SAME = "proposed.toml is this very setup"


@dataclass(frozen=True)
class Part:
    """One setup of the report. `role`: today or proposed. `proof`: the stored one of exactly this setup."""

    role: str
    assessment: Assessment
    proof: dict[str, Any] | None

    @property
    def project(self) -> Project:
        """The project with this setup."""
        return self.assessment.project

    @property
    def checksum(self) -> str:
        """That of this setup in its project."""
        return _checksum(self.project)

    @property
    def route(self) -> dict[str, Any] | None:
        """The kept answer of `route` of exactly this setup."""
        return stored_route(self.project, self.project.setup)

    @cached_property
    def drawn(self) -> DrawnState:
        """The state of the car in the worst case."""
        return drawn_state(
            self.project, self.assessment.result, self.assessment.worst
        )


@dataclass(frozen=True)
class Report:
    """All that the page shows. `alone`: why there is no second setup, else empty. `date` as YYYY-MM-DD.

    `prices`: the answer of `propose` that the project keeps of the target, or prices of the best setup near
    it, with the margin there, `near`; None where there are neither.
    """

    today: Part
    proposed: Part | None
    alone: str
    prices: dict[str, Any] | None
    date: str

    @property
    def parts(self) -> tuple[Part, ...]:
        """Today's first."""
        return (
            (self.today,)
            if self.proposed is None
            else (self.today, self.proposed)
        )

    @property
    def target(self) -> Part:
        """The setup that is to be driven: the proposed one where there is one."""
        return self.proposed or self.today

    @property
    def holds(self) -> bool:
        """Whether the target keeps contact, limits and the required margin in every case."""
        return self.target.assessment.holds

    @property
    def cautions(self) -> tuple[str, ...]:
        """Those of all setups, each once; where it is that of one of two, with its name."""
        said: dict[str, list[str]] = {}
        for part in self.parts:
            for caution in part.assessment.cautions:
                said.setdefault(caution, []).append(part.role)
        return tuple(
            caution
            if len(roles) == len(self.parts)
            else f"{roles[0]}: {caution}"
            for caution, roles in said.items()
        )


def report(
    today: Project, proposed: Project | None, floor: float | None, date: str
) -> Report:
    """Assess the setups of two projects, and read what the project keeps of them.

    A proposal that is today's setup is no second one. `floor`: the required margin, if any; `date` as
    YYYY-MM-DD. Raises UserError for impossible cases.
    """
    same = proposed is not None and _checksum(proposed) == _checksum(today)
    other = (
        None if proposed is None or same else _part(PROPOSED, proposed, floor)
    )
    alone = _ALONE if proposed is None else _SAME if same else ""
    prices = stored_prices(proposed or today)
    return Report(_part(TODAY, today, floor), other, alone, prices, date)


def _checksum(project: Project) -> str:
    return setup_checksum(project, project.setup)


def _part(role: str, project: Project, floor: float | None) -> Part:
    proof = stored_proof(project, project.setup)
    return Part(
        role, assess(project, None, floor), proof if is_plain(proof) else None
    )
