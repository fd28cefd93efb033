"""A car's ride about its trims: from the project's dampers and inertias to matrices and rides in time."""

from __future__ import annotations

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.evaluation.motion import Motion, motion_at
from setupopt.evaluation.pack import by_wheel
from setupopt.evaluation.ride_modes import LinearRide, damping_records, linear_ride
from setupopt.physics.balance import COLUMNS, WORK, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.contacts import columns, find_contacts
from setupopt.physics.inputs import ANSWER, Floats, Records
from setupopt.physics.ride_time import RIDE, begin, ride_many
from setupopt.project.model import Project, Setup
from setupopt.robust.road.spectrum import Contacts


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
        case = self.cases.records[row]
        return linear_ride(self.packed, self.settings[0], case, self.damping, self.base(row)[0])

    def motion(self, row: int) -> Motion:
        """One case ready to move, at its trim."""
        case = self.cases.records[row]
        return motion_at(self.packed, self.settings[0], case, self.damping, self.base(row)[0])

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
