"""From today's setup to another one: what to turn, in order of work, and what the pad reads on the way."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.evaluation.model import evaluate
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Setup
from setupopt.sheet import car_work, pose_work, wheel_work
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
    connected. What only readies or checks the car is one step before and one after. Raises UserError where
    the car cannot stand on the pad on the way.
    """
    work = Work(project, today, target)
    _do(work)
    found = landed(work)
    left_alone = (*work.left_alone, *misses(work, found))
    before, wanted, after = (
        float(evaluate(with_body(project, setup.body), setup).worst_margin[0])
        for setup in (today, target, found)
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


def _do(work: Work) -> None:
    """Everything, in the order of the trade."""
    car_work.body(work)
    car_work.ballast(work)
    car_work.wings(work)
    car_work.prepare(work)
    wheel_work.by_wheel(work, "pressure", "tyre hot pressure, as run,", 2)
    wheel_work.by_wheel(work, "spring", "spring", 3)
    wheel_work.dampers(work)
    wheel_work.links(work)
    car_work.shares(work)
    pose_work.cambers(work)
    wheel_work.by_wheel(work, "toe", "toe", 2)
    pose_work.ride_heights(work)
    car_work.finish(work)
