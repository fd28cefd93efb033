"""A car's ride about its trims: from the project's dampers and inertias to matrices and rides in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics.balance import WORK, balance
from setupopt.physics.contacts import columns, find_contacts
from setupopt.physics.inputs import ANSWER, STRIPS, Floats, Records
from setupopt.physics.place import FLOW, PLACE, prepare
from setupopt.physics.ride import DAMPING, linear_matrices
from setupopt.physics.ride_time import RIDE, ride_many
from setupopt.project.model import Axle, Project, Setup
from setupopt.project.needs import need
from setupopt.robust.road.spectrum import Contacts

_PURPOSE = "prove needs it for the car's movement over bumps"


@dataclass(frozen=True)
class LinearRide:
    """mass q'' + damping q' + stiffness q = road e + road_damping e' about a trim; SI.

    mass (7), damping and stiffness (7, 7), road and road_damping (7, columns; physics/contacts.py).
    """

    mass: Floats
    damping: Floats
    stiffness: Floats
    road: Floats
    road_damping: Floats


def damping_records(project: Project, body: Records) -> Records:
    """DAMPING (1) of a project's car. Raises InputError where dampers or inertias are missing."""
    car, file = project.car, str(project.folder / "car.toml")
    record = np.zeros(1, dtype=DAMPING)
    for first, name, axle in ((0, "front", car.front), (2, "rear", car.rear)):
        for field, value in _rates(axle, name, file).items():
            record[field][0, first : first + 2] = value
    pitch = need(car.pitch_inertia, file, "car.pitch_inertia_kgm2", _PURPOSE)
    roll = need(car.roll_inertia, file, "car.roll_inertia_kgm2", _PURPOSE)
    record["mass"][0] = [body["sprung_mass"][0], pitch, roll, *body["unsprung_mass"][0]]
    return record


def _rates(axle: Axle, name: str, file: str) -> dict[str, float]:
    """Rates at the wheel: a damper's times the motion ratio squared."""
    bump = need(axle.damper_bump, file, f"{name}.damper_bump_Ns_per_mm", _PURPOSE)
    rebound = need(axle.damper_rebound, file, f"{name}.damper_rebound_Ns_per_mm", _PURPOSE)
    tyre = need(axle.tyre.damping, file, f"tyre.{axle.tyre.name}.damping_Ns_per_mm", _PURPOSE)
    square = axle.motion_ratio**2
    return {"bump": bump * square, "rebound": rebound * square, "tyre": tyre}


class RideModel:
    """One setup in many cases, each about its trim. Raises InputError where dampers or inertias are missing.

    `trims` (cases, 7) and `margin` (cases) are not a number where contact is lost: there is no ride about
    such a case, and asking for one raises ValueError.
    """

    def __init__(self, project: Project, setup: Setup, cases: CaseSet) -> None:
        self.model, self.cases = Model(project.car), cases
        self.settings = self.model.settings(setup)
        self.damping = damping_records(project, self.model.packed[0])
        self.result = self.model.run(self.settings, cases)
        held = self.result.contact[0][:, None]
        self.trims: Floats = np.where(held, self.result.answers["state"][0], np.nan)
        self.margin = self.result.margin[0]

    @property
    def columns(self) -> int:
        """Heights of a road at one moment (physics/contacts.py)."""
        return int(columns(self.model.packed[1]))

    def scratch(self) -> tuple[Records, Records, Records]:
        """PLACE (1), FLOW (strips) and WORK (1) for one thread."""
        elements = self.model.packed[1]
        return np.zeros(1, PLACE), np.zeros(elements.size * STRIPS, FLOW), np.zeros(1, WORK)

    def trim(self, row: int) -> Floats:
        """Trim (7) of one case."""
        if np.isnan(self.trims[row, 0]):
            raise ValueError("no ride about a case that loses contact")
        return np.ascontiguousarray(self.trims[row])

    def contacts(self, row: int) -> Contacts:
        """Where this car feels a road in one case, column by column (physics/contacts.py)."""
        (bodies, elements, _), (places, flow, works) = self.model.packed, self.scratch()
        behind, length = np.zeros((2, self.columns))
        prepare(bodies[0], elements, self.settings[0], self.cases.records[row], places[0], flow)
        balance(bodies[0], elements, self.settings[0], places[0], flow, self.trim(row), works[0])
        find_contacts(bodies[0], elements, places[0], works[0], behind, length)
        half_track = float(bodies["y"][0, 0])
        side = np.where(np.arange(behind.size) % 2 == 0, half_track, -half_track)
        return Contacts(behind, side, length)

    def linear(self, row: int) -> LinearRide:
        """The linear equations of motion about the trim of one case."""
        (bodies, elements, _), (places, flow, works) = self.model.packed, self.scratch()
        square, road = np.zeros((2, 7, 7)), np.zeros((2, 7, self.columns))
        prepare(bodies[0], elements, self.settings[0], self.cases.records[row], places[0], flow)
        linear_matrices(
            bodies[0], elements, self.settings[0], self.damping[0], places[0], flow, self.trim(row),
            works[0], square[0], road[0], square[1], road[1],
        )  # fmt: skip
        return LinearRide(self.damping["mass"][0].copy(), square[1], square[0], road[0], road[1])

    def ride(
        self, row: int, roads: Floats, dt: float, every: int = 4, skip: int = 0, floor: float = 0.0
    ) -> Records:
        """RIDE records (rides) of one case over roads (rides, samples, columns) in m, `dt` seconds apart."""
        bodies, elements, points = self.model.packed
        rides, (places, flow, works) = np.zeros(len(roads), dtype=RIDE), self.scratch()
        ride_many(
            bodies, elements, points, self.settings, self.cases.records[row : row + 1], self.damping, places,
            flow, self.trim(row), np.ascontiguousarray(roads), dt, every, skip, floor, works,
            np.zeros((7, 7)), np.zeros(1, ANSWER), rides,
        )  # fmt: skip
        return rides
