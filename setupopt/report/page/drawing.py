"""The drawings to scale of the report page: the section with the car in it, and the car from near.

Everything is in mm as it is seen from behind: x to the right, y down, as SVG counts. Nothing is stretched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import cos, sin

import numpy as np

from setupopt.evaluation.cases import sweep_at
from setupopt.evaluation.drawn_parts import Wheel
from setupopt.evaluation.drawn_state import DrawnState
from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, Venue
from setupopt.report.page.gap_labels import GapLabels, gap_letters
from setupopt.report.page.section import Outline, outline, places
from setupopt.report.page.shapes import (
    NARROW,
    Box,
    Drawing,
    Label,
    Shape,
    path,
)
from setupopt.units import MM

_GROUND_POINTS = 241
_MOST_OF_RADIUS = 0.97  # drawn from near at most; a circle ends at 1
_FAR = 0.034  # height of letters over the width of the section drawing
_NEAR = 0.0165  # the same of a near drawing
_ARROW = 0.09  # length of the gravity arrow over the size of a drawing
_LEVEL = 4.0  # half of a level line, in arrows

_Seen = tuple[str, Floats, bool, str]  # class, points, whether closed, name


# ---- the section -------------------------------------------------------------------------------------------


def section_drawing(venue: Venue, state: DrawnState, at: float) -> Drawing:
    """The whole section with the car where `at` says, as `cases.sweep_at` counts."""
    around = outline(venue, at)
    shapes = [Shape("outline", path(around.points, around.radius is not None))]
    shapes += [Shape("swept", path) for path in _swept(venue)]
    car = list(_car(state, (0, 1)))
    parts = [_moved(points, around) for _, points, _, _ in car]
    size = _ARROW * max(_section_box(around, parts)[2:]) * MM
    tip = _moved(np.array([state.cg]), around) - [0.0, size]
    box = _section_box(around, [*parts, tip])
    letter = _FAR * box[2]
    marks = _marks(around, state, size)
    labels = tuple(_section_labels(around, box, letter))
    return Drawing(
        "section",
        f"Section with the car at {_degrees(around.tangent)} deg, to scale, seen from behind",
        box,
        letter,
        (*shapes, *_placed(car, around), *marks),
        labels,
    )


def _degrees(angle: float) -> str:
    return f"{round(np.degrees(angle), 6) + 0.0:.5g}"


def _swept(venue: Venue) -> Iterable[str]:
    """The part of a section that the sweep runs over."""
    if venue.section != "flat":
        at = sweep_at(venue)
        yield path(places(venue, np.linspace(at[0], at[-1], 181)))


def _placed(shapes: Iterable[_Seen], around: Outline) -> Iterable[Shape]:
    """What is seen in the plane under the car, where that plane lies in the section."""
    for kind, points, closed, name in shapes:
        yield Shape(kind, path(_moved(points, around), closed), name)


def _moved(points: Floats, around: Outline) -> Floats:
    c, s = cos(around.tangent), sin(around.tangent)
    return np.array(around.place) + points @ np.array([[c, s], [-s, c]])


def _section_box(around: Outline, car: Sequence[Floats]) -> Box:
    """Room for the section and the car, and for the words over it where it is no circle."""
    points = np.vstack([around.points, *car]) / -MM
    (left, top) = points.min(axis=0)
    (right, bottom) = points.max(axis=0)
    pad = 0.04 * (right - left)
    words = 0.0 if around.radius is not None else 1.5 * pad
    return (
        left - pad,
        top - pad - words,
        right - left + 2.0 * pad,
        bottom - top + 2.0 * pad + words,
    )


def _marks(around: Outline, state: DrawnState, size: float) -> Iterable[Shape]:
    """The radius to the car, or the level line, and gravity at its centre of gravity, so many m long."""
    if around.radius is not None:
        yield Shape("guide", path([(0.0, around.radius), around.place]))
        yield Shape("guide", path([(0.0, around.radius), (0.0, 0.0)]))
    else:
        (y, z) = around.place
        half = _LEVEL * size
        yield Shape("guide", path([(y - half, z), (y + half, z)]))
    cg = _moved(np.array([state.cg]), around)[0]
    tip = cg - [0.0, size]
    barb = 0.25 * size
    yield Shape("pull", path(np.array([cg, tip])))
    barbs = np.array([[0.5 * barb, barb], [0.0, 0.0], [-0.5 * barb, barb]])
    yield Shape("pull", path(tip + barbs))


def _section_labels(
    around: Outline, box: Box, letter: float
) -> Iterable[Label]:
    """The roll angle; the radius, beside the line to the car."""
    angle = f"{_degrees(around.tangent)} deg"
    if around.radius is None:
        yield Label(
            "strong",
            box[0] + 0.5 * box[2],
            box[1] + 1.3 * letter,
            f"roll angle {angle}",
        )
        return
    middle = -around.radius / MM
    free = 1.0 if around.place[0] >= 0.0 else -1.0  # the side without the car
    anchor = "start" if free > 0.0 else "end"
    yield Label(
        "strong", free * 0.6 * letter, middle + 0.4 * letter, angle, anchor
    )
    yield Label(
        "plain",
        free * 0.6 * letter,
        0.5 * middle,
        f"radius {around.radius:.6g} m",
        anchor,
    )


# ---- the car -----------------------------------------------------------------------------------------------


def _car(state: DrawnState, axles: Sequence[int]) -> Iterable[_Seen]:
    """All that is drawn of the car on these axles, the front behind the rear."""
    lost = "" if state.has_contact else " lost"
    for plate in state.plates:
        if set(plate.axles) & set(axles):
            yield f"plate{lost}", plate.corners, True, plate.name
    for axle in sorted(axles):
        pair = [wheel for wheel in state.wheels if wheel.axle == axle]
        yield (
            f"beam{lost}",
            np.array([wheel.outline.mean(axis=0) for wheel in pair]),
            False,
            AXLES[axle],
        )
        for wheel in pair:
            yield f"wheel {AXLES[axle]}{lost}", wheel.outline, True, wheel.name
        for wheel in pair:
            if wheel.contact_line.size:
                yield "patch", wheel.contact_line, False, wheel.name


def near_drawing(state: DrawnState, axle: int) -> Drawing:
    """One axle and the half of the car that stands nearer to it, with its gaps, on the surface under it."""
    wheels = [wheel for wheel in state.wheels if wheel.axle == axle]
    half = _half_width(state)
    ground = _ground(state, wheels, half)
    letter = 2.0 * half / MM * _NEAR
    letters = gap_letters(
        [gap for gap in state.gaps if gap.axle == axle], 1.4 * letter * MM
    )
    gaps = GapLabels(letters, -float(ground[:, 1].min()) / MM, letter)
    deep = gaps.deepest
    top = (
        -max(float(wheel.outline[:, 1].max()) for wheel in state.wheels) / MM
        - 2.8 * NARROW * letter
    )
    shapes = (*_near_shapes(state, axle, ground, deep), *gaps.shapes())
    labels = (*_wheel_labels(wheels, letter), *gaps.labels())
    box = (-half / MM, top, 2.0 * half / MM, deep - top)
    title = (
        f"{AXLES[axle].capitalize()} axle from near, to scale, seen from behind"
    )
    return Drawing("near", title, box, letter, shapes, labels, letters)


def _half_width(state: DrawnState) -> float:
    """Room for the widest part of the car, m, inside the section."""
    parts = [
        *(wheel.outline for wheel in state.wheels),
        *(plate.corners for plate in state.plates),
    ]
    half = 1.1 * max(float(np.abs(points[:, 0]).max()) for points in parts)
    return (
        half
        if state.tightest == 0.0
        else min(half, _MOST_OF_RADIUS / state.tightest)
    )


def _ground(state: DrawnState, wheels: Sequence[Wheel], half: float) -> Floats:
    """The surface (n, 2), with the bumps under the wheels of this axle."""
    s = np.linspace(-half, half, _GROUND_POINTS)
    bumped = [wheel for wheel in wheels if wheel.bump]
    edges = [
        (wheel, wheel.outline[:, 0].min(), wheel.outline[:, 0].max())
        for wheel in bumped
    ]
    s = np.sort(
        np.concatenate(
            [
                s,
                *(
                    [low - 1e-6, low, high, high + 1e-6]
                    for _, low, high in edges
                ),
            ]
        )
    )
    z = state.height(s)
    for wheel, low, high in edges:
        z[(s >= low) & (s <= high)] += wheel.bump
    return np.column_stack([s, z])


def _near_shapes(
    state: DrawnState, axle: int, ground: Floats, deep: float
) -> Iterable[Shape]:
    """The car behind the ground that it presses into, its patches on top of that."""
    car = list(_car(state, (axle,)))
    yield from (
        Shape(kind, path(p, closed), name)
        for kind, p, closed, name in car
        if kind != "patch"
    )
    left = ground[0, 0]
    right = ground[-1, 0]
    yield Shape(
        "ground",
        path(
            np.vstack([ground, [[right, -deep * MM], [left, -deep * MM]]]), True
        ),
    )
    yield Shape("surface", path(ground))
    yield from (
        Shape(kind, path(p), name)
        for kind, p, _, name in car
        if kind == "patch"
    )


def _wheel_labels(wheels: Sequence[Wheel], letter: float) -> Iterable[Label]:
    """Name and load of each wheel over it; without a load where contact is lost."""
    for wheel in wheels:
        x, y = (
            -float(wheel.outline[:, 0].mean()) / MM,
            -float(wheel.outline[:, 1].max()) / MM - 0.6 * letter,
        )
        yield Label("strong", x, y - 1.25 * NARROW * letter, wheel.name.upper())
        yield Label("plain", x, y, _load_words(wheel.load))


def _load_words(load: float | None) -> str:
    if load is None:
        return "no answer"
    return f"{load:.0f} N" if load > 0.0 else "in the air"
