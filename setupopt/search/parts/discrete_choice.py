"""From the best continuous points to one setup that can be set: which body, which parts, which steps."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.engine import URL

from setupopt.errors import OutputError, UserError
from setupopt.files import write_whole
from setupopt.jobs.fingerprint import fingerprint
from setupopt.jobs.pool import WorkerPool
from setupopt.jobs.store import Store
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.parts.branch_and_bound import BranchAndBoundResult, PartStudy, is_alive, patiently
from setupopt.search.parts.node_solver import Body, BodyBoxes
from setupopt.search.parts.part_space import BoundedNode, PartSpace
from setupopt.search.relaxation import CLOSE, TIGHT, Progress, RelaxedOptimum
from setupopt.search.rounding import settable
from setupopt.search.solver import Solver

# Sets of parts are told apart down to this; at most so many boxes are opened.
_NEAR, _MOST_BOXES = 2e-5, 400
# Sets this close to the best, and so many, are brought to steps: steps may turn their order.
_STEP_LOSS, _MOST_SETS = 5e-4, 3


@dataclass(frozen=True)
class Choice:
    """A body by its number, the continuous optimum `end` with its parts, and the settable point near it.

    `merit` of the point over the dense index; `places` hold it down. `study`: None where nothing was to be
    chosen.
    """

    body: int
    end: ExchangeResult
    point: Floats
    merit: float
    places: IndexPoints
    study: BranchAndBoundResult | None
    steps: int


def choose_parts(
    project: Project, roots: Sequence[RelaxedOptimum], storage: str | None, decisive: object,
    progress: Progress | None, crew: WorkerPool | None = None,
) -> Choice:  # fmt: skip
    """The best body, parts and steps. `decisive`: whatever else, besides the project, decides the numbers.

    Boxes of sets are opened by `crew`, if one is given, to the same numbers.
    """
    bodies = [root.solver.problem.project.setup.body for root in roots]
    space = PartSpace(bodies, roots[0].solver.problem.variables)
    bounded = [BoundedNode(space.root(b), r.best.merit, r.best.outcome.point) for b, r in enumerate(roots)]
    name = _name(project, decisive)
    study = _studied(space, roots, bounded, storage, name, progress, crew) if space.sets > 1 else None
    sets = bounded if study is None else list(study.sets)
    near = [found for found in sets[:_MOST_SETS] if found.bound > sets[0].bound - _STEP_LOSS]
    if progress is not None:
        progress("parts and steps")
    choices = [_to_steps(roots[found.box.body], space, found, study) for found in near]
    return max(choices, key=lambda choice: choice.merit)


def _to_steps(
    root: RelaxedOptimum, space: PartSpace, found: BoundedNode, study: BranchAndBoundResult | None
) -> Choice:
    """One set solved sharply, and brought to steps."""
    solver = Solver(root.solver.problem, root.solver.robust, TIGHT)
    borders = space.borders(found.box)
    end = solver.solve(borders, found.point, root.best.places, CLOSE)
    end = solver.verified(borders, end, CLOSE)
    point, merit, places = settable(solver, end.outcome.point, end.places, CLOSE)
    return Choice(found.box.body, end, point, merit, places, study, end.steps)


def _studied(
    space: PartSpace, roots: Sequence[RelaxedOptimum], bounded: Sequence[BoundedNode],
    storage: str | None, name: str, progress: Progress | None, crew: WorkerPool | None,
) -> BranchAndBoundResult:  # fmt: skip
    """Boxes opened until none is worth it, in a study that is kept."""
    solve = BodyBoxes(space, tuple(Body.of(root) for root in roots))

    def told(opened: int, best: float, bound: float) -> None:
        if progress is not None:
            progress(f"parts, {opened} sets of {space.sets} solved, {best:.4f}, at most {bound:.4f}")

    def chosen(url: str | None) -> BranchAndBoundResult:
        return PartStudy(space, solve, bounded, _NEAR, url, name, crew).run(_MOST_BOXES, told)

    with _storage(storage, name) as url, _told_clearly(storage):
        try:
            return chosen(url)
        except Exception as error:
            if storage is not None or url is None or not _is_about_storage(error):
                raise
            return chosen(None)  # our own file is damaged, or the disk full: memory will do


def _name(p: Project, decisive: object) -> str:
    """Name of the study: all that decides what a box answers."""
    return fingerprint(p.car, p.venue, p.setup, p.limits, p.bodies, p.own_body, decisive, _NEAR, _MOST_BOXES)


@contextmanager
def _storage(asked: str | None, name: str) -> Iterator[str | None]:
    """The storage asked for, or a file that is forgotten once the work is done.

    None, memory alone, where another run of the very same study is at that file: the first to end would take
    it from under the other.
    """
    if asked is not None:
        yield asked
        return
    kept = Store.open(name)
    if not _is_ours(kept.folder / "worker"):
        yield None
        return
    yield URL.create("sqlite", database=str(kept.folder / "parts.db")).render_as_string()
    kept.finish()


def _is_ours(mark: Path) -> bool:
    """Whether a study's file may be used: nobody has marked it, or who has, on this machine, is gone."""
    host = socket.gethostname()
    with suppress(OSError):
        with mark.open("x") as file:  # whole or not at all: of two, one makes it
            file.write(f"{os.getpid()} {host}")
        return True
    with suppress(OSError, ValueError, OutputError):
        worker, _, where = mark.read_text().partition(" ")
        if where in ("", host) and (int(worker) == os.getpid() or not is_alive(int(worker))):
            write_whole(mark, f"{os.getpid()} {host}")
            return True
    return False


def refuse_storage(storage: str) -> None:
    """Raises UserError where a study cannot be kept at an address: better at once than after the work."""
    from optuna.storages import get_storage

    with _told_clearly(storage):
        patiently(lambda: get_storage(storage))


@contextmanager
def _told_clearly(asked: str | None) -> Iterator[None]:
    """A storage that the user named and that cannot be used is one clear message."""
    try:
        yield
    except Exception as error:
        if asked is None or not _is_about_storage(error):
            raise
        raise UserError(f"--study {asked}: {str(error).splitlines()[0]}") from None


def _is_about_storage(error: Exception) -> bool:
    """Whether an error comes from the database, its driver or its address."""
    kinds: list[type[BaseException]] = [ImportError]  # a driver that is missing
    with suppress(ImportError):
        from optuna.exceptions import OptunaError
        from sqlalchemy.exc import SQLAlchemyError

        kinds += [OptunaError, SQLAlchemyError]
    return isinstance(error, tuple(kinds)) or type(error) is ValueError
