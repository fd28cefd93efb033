"""How a car rides about its trims: linear equations of motion, frequencies and damping."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations
from typing import NamedTuple

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.model import Model
from setupopt.evaluation.pack import car_of
from setupopt.evaluation.result import Field, Result, finite
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.balance import COLUMNS, WORK
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.ride import DAMPING, fill_matrices
from setupopt.physics.sweep import on_all_cores
from setupopt.project.model import AXLES, WHEELS, Axle, Project
from setupopt.project.needs import need

_PURPOSE = "prove needs it for the car's movement over bumps"
# Motions of the body on its wheels; motions of the wheels under a body that stands still.
BODY = ("heave", "pitch", "roll")
MODES = (*BODY, "warp", *(f"wheel {wheel}" for wheel in WHEELS))
# Wheel displacements (warp and each wheel, wheels). Warp: front left and rear right up, the others down.
_SHAPES = np.vstack([[1.0, -1.0, -1.0, 1.0], np.eye(4)])
_WHEELS = slice(3, 7)
# Columns that may be those of the body, in every order.
_PLACES = np.array(list(permutations(range(7), len(BODY))))
_TINY = 1e-300
# Shares of critical damping outside of which a caution is due: no swing at all, and one of which the next
# has more than half, exp(-2 pi 0.11).
OVER_CRITICAL = 1.0
HARDLY_DAMPED = 0.11
_KEYS = {
    "natural": "frequency_hz",
    "ratio": "damping_ratio",
    "swing": "swing_hz",
    "swing_ratio": "swing_damping_ratio",
}


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
            rate = need(
                damper, file, f"{name}.damper_{field}_Ns_per_mm", _PURPOSE
            )
            record[field][0, w] = rate * square
        record["tyre"][0, w] = need(
            tyre.damping, file, f"tyre.{tyre.name}.damping_Ns_per_mm", _PURPOSE
        )
    pitch = need(car.pitch_inertia, file, "car.pitch_inertia_kgm2", _PURPOSE)
    roll = need(car.roll_inertia, file, "car.roll_inertia_kgm2", _PURPOSE)
    record["mass"][0] = [
        body["sprung_mass"][0],
        pitch,
        roll,
        *body["unsprung_mass"][0],
    ]
    return record


def ride_matrices(
    packed: tuple[Records, Records, Records],
    setting: Record,
    cases: Records,
    answers: Records,
    damping: Records,
) -> tuple[Floats, Floats, Floats]:
    """mass q'' + damping q' + stiffness q = 0 about trims: mass (7), the others (cases, 7, 7); SI.

    `packed`: VEHICLE (1), ELEMENT (elements), POINT (points); a SETTING record; CASE and steady ANSWER
    records (cases) at full friction; DAMPING (1).
    """
    vehicles, elements, _ = packed
    matrices = np.zeros((2, cases.size, 7, 7))
    fill_matrices(
        vehicles[0], elements, setting, cases, answers, damping[0], np.zeros(1, CASE_STATE)[0],
        np.zeros(elements.size, ROADBED), np.zeros(1, WORK)[0], np.zeros(COLUMNS), *matrices,
    )  # fmt: skip
    return damping["mass"][0], matrices[0], matrices[1]


class Modes(NamedTuple):
    """Frequencies in Hz and shares of critical damping, (..., MODES) each.

    `natural`, `ratio`: without damping, and the modal ratio (docs/model.md), as handbooks give them. `swing`,
    `swing_ratio`: what the damped car does; not a number where the motion creeps back without a swing.
    """

    natural: Floats
    ratio: Floats
    swing: Floats
    swing_ratio: Floats


def natural_modes(mass: Floats, damping: Floats, stiffness: Floats) -> Modes:
    """The modes of a car about trims: heave, pitch and roll with the wheels, the others under a still body.

    `mass` (7), `damping` and `stiffness` (..., 7, 7): see `ride_matrices`; fields (..., MODES). A mode u
    with left vector w has the ratio (w C u) / (2 omega w M u). A swing of the whole car is a pair of complex
    roots r: |r| / 2 pi and -Re r / |r|; it is named after the motion of the body that is largest in it. Not a
    number where nothing brings a motion back.
    """
    return _modes(mass, damping, stiffness, False)[0]


def _modes(
    mass: Floats, damping: Floats, stiffness: Floats, as_complex: bool
) -> tuple[Modes, bool]:
    """As `natural_modes`, and whether it took complex numbers: all do where one must.

    `as_complex`: in any case. Real numbers give another last digit.
    """
    springs = stiffness / mass[:, None]
    dampers = damping / mass[:, None]
    squares, shapes = np.linalg.eig(springs)
    is_complex = np.iscomplexobj(shapes)
    if as_complex:
        shapes = shapes.astype(complex)
    own = _body_columns(mass, shapes)
    modal = np.linalg.inv(shapes) @ dampers @ shapes
    rates = np.diagonal(modal, axis1=-2, axis2=-1)
    swinging = _swings(mass, springs, dampers)
    shape_mass = _SHAPES**2 @ mass[_WHEELS]
    spring, damper = (
        np.einsum("si,...ij,sj->...s", _SHAPES, part, _SHAPES) / shape_mass
        for part in (
            stiffness[..., _WHEELS, _WHEELS],
            damping[..., _WHEELS, _WHEELS],
        )
    )
    square = np.concatenate([_at(squares, own).real, spring], axis=-1)
    omega = np.sqrt(np.where(square > 0.0, square, np.nan))
    rate = np.concatenate([_at(rates, own).real, damper], axis=-1)
    ratio = rate / (2.0 * omega)
    swing = np.where(ratio < 1.0, omega, np.nan)
    swing[..., : len(BODY)] = np.abs(swinging)
    swing_ratio = np.where(np.isnan(swing), np.nan, ratio)
    swing_ratio[..., : len(BODY)] = -swinging.real / np.abs(swinging)
    turn = 2.0 * np.pi
    modes = Modes(omega / turn, ratio, swing / turn, swing_ratio)
    return modes, is_complex


def _at(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Entries of the last axis, by their numbers."""
    return np.take_along_axis(values, places, axis=-1)


