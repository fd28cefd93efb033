"""A comparison judged, for scripts; its words are in `text`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from setupopt.evaluation.result import Field, finite
from setupopt.evaluation.summary import AttitudeWorst, by_attitude
from setupopt.project import Project, setup_as_dict
from setupopt.project.bodies import body_label
from setupopt.project.csv_write import csv_text
from setupopt.report.shared.plain import picked, plain
from setupopt.search.comparison import Comparison, Contender, Reason

_COLUMNS = (
    "rank", "body", "setup", "is_own_best", "attitude", "margin", "roll_angle_deg", "contact_lost",
    "limits_broken", "is_best", "best_in", "nowhere_best",
)  # fmt: skip


class Line(NamedTuple):
    """A contender in its place; `is_best` says so for every attitude, in the order of `attitudes`."""

    rank: int
    contender: Contender
    reason: Reason | None  # None: the first
    attitudes: tuple[AttitudeWorst, ...]
    is_best: tuple[bool, ...]

    @property
    def body(self) -> str:
        """As lists call it."""
        return body_label(self.contender.setup.body)

    @property
    def best_in(self) -> int:
        """In how many attitudes it is the best."""
        return sum(self.is_best)


@dataclass(frozen=True)
class JudgedComparison:
    """A comparison and what was asked of it. `floor`: the least margin that the first must have."""

    comparison: Comparison
    as_is: bool
    starts: int
    floor: float | None

    @property
    def project(self) -> Project:
        """As it was compared, with the cautions about all its files."""
        return self.comparison.project

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """All contenders, the best first."""
        c = self.comparison
        rows = zip(c.contenders, c.reasons, c.is_best.tolist(), strict=True)
        return tuple(
            Line(
                rank,
                one,
                reason,
                tuple(by_attitude(one.result)),
                tuple(best),
            )
            for rank, (one, reason, best) in enumerate(rows, 1)
        )

    @property
    def best(self) -> Contender:
        """The first."""
        return self.comparison.contenders[0]

    @property
    def is_under_floor(self) -> bool:
        """Whether a floor was asked for and the first does not reach it; a lost case reaches none."""
        return self.floor is not None and self.best.margin < self.floor

    @property
    def holds(self) -> bool:
        """Whether the first does not slide or lose contact, and keeps its limits and any minimum margin."""
        return (
            self.best.holds
            and self.best.margin >= 0.0
            and not self.is_under_floor
        )

    def as_dict(self) -> Field:
        """Plain Python values, None for what has no answer."""
        cases = self.best.result.cases
        return {
            "ranked": [_line_dict(line) for line in self.lines],
            "margin": finite(self.best.margin),
            "floor": self.floor,
            "holds": self.holds,
            "cases": len(cases),
            "attitudes": list(cases.attitudes),
            "cautions": list(self.project.cautions),
            "asked": {
                "as_is": self.as_is,
                "starts": None if self.as_is else self.starts,
            },
        }

    def csv_text(self) -> str:
        """One row for every contender and attitude; no cell that a spreadsheet would run."""
        return csv_text(
            _COLUMNS,
            (row for line in self.lines for row in _rows(line)),
        )


def _line_dict(line: Line) -> Field:
    one = line.contender
    return {
        "rank": line.rank,
        "body": one.setup.body,
        "is_own_best": one.is_own_best,
        "margin": finite(one.margin),
        "worst": one.result.fields(one.worst),
        "reason": plain(line.reason),
        "best_in": line.best_in,
        "nowhere_best": line.best_in == 0,
        "by_attitude": [
            {
                **picked(
                    a,
                    "attitude",
                    "margin",
                    "roll_angle_deg",
                    "along_mm",
                ),
                "is_best": best,
            }
            for a, best in zip(line.attitudes, line.is_best, strict=True)
        ],
        "contact_lost": one.result.lost(),
        "slides": one.result.sliding(),
        "limits_broken": plain(one.broken),
        "setup": setup_as_dict(one.setup),
    }


def _rows(line: Line) -> Iterator[tuple[object, ...]]:
    """Its cells, in the order of the columns."""
    one = line.contender
    head = (line.rank, line.body, one.setup.name, one.is_own_best)
    for a, best in zip(line.attitudes, line.is_best, strict=True):
        worst = (
            a.attitude,
            a.margin,
            a.roll_angle_deg,
            a.lost,
            len(one.broken),
        )
        yield (*head, *worst, best, line.best_in, line.best_in == 0)
