"""The setup whose worst margin is highest: bodies solved, parts chosen, steps set, and all of it checked."""

from __future__ import annotations

import time
from dataclasses import replace

from setupopt.errors import UserError
from setupopt.jobs.pool import WorkerPool
from setupopt.project.bodies import with_body
from setupopt.project.model import Project, Range
from setupopt.search.engine.batch import silent
from setupopt.search.objective import (
    BODY,
    Objective,
    fixed_settings,
    objective_of,
)
from setupopt.search.parts.discrete_choice import choose_parts, refuse_storage
from setupopt.search.proposal import DISTURBANCE, Proposal, ProposalOptions
from setupopt.search.proposal_builder import ProposalBuilder
from setupopt.search.relaxation import (
    FIRST_PASS,
    FIRST_ROUNDS,
    Progress,
    relaxed_optima,
)
from setupopt.search.required import needs_search, required_optimum
from setupopt.search.required_front import TIMES, FrontPoint, front, most_times
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver
from setupopt.search.stood_setup import requirement_of
from setupopt.search.study_name import study_name

# Speeds that are looked at where limits.toml gives no step.
_SPEEDS = 7


def propose(
    project: Project,
    options: ProposalOptions | None = None,
    progress: Progress | None = None,
    pool: WorkerPool | None = None,
) -> Proposal:
    """The setup inside `limits.toml` whose worst margin over all roll angles and attitudes is highest.

    All bodies are solved with parts of any value. Branch and bound chooses body and parts. The best sets are
    brought to steps, and checked on a sweep six times as dense and between its angles. `progress` gets the
    state of the work in words. Bodies and nodes are solved by `pool`, if one is given, to the same numbers.
    Margins have no unit; a setup is in SI. Raises UserError without `limits.toml`, where nothing may change,
    or for options that do not fit the project.
    """
    began = time.perf_counter()
    options = options or ProposalOptions()
    report = progress or silent
    objective, problems = _problems(project, options)
    if project.limits is not None and project.limits.speed is not None:
        project = at_best_speed(problems[0], project.limits.speed, report)
        objective, problems = _problems(project, options)
    if options.study is not None:
        refuse_storage(options.study)
    roots = relaxed_optima(
        problems,
        options.robust,
        options.starts,
        options.seed,
        report,
        pool,
    )
    times = 1.0
    points: list[FrontPoint] = []
    if needs_search(project):
        least = options.least_margin
        if requirement_of(project) is not None:
            points = front(roots[0], least, TIMES, report)
        if options.raised == DISTURBANCE:
            times, points = most_times(roots[0], points, least, report)
        roots = [required_optimum(root, times, least, report) for root in roots]
    name = study_name(project, objective, decisive(options))
    choice = choose_parts(
        name,
        roots,
        options.study,
        report,
        pool,
    )
    found = ProposalBuilder(
        project,
        objective,
        roots,
        choice,
        times,
        tuple(points),
    ).proposal(options, report)
    seconds = time.perf_counter() - began
    return replace(found, evidence=replace(found.evidence, seconds=seconds))


def at_best_speed(
    problem: SetupProblem, speeds: Range, progress: Progress
) -> Project:
    """The project at the speed of its sweep that allows the highest worst margin, by one local search each.

    Every search begins at the best setup of the speed before. Attitudes with a speed of their own keep it.
    """
    count = (
        _SPEEDS
        if speeds.step is None
        else int((speeds.upper - speeds.lower) / speeds.step + 1.0 + 1e-9)
    )
    step = speeds.step or (speeds.upper - speeds.lower) / max(count - 1, 1)
    point, found = problem.start, []
    for number in range(count):
        speed = speeds.lower + number * step
        progress(f"speed {speed:g} m/s")
        venue = problem.project.venue
        there = replace(venue, sweep=replace(venue.sweep, speed=speed))
        one = replace(problem, project=replace(problem.project, venue=there))
        solver = Solver(one, trust_region=FIRST_PASS)
        end = solver.solve(solver.box, point, None, FIRST_ROUNDS)
        point = end.outcome.point
        found.append((end.merit, one.project))
    return max(found, key=lambda one: one[0])[1]


def decisive(options: ProposalOptions) -> ProposalOptions:
    """The options that decide which parts are chosen, for the name of the study.

    Weights and minimum margins are left to the objective, which has those of all attitudes. Where the study
    is kept and what alternatives may lose decide nothing, nor
    does what a change must be worth. A new option counts unless it is named here.
    """
    keep = tuple(sorted(options.keep))
    return replace(
        options,
        keep=keep,
        weights=None,
        minimum_margins=None,
        study=None,
        loss=0.0,
        min_gain=0.0,
    )


def _problems(
    project: Project, options: ProposalOptions
) -> tuple[Objective, list[SetupProblem]]:
    """The objective, and a problem for every body, today's body first."""
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: propose needs it, because it says how far each "
            "setting may go"
        )
    objective = objective_of(
        project.venue,
        options.weights,
        options.minimum_margins,
        options.rear_reserve,
        options.most_growth,
    )
    if options.most_growth is not None and project.car.yaw_inertia is None:
        raise UserError(
            "car.toml has no car.yaw_inertia_kgm2: --most-growth needs it to find growth rates"
        )
    fixed = fixed_settings(options.keep)
    if options.raised == DISTURBANCE and requirement_of(project) is None:
        asked = "bump_mm, seam_mm, gust_m_s or road"
        raise UserError(
            f"--raise disturbance: limits.toml has no [require] with {asked}"
        )
    if options.robust and project.limits.tolerance is None:
        raise UserError(
            "limits.toml has no [tolerance]: --robust needs to know what the mechanics can hold"
        )
    own = project.setup.body
    bodies = [own]
    if BODY not in fixed:
        bodies += [
            body
            for body in (None, *(b.name for b in project.bodies))
            if body != own
        ]
    problems = [
        SetupProblem(with_body(project, body), objective, fixed)
        for body in bodies
    ]
    if not problems[0].variables and len(problems) == 1:
        free = "limits.toml leaves no setting free: give at least one range with from < to"
        raise UserError("--keep leaves no setting free" if fixed else free)
    return objective, problems