def _swings(mass: Floats, springs: Floats, dampers: Floats) -> np.ndarray:
    """Roots (..., BODY) of the damped car's swings, one of each pair; not a number where there are fewer."""
    size = mass.size
    free = np.zeros((*springs.shape[:-2], 2 * size, 2 * size))
    free[..., :size, size:] = np.eye(size)
    free[..., size:, :size] = -springs
    free[..., size:, size:] = -dampers
    roots, motions = np.linalg.eig(free)
    first = np.argsort(roots.imag <= 0.0, axis=-1, kind="stable")[..., :size]
    roots = _at(roots, first)
    swings = roots.imag > 0.0
    shapes = _at(motions[..., :size, :], first[..., None, :])
    body = _body_columns(mass, shapes * swings[..., None, :])
    return np.where(_at(swings, body), _at(roots, body), np.nan)


def _body_columns(mass: Floats, shapes: np.ndarray) -> np.ndarray:
    """Which columns of shapes (..., 7, modes) are heave, pitch and roll: largest shares in their energy."""
    size = np.abs(shapes) * np.sqrt(mass)[:, None]
    whole = np.linalg.norm(size, axis=-2, keepdims=True)
    share = size[..., : len(BODY), :] / np.maximum(whole, _TINY)
    total = share[..., np.arange(len(BODY)), _PLACES].sum(axis=-1)
    return np.asarray(_PLACES[total.argmax(axis=-1)])


@dataclass(frozen=True)
class RideModes:
    """The modes of a setup about the trims of cases, each field of `modes` (cases, MODES).

    Not a number in a case without a trim at full friction. `at`: the case with the worst margin of those
    that have one; `row`: its row in the result. `is_complex`: whether any case took complex numbers.
    """

    modes: Modes
    at: int
    row: int
    is_complex: bool = False

    @cached_property
    def rows(self) -> list[Field]:
        """Every mode: in the case `at`, and the least and most of all cases."""
        return [
            {"mode": name}
            | {
                key: value
                for field in _KEYS
                for key, value in self._values(field, i).items()
            }
            for i, name in enumerate(MODES)
        ]

    def _values(self, field: str, mode: int) -> Field:
        """One number of a mode by the keys of the JSON."""
        values = getattr(self.modes, field)[:, mode]
        key = _KEYS[field]
        known = values[np.isfinite(values)]
        least, most = (
            (float(known.min()), float(known.max()))
            if known.size
            else (None, None)
        )
        return {
            key: finite(values[self.at]),
            f"{key}_least": least,
            f"{key}_most": most,
        }

    @property
    def telling(self) -> set[int]:
        """The case `at`, and those with the least and the most of any number."""
        rows = {self.at}
        for values in self.modes:
            known = np.isfinite(values)
            rows |= set(np.where(known, values, np.inf).argmin(axis=0).tolist())
            rows |= set(
                np.where(known, values, -np.inf).argmax(axis=0).tolist()
            )
        return rows

    @property
    def cautions(self) -> Iterator[str]:
        """Motions that are damped too much or hardly at all, in any case."""
        most = np.nan_to_num(self.modes.ratio).max(axis=0)
        least = np.nan_to_num(self.modes.swing_ratio, nan=1.0).min(axis=0)
        for what, values, chosen, why in (
            (
                "over-critical",
                most,
                most > OVER_CRITICAL,
                "it creeps back, and follows hollows late",
            ),
            (
                "hardly damped",
                least,
                least < HARDLY_DAMPED,
                "over half of a swing is left after the next",
            ),
        ):
            if chosen.any():
                yield f"{what} (1 is critical damping): {_named(values, chosen)}; {why}"


def _named(values: Floats, chosen: np.ndarray) -> str:
    return ", ".join(
        f"{MODES[i]} {values[i]:.2f}" for i in np.flatnonzero(chosen)
    )


def ride_modes(
    project: Project, result: Result, as_complex: bool = False
) -> RideModes | None:
    """The modes of the project's setup about the trims of its `result`; `as_complex`: see `_modes`.

    None where no case has a trim at full friction, or car.toml has no dampers or inertias.
    """
    model = Model(project.car)
    setting = model.settings(project.setup)[0]
    packed = model.packed_for(setting)
    answers = result.answers[0]
    has_trim = is_judged(answers)
    try:
        damping = damping_records(
            project, by_wheel(project.setup)[0], packed[0]
        )
    except InputError:
        return None
    if not has_trim.any():
        return None
    trims = np.flatnonzero(has_trim)
    found = np.full((len(Modes._fields), answers.size, len(MODES)), np.nan)

    kinds: list[bool] = []

    def task(first: int, last: int) -> None:
        rows = trims[first:last]
        cases = result.cases.records[rows]
        matrices = ride_matrices(packed, setting, cases, answers[rows], damping)
        modes, is_complex = _modes(*matrices, as_complex)
        found[:, rows] = modes
        kinds.append(is_complex)

    on_all_cores(task, trims.size)
    if any(kinds) and not as_complex:
        return ride_modes(project, result, as_complex=True)
    worst = int(np.where(has_trim, answers["margin"], np.inf).argmin())
    return RideModes(Modes(*found), worst, worst, any(kinds))
