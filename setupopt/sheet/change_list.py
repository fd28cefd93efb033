"""From today's setup to another one: what to turn, in order of work, and what the pad reads on the way."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.evaluation.model import evaluate
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.sheet.landing import landed, misses
from setupopt.sheet.steps import Step
from setupopt.sheet.work import Work


@dataclass(frozen=True, eq=False)
class ChangeList:
    """All steps, and the margins they are worth: worst over the steady sweep, -inf where contact is lost."""

    today: Setup
    target: Setup
    landed: Setup  # as the steps really leave the car
    steps: tuple[Step, ...]
    margin_today: float
    margin_target: float
    margin_landed: float
    left_alone: tuple[
        str, ...
    ]  # differences that could not be set, each in words

    @property
    def lost_to_rounding(self) -> float:
        """Margin that the adjusters' steps cost; negative where they help. No number without contact."""
        return self.margin_target - self.margin_landed


def change_list(project: Project, today: Setup, target: Setup) -> ChangeList:
    """The work from `today` to `target`, in order, solved on the pad model; rounded to what can be turned.

    Camber comes before the ride heights, which it moves, so that heights are set once, together with the
    cross weight. Bars and third springs are off until the end, so that they carry nothing when they are
    connected. Raises UserError where the car cannot stand on the pad on the way.
    """
    work = Work(project, today, target)
    work.do()
    found = landed(work)
    left_alone = (*work.left_alone, *misses(work, found))
    before, wanted, after = (
        _worst_margin(project, setup) for setup in (today, target, found)
    )
    return ChangeList(
        today,
        target,
        found,
        tuple(work.steps),
        before,
        wanted,
        after,
        left_alone,
    )


def _worst_margin(project: Project, setup: Setup) -> float:
    """Of a setup in its own body."""
    return float(
        evaluate(with_body(project, setup.body), setup).worst_margin[0]
    )
