"""Random projects and cases, read by the package from a folder and by the plain reference as they are."""

from __future__ import annotations

import tempfile
from copy import deepcopy
from dataclasses import dataclass
from functools import cached_property
from math import radians
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import tomli_w
from at_trim import Bench
from plain_slip_model import solve_slip_case
from random_cases import random_case, random_project

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.result import Result
from setupopt.project import load
from setupopt.project.model import Project

Table = dict[str, Any]


@dataclass(frozen=True)
class Drawn:
    """One random project with one load case, all in file units."""

    car: Table
    venue: Table
    setup: Table
    case: Table

    def write(self, folder: Path) -> Path:
        """The project folder, the case as its only attitude."""
        venue = deepcopy(self.venue)
        attitude = {
            key: value
            for key, value in self.case.items()
            if key != "roll_angle_deg"
        }
        venue["attitude"] = [attitude | {"name": "drawn"}]
        for name, table in (
            ("car", self.car),
            ("venue", venue),
            ("setup", self.setup),
        ):
            (folder / f"{name}.toml").write_text(
                tomli_w.dumps(table), encoding="utf-8"
            )
        return folder

    @cached_property
    def project(self) -> Project:
        """As the package reads it."""
        with tempfile.TemporaryDirectory() as folder:
            return load(self.write(Path(folder)))

    @property
    def cases(self) -> CaseSet:
        """The one case."""
        return sweep_cases(
            self.project.venue, np.array([radians(self.case["roll_angle_deg"])])
        )

    def evaluated(self) -> Result:
        """The package's answer."""
        return evaluate(self.project, cases=self.cases)

    def bench(self) -> Bench:
        """The package's balance, open to any state."""
        return Bench(self.project.car, self.project.setup, self.cases)

    def reference(self) -> Table:
        """The plain reference's answer, which takes it seconds."""
        return solve_slip_case(self.car, self.venue, self.setup, self.case)


def drawn(seed: int) -> Drawn:
    """The random project and case of a seed."""
    rng = Random(seed)
    car, venue, setup = random_project(rng)
    return Drawn(car, venue, setup, random_case(rng, venue))


def drawn_hard(seed: int) -> Drawn:
    """Slower, larger headings, horizontal turns on any section: wheels lift, and some cars peel off."""
    d, rng = drawn(seed), Random(seed + 1_000_000)
    d.case["speed_m_s"] = round(d.case["speed_m_s"] * rng.uniform(0.3, 1.0), 3)
    d.case["heading_deg"] = rng.choice(
        [d.case["heading_deg"], round(rng.uniform(-40, 40), 3)]
    )
    if rng.random() < 0.5:
        d.case["turn_radius_m"] = round(rng.uniform(80, 1000), 1)
    return d
