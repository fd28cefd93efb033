"""Project, setups and cases in; a Result out. The one place where the physics meets the project."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from setupopt import pack
from setupopt.cases import CaseSet, sweep_cases
from setupopt.errors import UserError
from setupopt.physics import sweep
from setupopt.physics.inputs import Floats, Records
from setupopt.project.bodies import with_body
from setupopt.project.model import Car, Project, Setup
from setupopt.result import Result


class Model:
    """A car made ready once, for many evaluations."""

    def __init__(self, car: Car) -> None:
        self.car = car
        self.packed = pack.vehicle(car)

    def settings(self, setups: Setup | Sequence[Setup]) -> Records:
        """SETTING records (setups). A Setup may hold arrays, as `pack.stack` makes it."""
        whole = setups if isinstance(setups, Setup) else pack.stack(setups)
        return pack.settings(self.car, self.packed[0], whole)

    def run(
        self,
        settings: Records,
        cases: CaseSet,
        starts: Floats | None = None,
        progress: Callable[[int], object] | None = None,
    ) -> Result:
        """Every setup in every case. `starts` (cases, 8): trim and press of a setup nearby."""
        _refuse_beyond_section(self.packed[0], cases)
        answers = sweep.run(self.packed, settings, cases.records, starts, progress)
        body = self.packed[0]
        shape = (settings.size, len(cases))
        return Result(cases, answers.reshape(shape), body["bump_travel"][0], body["droop_travel"][0])


def _refuse_beyond_section(body: Records, cases: CaseSet) -> None:
    """The wheels must stand inside the section they are said to stand on."""
    reach = np.hypot(body["x"][0], body["y"][0]).max()
    tight = np.flatnonzero(cases.records["curvature"] * reach >= 0.95)
    if tight.size:
        radius = 1.0 / cases.records["curvature"][tight[0]]
        raise UserError(
            f"case {tight[0] + 1}: a section of {radius:.3f} m radius is too tight for a car "
            f"whose wheels stand {reach:.3f} m from its middle"
        )


def evaluate(
    project: Project,
    setups: Setup | Sequence[Setup] | None = None,
    cases: CaseSet | None = None,
    progress: Callable[[int], object] | None = None,
) -> Result:
    """Grip margin and all that belongs to it, the car wearing the body of the setups.

    `setups`: one, several of one body, or None for the one the car stands on today. `cases`: None for the
    venue's own sweep. Raises UserError where a case cannot be put to this car, or there is no such body.
    """
    wanted = [project.setup] if setups is None else [setups] if isinstance(setups, Setup) else list(setups)
    model = Model(with_body(project, wanted[0].body).car)
    return model.run(
        model.settings(wanted), sweep_cases(project.venue) if cases is None else cases, progress=progress
    )
