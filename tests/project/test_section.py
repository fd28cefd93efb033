"""Sections of arcs and straights: places along them, and how they look from there."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.physics.inputs import JOINTS
from setupopt.project.section import Section, evenly

# Floor, an arc up to the wall, the wall, a tighter arc to inverted, and a crest that bulges.
MIXED = Section(
    0.0,
    (3.0, 8.0 * np.pi / 2, 2.0, 6.0 * np.pi / 2, 1.5),
    (0.0, 1 / 8.0, 0.0, 1 / 6.0, -1 / 20.0),
)
PLACES = np.linspace(0.0, MIXED.length, 97)


def walked(
    section: Section, steps: int = 20_000
) -> tuple[np.ndarray, np.ndarray]:
    """Places, and the points there by summing up small steps in the direction of the tangent (midpoints)."""
    along = np.unique(
        np.concatenate([np.linspace(0.0, section.length, steps), section.ends])
    )
    middle = 0.5 * (along[1:] + along[:-1])
    bend = np.array(section.curvatures)[
        np.searchsorted(np.cumsum(section.lengths), middle)
    ]
    angle = section.start + np.concatenate(
        [[0.0], np.cumsum(bend * np.diff(along))]
    )
    mean = 0.5 * (angle[1:] + angle[:-1])
    step = (
        np.stack([np.cos(mean), np.sin(mean)], axis=1) * np.diff(along)[:, None]
    )
    return along, np.concatenate([np.zeros((1, 2)), np.cumsum(step, axis=0)])


def test_points_are_where_small_steps_along_the_tangent_lead() -> None:
    """To 1e-6 m: steps of 1.5 mm on an arc of 6 m cut its corners by far less."""
    along, points = walked(MIXED)
    for column in range(2):
        expected = np.interp(PLACES, along, points[:, column])
        assert MIXED.point(PLACES)[:, column] == pytest.approx(
            expected, abs=1e-6
        )


def test_circle_of_two_arcs_lies_on_the_circle() -> None:
    """Every point is one radius from the axis, and stands at its roll angle: y = R sin, z = R - R cos."""
    half = Section(-np.pi / 2, (4.0, 8.0 * np.pi - 4.0), (1 / 8.0, 1 / 8.0))
    along = evenly(0.0, half.length, 0.3)
    angle = half.angle(along)
    assert angle == pytest.approx(along / 8.0 - np.pi / 2, abs=1e-12)
    lowest = half.point(np.array([4.0 * np.pi]))[0]
    expected = np.stack(
        [8.0 * np.sin(angle), 8.0 - 8.0 * np.cos(angle)], axis=1
    )
    assert half.point(along) - lowest == pytest.approx(expected, abs=1e-12)


def test_angles_of_parts() -> None:
    """0 on the floor, 90 deg on the whole wall, 180 at the crest, and less where the section bulges."""
    ends = np.degrees(MIXED.end_angles)
    assert ends == pytest.approx(
        [0, 0, 90, 90, 180, 180 - np.degrees(1.5 / 20.0)], abs=1e-9
    )


def test_where_an_angle_is() -> None:
    """One place on an arc, a stretch on a straight, none where the section has no such angle."""
    assert MIXED.where(np.pi / 4) == pytest.approx((3.0 + 2.0 * np.pi,) * 2)
    assert MIXED.where(np.pi / 2) == pytest.approx(
        (3.0 + 4.0 * np.pi, 5.0 + 4.0 * np.pi)
    )
    assert MIXED.where(-0.1) is None
    assert MIXED.where(np.pi - 0.01) is None, (
        "it comes twice: before the crest and after it"
    )


def test_stretch_between_angles() -> None:
    """From the first place to the last that lies between two angles; straights belong to it whole."""
    assert MIXED.stretch(0.0, np.pi / 2) == pytest.approx(
        (0.0, 5.0 + 4.0 * np.pi)
    )
    assert MIXED.stretch(np.pi / 4, np.pi / 3) == pytest.approx(
        (3.0 + 2 * np.pi, 3.0 + 8 * np.pi / 3)
    )
    assert MIXED.stretch(4.0, 5.0) is None


def test_spread_has_every_joint() -> None:
    """No two places lie further apart than asked for, and every joint is one of them."""
    places = MIXED.spread(1.0, MIXED.length, 0.4)
    assert places[0] == 1.0 and places[-1] == MIXED.length
    assert np.diff(places).min() > 0.0 and np.diff(places).max() <= 0.4 + 1e-9
    for joint in MIXED.ends[1:]:
        assert np.abs(places - joint).min() < 1e-12


@pytest.mark.parametrize(
    "along", [0.0, 1.0, 2.9, 3.1, 9.0, 15.0, 15.6, 16.0, 17.5, 20.0, 27.0]
)
def test_joints_lie_where_their_points_do(along: float) -> None:
    """How far a joint lies to the left is its point, turned into the tangent plane of the place."""
    seen, angle = (
        MIXED.surroundings(np.array([along]), 12),
        float(MIXED.angle(np.array([along]))[0]),
    )
    part = int(MIXED.part(np.array([along]))[0])
    over = MIXED.end_points - MIXED.point(np.array([along]))
    left = over @ [np.cos(angle), np.sin(angle)]
    assert seen.curvature[0] == MIXED.curvatures[part]
    for side, ends in ((0, range(part + 1, 5)), (1, range(part, 0, -1))):
        count = int(seen.joints[0, side])
        near = [end for end in ends if abs(MIXED.end_angles[end] - angle) < 1.4]
        assert seen.joint[0, side, :count] == pytest.approx(
            left[near[:count]], abs=1e-12
        )
        beyond = [
            MIXED.curvatures[end if side == 0 else end - 1]
            for end in near[:count]
        ]
        assert seen.beyond[0, side, :count].tolist() == beyond
        assert count == len(near)


def test_what_lies_round_the_corner_is_not_seen() -> None:
    """The end of a half circle lies straight above its beginning: how far to the side does not tell it."""
    turn = Section(0.0, (2.0, 3.0 * np.pi, 2.0), (0.0, 1 / 3.0, 0.0))
    assert turn.surroundings(np.array([2.5]), 12).joints[0].tolist() == [
        0.0,
        1.0,
    ]


def test_only_so_many_joints() -> None:
    """The nearest come first, and no more than there is room for."""
    many = Section(0.0, (0.1,) * 100, (0.1,) * 100)
    seen = many.surroundings(np.array([5.05]), 3)
    assert seen.joints[0].tolist() == [3.0, 3.0]
    assert np.abs(seen.joint[0]) == pytest.approx(
        np.array([[0.05, 0.15, 0.25]] * 2), abs=1e-4
    )


def test_sight_is_what_the_joints_show() -> None:
    """From every place of many short parts the twelfth joint lies at least so far away, to either side."""
    bends = tuple(0.12 * (-1.0) ** number for number in range(80))
    short = Section(
        0.0, tuple(0.05 + 0.002 * number for number in range(80)), bends
    )
    seen = short.surroundings(np.linspace(0.0, short.length, 500))
    full = seen.joints == Section.seen
    assert full.any(axis=0).all()
    assert np.abs(seen.joint[..., -1][full]).min() >= short.sight
    assert MIXED.sight == np.inf
    assert Section.seen == JOINTS, "what a case has room for"
