"""A car's ride about its trims: from the project's dampers and inertias to matrices and rides in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import by_wheel, car_of
from setupopt.physics.balance import COLUMNS, WORK, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.contacts import columns, find_contacts
from setupopt.physics.inputs import ANSWER, Floats, Record, Records
from setupopt.physics.ride import DAMPING, linear_matrices
from setupopt.physics.ride_time import RIDE, begin, ride_many
from setupopt.project.model import AXLES, Axle, Project, Setup
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


def damping_records(project: Project, setup: Record, body: Records) -> Records:
    """DAMPING (1) of a project's car in a setup, a SETUP record: the setup's dampers, else the car's.

    Raises InputError where dampers or inertias are missing.
    """
    car, file = car_of(project.car, setup), str(project.folder / "car.toml")
    record = np.zeros(1, dtype=DAMPING)
    for w, tyre in enumerate((*car.front.tyres, *car.rear.tyres)):
        name = AXLES[w // 2]
        axle: Axle = getattr(car, name)
        square = axle.motion_ratio**2
        for field in ("bump", "rebound"):
            own = setup[f"damper_{field}"][w]
            damper = getattr(axle, f"damper_{field}") if np.isnan(own) else own
            rate = need(damper, file, f"{name}.damper_{field}_Ns_per_mm", _PURPOSE)
            record[field][0, w] = rate * square
        record["tyre"][0, w] = need(tyre.damping, file, f"tyre.{tyre.name}.damping_Ns_per_mm", _PURPOSE)
    pitch = need(car.pitch_inertia, file, "car.pitch_inertia_kgm2", _PURPOSE)
    roll = need(car.roll_inertia, file, "car.roll_inertia_kgm2", _PURPOSE)
    record["mass"][0] = [body["sprung_mass"][0], pitch, roll, *body["unsprung_mass"][0]]
    return record


class RideModel:
    """One setup in many cases, each about its trim. Raises InputError where dampers or inertias are missing.

    `margin` (cases) is not a number where contact is lost. There is no ride about such a case, nor about one
    that slides: asking for one raises ValueError.
    """

    def __init__(self, project: Project, setup: Setup, cases: CaseSet) -> None:
        self.model = Model(project.car)
        self.cases = cases
        self.settings = self.model.settings(setup)
        self.packed = self.model.packed_for(self.settings[0])
        self.damping = damping_records(project, by_wheel(setup)[0], self.packed[0])
        self.result = self.model.run(self.settings, cases)
        self.margin = self.result.margin[0]

    @property
    def columns(self) -> int:
        """Heights of a road at one moment (physics/contacts.py)."""
        return int(columns(self.packed[1]))

    def scratch(self) -> tuple[Records, Records, Records]:
        """CASE_STATE (1), ROADBED (elements) and WORK (1) for one thread."""
        elements = self.packed[1]
        return np.zeros(1, CASE_STATE), np.zeros(elements.size, ROADBED), np.zeros(1, WORK)

    def rides(self, row: int) -> bool:
        """Whether there is a ride about a case: it keeps contact and does not slide."""
        return bool(self.has_ride[row])

    @property
    def has_ride(self) -> np.ndarray:
        """`rides` of all cases, (cases)."""
        answers = self.result.answers[0]
        return np.asarray(answers["contact"] & ~answers["slides"])

    def base(self, row: int) -> Records:
        """The steady answer (1) that a ride of one case starts from."""
        if not self.rides(row):
            raise ValueError("no ride about a case that slides or loses contact")
        return np.ascontiguousarray(self.result.answers[0, row : row + 1])

    def trim(self, row: int) -> Floats:
        """Trim (COLUMNS) of one case, at full friction."""
        return np.append(self.base(row)["state"][0], 1.0)

    def contacts(self, row: int) -> Contacts:
        """Where this car feels a road in one case, column by column (physics/contacts.py)."""
        bodies, elements, _ = self.packed
        states, bed, works = self.scratch()
        behind, length = np.zeros((2, self.columns))
        case = self.cases.records[row]
        x = np.zeros(COLUMNS)
        begin(bodies[0], case, self.base(row)[0], states[0], x)
        balance(bodies[0], elements, self.settings[0], case, states[0], bed, x, works[0])
        find_contacts(bodies[0], elements, states[0], works[0], behind, length)
        half_track = 0.5 * float(bodies["y"][0, 0] - bodies["y"][0, 1])
        side = np.where(np.arange(behind.size) % 2 == 0, half_track, -half_track)
        return Contacts(behind, side, length)

    def linear(self, row: int) -> LinearRide:
        """The linear equations of motion about the trim of one case."""
        bodies, elements, _ = self.packed
        states, bed, works = self.scratch()
        square = np.zeros((2, 7, 7))
        road = np.zeros((2, 7, self.columns))
        case = self.cases.records[row]
        x = np.zeros(COLUMNS)
        begin(bodies[0], case, self.base(row)[0], states[0], x)
        linear_matrices(
            bodies[0], elements, self.settings[0], case, self.damping[0], states[0], bed, x, works[0],
            square[0], road[0], square[1], road[1],
        )  # fmt: skip
        return LinearRide(self.damping["mass"][0].copy(), square[1], square[0], road[0], road[1])

    def ride(
        self, row: int, roads: Floats, dt: float, every: int = 4, skip: int = 0, floor: float = 0.0
    ) -> Records:
        """RIDE records (rides) of one case over roads (rides, samples, columns) in m, `dt` seconds apart."""
        bodies, elements, points = self.packed
        rides = np.zeros(len(roads), dtype=RIDE)
        states, bed, works = self.scratch()
        ride_many(
            bodies, elements, points, self.settings, self.cases.records[row : row + 1], self.damping,
            self.base(row), states, bed, np.ascontiguousarray(roads), dt, every, skip, floor, works,
            np.zeros((7, COLUMNS)), np.zeros(1, ANSWER), rides,
        )  # fmt: skip
        return rides
