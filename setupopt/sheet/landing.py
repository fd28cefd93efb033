"""Where the steps of a change list leave the car, and what of that is outside its tolerance."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.setup_record import as_setup
from setupopt.physics.inputs import Floats
from setupopt.project.model import Setup
from setupopt.project.settings import SETTING_OF
from setupopt.sheet.build import changed
from setupopt.sheet.places import ALIKE, places
from setupopt.sheet.work import Work
from setupopt.units import PERCENT

_CROSS = 0.001  # of the weight; scales read no closer
_SAME_CROSS = 1e-6


def landed(work: Work) -> Setup:
    """The setup that the car stands on, as the pad reads it."""
    target = work.target
    off = work.reading.side_height - work.pad.side_heights(target)
    wanted = _wanted_cross(work)
    cross = work.reading.cross_share
    read = changed(
        work.stance,
        camber=_evened(work.reading.camber),
        ride_height=_evened(work.four(target, "ride_height") + off),
        cross_share=np.array(
            wanted if abs(cross - wanted) < _SAME_CROSS else cross
        ),
    )
    return as_setup(read, target)


def misses(work: Work, found: Setup) -> Iterator[str]:
    """What lands outside its tolerance, because the tools are too coarse or run out, each in words."""
    limits = work.pad.project.limits
    held = limits.tolerance if limits is not None else None
    rooms = (
        {}
        if held is None
        else {"camber": held.camber, "ride_height": held.ride_height}
    )
    for field, room in rooms.items():
        setting = SETTING_OF[field]
        miss = work.four(found, field) - work.four(work.target, field)
        for place in places(miss):
            if abs(miss[place.wheel]) <= room * (1.0 + 1e-6):
                continue
            by = f"{miss[place.wheel] / setting.factor:+.2f} {setting.unit}"
            most = f"{room / setting.factor:g} {setting.unit}"
            words = f"{place.name} {field.replace('_', ' ')}"
            yield f"{words}: lands {by} off the target, more than the tolerance of {most}"
    off = work.reading.cross_share - _wanted_cross(work)
    if abs(off) > _CROSS:
        yield f"cross weight: lands {off / PERCENT:+.2f} points off the target"


def _wanted_cross(work: Work) -> float:
    """Cross weight of the target, as a share."""
    own = work.target.balance.cross_share
    return work.pad.project.car.cross_share if own is None else own


def _evened(values: Floats) -> Floats:
    """Both sides of an axle alike where they differ by no more than the solver's noise."""
    sides = values.reshape(2, 2)
    alike = np.abs(sides[:, :1] - sides[:, 1:]) <= ALIKE
    return np.where(alike, sides.mean(axis=1, keepdims=True), sides).ravel()
