"""The loss budget of one case: its margin with each cause taken away, one at a time.

The causes act together, so the gains overlap and do not add up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, sin
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.model import Model
from setupopt.physics import surface, sweep
from setupopt.physics.inputs import Record, Records

_NONE = 1e-9  # rad; a smaller angle is no heading at all


@dataclass(frozen=True, slots=True)
class Loss:
    """What one cause takes from the margin.

    `margin_without`: None where the cause is not in the case, or contact is lost even without it.
    `gain`: that margin minus the case's own; None where one of the two is missing.
    """

    cause: str
    in_case: bool
    margin_without: float | None
    gain: float | None


@dataclass(frozen=True, slots=True)
class LossBudget:
    """All causes for one case, the most costly first, those not in the case last.

    `margin` is the case's own, None where it loses contact. Causes whose removal regains contact
    then come first.
    """

    margin: float | None
    losses: tuple[Loss, ...]

    @property
    def absent(self) -> tuple[str, ...]:
        """Causes that are not in the case."""
        return tuple(loss.cause for loss in self.losses if not loss.in_case)

    @property
    def regaining(self) -> tuple[str, ...]:
        """Causes without which a lost case would keep contact; empty where the case keeps it anyway."""
        lost = self.margin is None
        return tuple(
            loss.cause
            for loss in self.losses
            if lost and loss.margin_without is not None
        )


_Packed = tuple[Records, Records, Records]


class _Cause(NamedTuple):
    """A name, whether it acts (car, case, answer), and how to take it out of copies (car, setup, case)."""

    name: str
    acts: Callable[[Record, Record, Record], bool]
    remove: Callable[[Record, Record, Record], None]


def loss_budget(
    model: Model, settings: Records, cases: CaseSet, row: int
) -> LossBudget:
    """The budget of case `row` for one setup; `settings` as `Model.settings` makes it, one record."""
    case = cases.records[row : row + 1]
    packed = model.packed_for(settings[0])
    alone = settings.copy()
    alone["car"] = 0.0  # the only one that is passed on
    own = _answer(packed, packed[0], alone, case)
    margin = _margin(own)
    losses = [
        _loss(cause, packed, alone, case, own, margin) for cause in _CAUSES
    ]
    return LossBudget(margin, tuple(sorted(losses, key=_order)))


def _loss(
    cause: _Cause,
    packed: _Packed,
    settings: Records,
    case: Records,
    own: Record,
    margin: float | None,
) -> Loss:
    vehicle = packed[0]
    if not cause.acts(vehicle[0], case[0], own):
        return Loss(cause.name, False, None, None)
    changed = vehicle.copy(), settings.copy(), case.copy()
    cause.remove(*(records[0] for records in changed))
    without = _margin(_answer(packed, *changed))
    gain = None if without is None or margin is None else without - margin
    return Loss(cause.name, True, without, gain)


def _answer(
    packed: _Packed, vehicle: Records, settings: Records, case: Records
) -> Record:
    """ANSWER of one case with another VEHICLE record."""
    return sweep.run(
        (vehicle, packed[1][None], packed[2][None]), settings, case
    )[0]


def _margin(answer: Record) -> float | None:
    return float(answer["margin"]) if answer["contact"] else None


def _order(loss: Loss) -> tuple[bool, bool, float]:
    """Costly causes first, then those that leave contact lost, then those not in the case."""
    return (
        not loss.in_case,
        loss.margin_without is None,
        -(loss.margin_without or 0.0),
    )


def _clear(record: Record, names: str) -> None:
    for name in names.split():
        record[name] = 0.0


def _any(record: Record, names: str) -> bool:
    return any(np.any(record[name] != 0.0) for name in names.split())


def _in_case(name: str, fields: str) -> _Cause:
    """A cause that is nothing but some entries of the case."""
    return _Cause(
        name,
        lambda car, case, own: _any(case, fields),
        lambda car, setup, case: _clear(case, fields),
    )


def _flatten_floor(car: Record, setup: Record, case: Record) -> None:
    """Let the floor face the plane through the surface under the wheels.

    In a bore the wheels stand higher up the sides than the surface under the floor. Without the curvature the
    floor is lower by that rise, and the surface under it is flat.
    """
    around = car["x"] * sin(case["surface_heading"]) + car["y"] * cos(
        case["surface_heading"]
    )
    rise = [surface.under_floor(case, s)[0] for s in around]
    front = 0.5 * (rise[0] + rise[1])
    rear = 0.5 * (rise[2] + rise[3])
    share = (car["ride_x"] + car["to_rear"]) / car["wheelbase"]
    setup["ride_height"] -= rear + (front - rear) * share
    _clear(case, "floor_curvature floor_joints")


def _is_twisted(car: Record, case: Record, own: Record) -> bool:
    return bool(
        _any(case, "curvature joints")
        and abs(sin(case["surface_heading"])) > _NONE
    )


def _is_on_stop(car: Record, case: Record, own: Record) -> bool:
    travel = own["travel"]
    beyond = (travel > car["bump_travel"]) | (travel < -car["droop_travel"])
    return bool(np.any(beyond & (car["stop_rate"] > 0.0)))


# Everything that a car on a plain road, square on its wheels and without height, would be spared
_CAUSES = (
    _Cause(
        "surface curvature under the floor",
        lambda car, case, own: _any(case, "floor_curvature floor_joints"),
        _flatten_floor,
    ),
    _Cause(
        "camber mismatch",
        lambda car, case, own: True,
        lambda car, setup, case: _clear(case, "lean"),
    ),
    _Cause(
        "load transfer",
        lambda car, case, own: True,
        lambda car, setup, case: _clear(case, "transfer"),
    ),
    _Cause(
        "crab angle",
        lambda car, case, own: True,
        lambda car, setup, case: _clear(case, "crab"),
    ),
    _Cause(
        "heading twist",
        _is_twisted,
        lambda car, setup, case: _clear(case, "surface_heading"),
    ),
    _in_case("wind", "headwind crosswind"),
    _in_case(
        "acceleration",
        "acceleration path_curvature turn_curvature yaw_acceleration",
    ),
    _in_case("bump", "bump"),
    _Cause(
        "stops", _is_on_stop, lambda car, setup, case: _clear(car, "stop_rate")
    ),
)
