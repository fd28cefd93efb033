"""The drawing of the car from above: turned by the sideslip, its wheels turned by steer and toe.

To scale, in mm, the direction of travel to the right: left of the car is up.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import cos, sin

import numpy as np

from setupopt.evaluation.drawn_parts import Wheel
from setupopt.evaluation.drawn_state import DrawnState
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES
from setupopt.report.page.shapes import NARROW, Drawing, Label, Shape, path
from setupopt.units import DEG, MM

_LETTER = 0.021  # height of letters over the length of the drawing
# Of the arrow over the front of the car, from the centre of gravity
_REACH = 1.45
_PAD = 0.06  # of the length, at each end
_BARB = 0.05  # of the arrow, over its length


def plan_drawing(state: DrawnState) -> Drawing:
    """The car, the way it goes, and the angle between both; without contact the car is not turned."""
    parts = [
        *(wheel.plan for wheel in state.wheels),
        *(plate.plan for plate in state.plates),
    ]
    points = np.vstack(parts)
    front = _REACH * float(points[:, 0].max())
    rear = float(points[:, 0].min())
    length = (front - rear) * (1.0 + 2.0 * _PAD)
    letter = _LETTER * length / MM
    seen = _seen(points, state.sideslip)
    half = float(np.abs(seen[:, 1]).max()) / MM + 2.7 * NARROW * letter
    box = ((rear - _PAD * length) / MM, -half, length / MM, 2.0 * half)
    title = "The car from above, to scale, the direction of travel to the right"
    shapes = (*_car(state), *_way(state, front))
    labels = (*_wheel_labels(state, letter), *_way_labels(state, front, letter))
    return Drawing("near", title, box, letter, shapes, labels)


def _seen(points: Floats, sideslip: float) -> Floats:
    """Points (n, 2) ahead and to the left of the centre of gravity, the car turned, as `path` takes them."""
    ahead, left = np.atleast_2d(points).T
    along = ahead * cos(sideslip) + left * sin(sideslip)
    across = left * cos(sideslip) - ahead * sin(sideslip)
    return np.column_stack([-along, across])


def _car(state: DrawnState) -> Iterable[Shape]:
    lost = "" if state.has_contact else " lost"
    for plate in state.plates:
        yield Shape(
            f"plate above{lost}",
            path(_seen(plate.plan, state.sideslip), True),
            plate.name,
        )
    for axle, name in enumerate(AXLES):
        pair = state.wheels[2 * axle : 2 * axle + 2]
        middles = np.array([wheel.plan.mean(axis=0) for wheel in pair])
        yield Shape(f"beam{lost}", path(_seen(middles, state.sideslip)), name)
        for wheel in pair:
            shown = path(_seen(wheel.plan, state.sideslip), True)
            yield Shape(f"wheel {name}{lost}", shown, wheel.name)


def _way(state: DrawnState, front: float) -> Iterable[Shape]:
    """The line of the car's middle, the arrow of its travel, and the arc between them."""
    rear = min(float(wheel.plan[:, 0].min()) for wheel in state.wheels)
    yield Shape(
        "guide",
        path(_seen(np.array([[rear, 0.0], [front, 0.0]]), state.sideslip)),
        "nose",
    )
    if not state.has_contact:
        return
    barb = _BARB * front
    tip = np.array(
        [[front - barb, 0.5 * barb], [front, 0.0], [front - barb, -0.5 * barb]]
    )
    yield Shape(
        "travel",
        path(_seen(np.array([[0.0, 0.0], [front, 0.0]]), 0.0)),
        "travel",
    )
    yield Shape("travel", path(_seen(tip, 0.0)))
    turns = np.linspace(0.0, state.sideslip, 25)
    arc = 0.9 * front * np.column_stack([np.cos(turns), -np.sin(turns)])
    yield Shape("arc", path(_seen(arc, 0.0)), "sideslip")


def _wheel_labels(state: DrawnState, letter: float) -> Iterable[Label]:
    """Name and slip angle of each wheel, outside of it; the steer angle at the front right one."""
    for wheel in state.wheels:
        x, y = _label_place(wheel, state, letter)
        slip = "" if wheel.slip is None else f" slip {_degrees(wheel.slip)}"
        anchor = (
            "start" if wheel.axle else "middle"
        )  # at the rear there is no room beyond the wheel
        yield Label("plain", x, y, f"{wheel.name.upper()}{slip}", anchor)
        if wheel.name == "fr" and state.has_contact:
            yield Label(
                "strong",
                x,
                y + 1.25 * NARROW * letter,
                f"steer {_degrees(state.steer)}",
            )


def _label_place(
    wheel: Wheel, state: DrawnState, letter: float
) -> tuple[float, float]:
    """Above the wheels on the left, below those on the right."""
    seen = _seen(wheel.plan, state.sideslip) / MM
    is_left = wheel.name.endswith("l")
    edge = -float(seen[:, 1].max()) if is_left else -float(seen[:, 1].min())
    x = -float(seen[:, 0].max() if wheel.axle else seen[:, 0].mean())
    return x, edge - 0.5 * letter if is_left else edge + NARROW * letter


def _way_labels(
    state: DrawnState, front: float, letter: float
) -> Iterable[Label]:
    """The sideslip beside its arc, on the side of the nose; the travel on the other side."""
    if not state.has_contact:
        return
    down = (
        1.0 if state.sideslip >= 0.0 else -1.0
    )  # the side of the nose on the drawing
    swing = front * abs(sin(state.sideslip)) / MM
    lower = down * (swing + letter) + 0.4 * letter * (1.0 + down)
    upper = -down * 0.8 * letter + 0.4 * letter * (1.0 - down)
    yield Label(
        "strong",
        front / MM,
        lower,
        f"sideslip {_degrees(state.sideslip)}",
        "end",
    )
    yield Label("plain", front / MM, upper, "travel", "end")


def _degrees(angle: float) -> str:
    return f"{round(angle / DEG, 1) + 0.0:.1f} deg"
