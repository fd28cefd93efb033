"""What a balance under the model's car would read: axle loads, drag and side force of measured attitudes.

Everything comes from the kernels that every case goes through; here the body stands where it was measured.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setupopt.evaluation.pack import vehicle
from setupopt.fit.air.rows import FORCES, AirRows
from setupopt.fit.air.terms import Term
from setupopt.physics import air
from setupopt.physics.balance import COLUMNS
from setupopt.physics.case_state import (
    CASE_STATE,
    ROADBED,
    prepare,
    set_heading,
)
from setupopt.physics.inputs import CASE, SETTING, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.project.model import Car

_PACKED = {
    "free_area": "free",
    "ground_area": "ground",
    "peak_gap": "peak",
}  # others keep their name


@kernel
def axle_loads(
    car: Record, elements: Records, setups: Records, cases: Records, rolls: Floats, state: Record,
    road: Records, out: Floats,
) -> None:  # fmt: skip
    """Loads in newtons into `out` (rows, forces): downforce on the front and rear axle, drag, side force.

    Forces on the body, moments about the line where the tyres touch the surface, so that drag takes load
    off the front axle and puts it on the rear one: the axle lifts of SAE J1594 (from memory), sign changed.
    """
    loads = np.zeros((air.LOADS, air.COLUMNS))
    x = np.zeros(COLUMNS)
    for i in range(cases.size):
        prepare(car, cases[i], 0.0, state)
        set_heading(car, cases[i], 0.0, state)
        x[2] = rolls[i]
        air.downforce(car, elements, setups[i], cases[i], state, road, x, loads)
        lift = loads[0, 0]
        pitch = loads[2, 0] - car.drag_height * state.drag
        out[i, 0] = (car.to_rear * lift + pitch) / car.wheelbase
        out[i, 1] = (car.to_front * lift - pitch) / car.wheelbase
        out[i, 2] = state.drag
        out[i, 3] = air.side_force(car, state)


class Balance:
    """A car on the attitudes of a table, in whatever body is tried."""

    def __init__(self, car: Car, terms: Sequence[Term], rows: AirRows) -> None:
        (self._car,), self._elements, _ = vehicle(car)
        self._setups, self._cases, self._rolls = (
            _setups(rows),
            _cases(rows),
            rows.body_roll.copy(),
        )
        self._state, self._road = (
            np.zeros(1, CASE_STATE)[0],
            np.zeros(self._elements.size, ROADBED),
        )
        self._like = np.array([term.like for term in terms])
        self._places = [self._packed(term) for term in terms]
        self._packed_like = np.array(
            [float(record[field]) for record, field in self._places]
        )

    def _packed(self, term: Term) -> tuple[Record, str]:
        """Where a term stands in the packed car."""
        record = (
            self._car if term.element is None else self._elements[term.element]
        )
        return record, _PACKED.get(term.field, term.field)

    def loads(self, values: Floats) -> Floats:
        """(rows, forces) in newtons with the terms at `values`."""
        packed = self._packed_like * (values / self._like)
        for (record, field), value in zip(self._places, packed, strict=True):
            record[field] = value
        out = np.empty((self._cases.size, len(FORCES)))
        axle_loads(
            self._car,
            self._elements,
            self._setups,
            self._cases,
            self._rolls,
            self._state,
            self._road,
            out,
        )
        return out


def _setups(rows: AirRows) -> Records:
    """Setups that stand at the measured ride heights."""
    setups = np.zeros(len(rows), SETTING)
    setups["ride_height"] = np.column_stack([rows.front_ride, rows.rear_ride])
    return setups


def _cases(rows: AirRows) -> Records:
    """Cases on the measured surface, in flow of the measured speed that comes in at the measured angle."""
    cases = np.zeros(len(rows), CASE)
    cases["speed"], cases["crosswind"] = (
        rows.speed * np.cos(rows.yaw),
        rows.speed * np.sin(rows.yaw),
    )
    cases["air_density"] = rows.density
    cases["curvature"] = cases["floor_curvature"] = rows.curvature
    return cases
