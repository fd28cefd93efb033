"""Build error and uncertain inputs: a box of errors round a setup, the worst build in it, and how large a
box the setup stands.

Every wheel errs on its own in camber, spring and pressure; ride height errs by axle, for the floor line is
one straight line. What is uncertain about car and surface is the same all round.
"""

from __future__ import annotations

from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypedDict, Unpack

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics import jit, sweep
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.project.consistency import refusals
from setupopt.project.limits_model import Spread, Tolerance  # fmt: skip
from setupopt.project.model import WHEELS, Car, Project, Setup
from setupopt.robust.builds.varied_car import varied_car
from setupopt.units import PERCENT

# Build errors in this order, -1 to 1 times the tolerance.
NAMES = tuple(
    [f"camber {w}" for w in WHEELS]
    + [f"spring {w}" for w in WHEELS]
    + [f"pressure {w}" for w in WHEELS]
    + ["ride height front", "ride height rear"]
)
# Uncertain inputs by their field of Spread, -1 to 1 times its share.
INPUTS = {
    "surface_grip": "surface grip",
    "downforce": "downforce",
    "drag": "drag",
    "side_force": "side force",
    "mass": "mass",
    "tyre_friction": "tyre friction",
}
# However large a box is blown up, so much of a value is left.
LEFT = 0.1


# ---- what an error does ------------------------------------------------------------------------------------


class Nearby(TypedDict, total=False):
    """Answers to start from, and whether by their slopes: as `Model.run` takes them."""

    starts: Records | None
    by_slope: bool


@dataclass(frozen=True)
class BuildErrors:
    """One setup with the errors that its build and the inputs may have: a box, -1 to 1 in each of `names`.

    Without `tolerance` the build is exact, without `spread` the inputs are. `scale` blows up the whole box;
    where that would take a value away, a tenth of it is left, and a car stays heavier than its wheels.
    """

    car: Car
    setup: Setup
    tolerance: Tolerance | None
    spread: Spread | None = None
    scale: float = 1.0

    @cached_property
    def shares(self) -> dict[str, float]:
        """Shares of the inputs that the user called uncertain, by their field of Spread."""
        given = {field: getattr(self.spread, field, None) for field in INPUTS}
        return {
            field: share for field, share in given.items() if share is not None
        }

    @property
    def names(self) -> tuple[str, ...]:
        """The errors in their order: NAMES, then the uncertain inputs."""
        built = () if self.tolerance is None else NAMES
        return built + tuple(INPUTS[field] for field in self.shares)

    def build_alone(self) -> BuildErrors:
        """The same with exact inputs."""
        return replace(self, spread=None)

    def inputs_alone(self) -> BuildErrors:
        """The same with an exact build."""
        return replace(self, tolerance=None)

    def settings(self, built: Floats, model: Model | None = None) -> Records:
        """SETTING records of builds (builds, NAMES), or (builds, 0); `model` of a varied car."""
        own = model or Model(self.car)
        setups = np.repeat(by_wheel(self.setup), len(built))
        if self.tolerance is not None:
            _misbuild(setups, self.tolerance, self.scale * built)
        return own.settings(setups)

    def factors(self, inputs: Floats) -> dict[str, float]:
        """Value over exact value of each uncertain input, by its field of Spread; `inputs` (shares)."""
        pairs = zip(self.shares.items(), inputs, strict=True)
        return {
            field: max(LEFT, 1.0 + self.scale * share * float(e))
            for (field, share), e in pairs
        }

    def result(
        self, errors: Floats, cases: CaseSet, **nearby: Unpack[Nearby]
    ) -> Result:
        """Builds (builds, names), or one, in every case.

        Builds with the same inputs are solved together; different inputs make a car of their own.
        """
        rows = np.atleast_2d(np.asarray(errors, dtype=float))
        built, inputs = np.hsplit(rows, [rows.shape[1] - len(self.shares)])
        kinds, kind = np.unique(inputs, axis=0, return_inverse=True)
        answers = np.zeros((len(rows), len(cases)), ANSWER)
        with ThreadPoolExecutor(jit.workers()) as pool:
            for number, values in enumerate(kinds):
                alike = kind == number
                found = self._answers(
                    built[alike], values, cases, pool, **nearby
                )
                answers[alike] = found.reshape(-1, len(cases))
        return Result(cases, answers, Model(self.car).packed[0][0])

    def of_setups(
        self,
        row: Floats,
        cases: CaseSet,
        starts: Records | None,
        by_slope: bool,
    ) -> Records:
        """ANSWER records (setups x cases) of one build (names) of each of the setups that `setup` holds."""
        built, inputs = np.split(row, [row.size - len(self.shares)])
        nearby = Nearby(starts=starts, by_slope=by_slope)
        with ThreadPoolExecutor(jit.workers()) as pool:
            return self._answers(built[None, :], inputs, cases, pool, **nearby)

    def _answers(
        self, built: Floats, inputs: Floats, cases: CaseSet, pool: Executor, **nearby: Unpack[Nearby],
    ) -> Records:  # fmt: skip
        """ANSWER records (builds x cases) of builds with the same inputs."""
        factors = self.factors(inputs)
        model = Model(varied_car(self.car, factors))
        records = cases.records.copy()
        records["surface_grip"] *= factors.get("surface_grip", 1.0)
        settings = self.settings(built, model)
        return sweep.run(
            model.packed,
            settings,
            records,
            pool=pool,
            **nearby,
        )


def _misbuild(setups: Records, t: Tolerance, errors: Floats) -> None:
    """Put build errors (builds, NAMES) into SETUP records (builds)."""
    setups["camber"] += t.camber * errors[:, 0:4]
    setups["spring"] *= np.maximum(LEFT, 1.0 + t.spring_share * errors[:, 4:8])
    pressure = setups["pressure"]
    setups["pressure"] = np.maximum(
        LEFT * pressure, pressure + t.pressure * errors[:, 8:12]
    )
    setups["ride_height"] += t.ride_height * np.repeat(
        errors[:, 12:14], 2, axis=1
    )


def build_errors(
    project: Project, setup: Setup | None = None
) -> BuildErrors | None:
    """The errors that limits.toml allows a setup, today's unless given; None where it tells of none.

    Raises InputError where the mass is so uncertain that the lightest or heaviest car cannot be.
    """
    limits = project.limits
    if limits is None:
        return None
    build = BuildErrors(
        project.car, setup or project.setup, limits.tolerance, limits.spread
    )
    if "mass" in build.shares:
        _refuse_mass(project, build.setup, build.shares["mass"])
    return build if build.names else None


def _refuse_mass(project: Project, setup: Setup, share: float) -> None:
    """A car at either end of its mass must still be one."""
    for factor in (1.0 - share, 1.0 + share):
        car = replace(project.car, mass=factor * project.car.mass)
        found = refusals(car, project.venue, setup)
        if found:
            file, loc, expected = found[0]
            place = f"{'.'.join(str(part) for part in loc)} of {file}.toml"
            raise InputError(
                str(project.folder / "limits.toml"), None, "spread.mass_percent", f"{share / PERCENT:g}",
                f"less: a car of {car.mass:.4g} kg needs at {place} {expected}",
            )  # fmt: skip
