"""The setup whose worst margin is highest: bodies solved, parts chosen, steps set, and all of it checked."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from setupopt.errors import UserError
from setupopt.jobs.pool import WorkerPool
from setupopt.project.bodies import with_body
from setupopt.project.model import Project
from setupopt.search.body_relaxations import RootSearch, roots_of
from setupopt.search.objective import BODY, Goal, goal_of, pinned
from setupopt.search.parts.discrete_choice import choose_parts, refuse_storage
from setupopt.search.proposal import Proposal
from setupopt.search.proposal_builder import ProposalBuilder
from setupopt.search.relaxation import Progress
from setupopt.search.setup_problem import SetupProblem


@dataclass(frozen=True)
class ProposalOptions:
    """What is asked of a proposal.

    `starts` of every body, by `seed`. `weights` and `floors` by attitude, see `goal.Goal`. `keep`: settings
    that stay, see `goal.pinned`. `robust`: reckon with build errors. `loss`: worst margin that alternatives
    may cost; 0 for none. `study`: where the choice of parts is kept, an Optuna storage URL; None: in a file
    of the user's cache until it is done.
    """

    starts: int = 4
    seed: int = 0
    weights: Mapping[str, float] | None = None
    floors: Mapping[str, float] | None = None
    keep: Sequence[str] = ()
    robust: bool = False
    loss: float = 0.01
    study: str | None = None


def propose(
    project: Project,
    asked: ProposalOptions | None = None,
    progress: Progress | None = None,
    crew: WorkerPool | None = None,
) -> Proposal:
    """The setup inside `limits.toml` whose worst margin over all roll angles and attitudes is highest.

    All bodies are solved with parts of any value; boxes of part sets are bounded and split until none is
    worth more; the best sets are brought to steps and checked on a sweep six times as dense, and between
    its angles. Bodies and boxes are solved by `crew`, if one is given, to the same numbers. Raises UserError
    without `limits.toml`, or where nothing may change.
    """
    began, asked = time.perf_counter(), asked or ProposalOptions()
    goal, problems = _problems(project, asked)
    if asked.study is not None:
        refuse_storage(asked.study)
    roots = roots_of(problems, RootSearch(asked.robust, asked.starts, asked.seed), progress, crew)
    decisive = (goal.weights, goal.floors, sorted(asked.keep), asked.starts, asked.seed, asked.robust)
    choice = choose_parts(project, roots, asked.study, decisive, progress, crew)
    say = progress or (lambda text: None)
    say("prices and bounds")
    told = ProposalBuilder(project, goal, roots, choice)
    priced, bound = told.prices(), told.bound(asked.seed)
    say("alternatives")
    others = told.alternatives(asked.loss)
    say("build errors" if asked.robust else "checks")
    robustness = told.robustness() if asked.robust else None
    evidence = told.evidence(bound, sum(r.steps for r in roots) + choice.steps)
    solved = sum(p.solved for p in problems) + (choice.study.cases if choice.study else 0)
    seconds = time.perf_counter() - began
    return told.proposal(priced, others, robustness, replace(evidence, evaluations=solved, seconds=seconds))


def _problems(project: Project, asked: ProposalOptions) -> tuple[Goal, list[SetupProblem]]:
    """A problem for every body, the one worn today first."""
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: propose needs it, because it says how far each "
            "setting may go"
        )
    goal, kept = goal_of(project.venue, asked.weights, asked.floors), pinned(asked.keep)
    if asked.robust and project.limits.tolerance is None:
        raise UserError("limits.toml has no [tolerance]: --robust needs to know what the mechanics can hold")
    worn = project.setup.body
    others = [] if BODY in kept else [b for b in (None, *(b.name for b in project.bodies)) if b != worn]
    with_bodywork = [with_body(project, body) for body in (worn, *others)]
    problems = [SetupProblem(one, project.limits, goal, kept) for one in with_bodywork]
    if not problems[0].variables and len(problems) == 1:
        free = "limits.toml leaves no setting free: give at least one range with from < to"
        raise UserError("--keep leaves no setting free" if kept else free)
    return goal, problems
