"""A surveyed section: the smoothest row of short arcs that passes its points as closely as they are known.

The points are coordinates of one section across the venue, in order. Arcs of a quarter of a metre run into
each other; their curvatures change as little as the survey's error allows (the discrepancy principle:
V. A. Morozov, Methods for Solving Incorrectly Posed Problems, 1984), so that a point a millimetre off makes
no bump.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from setupopt.errors import InputErrors
from setupopt.project.csv_read import Column, CsvTable, read_csv
from setupopt.project.field_types import Bounds
from setupopt.project.section import Floats, Section
from setupopt.units import MM

_PIECE = 0.25  # m, length of an arc
_MOST_PIECES = 160
_FEWEST = 5  # points
_MOST = 5_000
_LEAST_STEP = 1e-3  # m between neighbours
# Stiffness against changes of curvature, m2: from stiffer than any survey to none that counts.
_STIFFEST = 1e3
_SOFTEST = 1e-5
_HALVINGS = 12
_NEARLY = 0.97  # of the error: stiff enough
_FAR = 6.0  # times the error of the survey: no error of measurement any more
_ROUND = 3  # neighbours on each side that tell whether a point strays
_NUDGE = 1e-7
_STEPS_TO_FOOT = 6
_MOST_STEPS = 30


@dataclass(frozen=True)
class Surveyed:
    """A section from its survey, and what a user should know of its points."""

    section: Section
    cautions: tuple[str, ...]


def read_survey(path: Path, error: float) -> Surveyed:
    """The section that a CSV of y_mm (to the left) and z_mm (up) tells, measured to `error`, m.

    Raises InputErrors where the points are too few, or do not follow each other along a section.
    """
    bounds = Bounds(-1e6, 1e6, "mm")
    table = read_csv(
        path, {name: Column(bounds, required=True) for name in ("y_mm", "z_mm")}
    )
    points = np.column_stack([table.values["y_mm"], table.values["z_mm"]])
    _require_order(table, points)
    # fitted to all points but those that lie far off
    kept, far = _without_outliers(points, error)
    cautions = [
        f"{table.path.name} line {table.lines[row]}: this point lies about {away / MM:.3g} mm off the "
        "line of its neighbours and was left out; measure it again"
        for row, away in sorted(far.items())
    ]
    section = _Curve(points[kept]).smoothest(error)
    off = np.array([reading[1] for reading in section.readings])
    rms = float(np.sqrt(np.mean(off**2)))
    if rms > 1.5 * error:
        cautions.append(
            f"{table.path.name}: the points lie {rms / MM:.3g} mm off the smoothed section (root mean "
            f"square), more than survey_error_mm = {error / MM:g} lets expect"
        )
    return Surveyed(section, tuple(cautions))


def _require_order(table: CsvTable, points: Floats) -> None:
    if not _FEWEST <= len(points) <= _MOST:
        raise InputErrors(
            [
                table.error(
                    len(points) - 1,
                    "",
                    f"{len(points)} points",
                    f"{_FEWEST} to {_MOST} points",
                )
            ]
        )
    steps = np.diff(points, axis=0)
    near = np.flatnonzero(np.hypot(*steps.T) < _LEAST_STEP)
    turned = np.flatnonzero((steps[1:] * steps[:-1]).sum(axis=1) <= 0.0) + 1
    lowest = min(int(points[:, 1].argmin()), len(steps) - 1)
    wrong = [
        (row + 1, "the point before once more", "points at least 1 mm apart")
        for row in near[:100]
    ]
    if not wrong:
        wrong = [
            (
                row,
                "a point behind the one before",
                "points in their order along the section",
            )
            for row in turned[:100]
        ]
    if (
        not wrong
        and steps[lowest, 0] < 0.0
        and abs(steps[lowest, 0]) > abs(steps[lowest, 1])
    ):
        expected = "points from right to left: y_mm growing where the section is lowest"
        wrong = [(lowest, "y_mm falling at the lowest point", expected)]
    if wrong:
        raise InputErrors(
            table.error(int(row), "", found, expected)
            for row, found, expected in wrong
        )


def _without_outliers(
    points: Floats, error: float
) -> tuple[np.ndarray, dict[int, float]]:
    """Rows to keep, and those that stray with how far, m; the worst is taken out first, again and again."""
    kept = np.arange(len(points))
    far = dict[int, float]()
    while len(kept) > max(2 * _ROUND + 1, 0.75 * len(points)):
        stray = _strays(points[kept])
        worst = int(stray.argmax())
        if stray[worst] <= _FAR * error:
            break
        far[int(kept[worst + _ROUND])] = float(stray[worst])
        kept = np.delete(kept, worst + _ROUND)
    return kept, far


def _strays(points: Floats) -> Floats:
    """How far each point but the outer ones strays from its neighbours, m.

    A point off by d bends the line through its neighbours there and back: with points h apart the curvature
    goes up and down by 8 d / h^2 in all, and comes to rest when the point is left out. Where a section only
    begins to bend, nothing comes to rest.
    """
    windows = np.lib.stride_tricks.sliding_window_view(
        points, 2 * _ROUND + 1, axis=0
    ).swapaxes(1, 2)
    spacing = 0.5 * np.linalg.norm(
        windows[:, _ROUND + 1] - windows[:, _ROUND - 1], axis=1
    )
    return (
        (_unrest(windows) - _unrest(np.delete(windows, _ROUND, axis=1)))
        * spacing**2
        / 8.0
    )


def _unrest(rows: Floats) -> Floats:
    """How much the curvature goes up and down along rows of points (rows, points, 2), 1/m."""
    steps = np.diff(rows, axis=1)
    turns = np.diff(
        np.unwrap(np.arctan2(steps[..., 1], steps[..., 0]), axis=1), axis=1
    )
    ways = np.linalg.norm(steps, axis=2)
    return np.abs(
        np.diff(turns / (0.5 * (ways[:, 1:] + ways[:, :-1])), axis=1)
    ).sum(axis=1)


class _Curve:
    """Arcs through points. Parameters: where it begins, the angle there, its length, every curvature.

    `shares`: where along it the feet of the points lie, kept from one look to the next.
    """

    def __init__(self, points: Floats) -> None:
        steps = np.diff(points, axis=0)
        ways = np.hypot(*steps.T)
        length = float(ways.sum())
        self.points = points
        self.pieces = int(np.clip(np.ceil(length / _PIECE), 2, _MOST_PIECES))
        self.shares = np.concatenate([[0.0], np.cumsum(ways)]) / length
        angles = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        middles = 0.5 * (self.shares[1:] + self.shares[:-1])
        ends = np.interp(
            np.linspace(0.0, 1.0, self.pieces + 1), middles, angles
        )
        bends = np.diff(ends) * self.pieces / length
        self.first = np.concatenate([points[0], [ends[0], length], bends])

    def smoothest(self, error: float) -> Section:
        """The stiffest curve whose points lie off by no more than the error, root mean square."""
        low = np.log(_SOFTEST)
        high = np.log(_STIFFEST)
        at = self.first
        best = self._settle(at, np.exp(high))
        if self._rms(best) > error:
            best = self._settle(at, np.exp(low))
            for _ in range(_HALVINGS):
                if self._rms(best) > _NEARLY * error:
                    break
                middle = 0.5 * (low + high)
                trial = self._settle(best, np.exp(middle))
                low, high, best = (
                    (middle, high, trial)
                    if self._rms(trial) <= error
                    else (low, middle, best)
                )
        off = self._off(best)[0]
        readings = zip(
            (self.shares * best[3]).tolist(), off.tolist(), strict=True
        )
        return replace(self._section(best), readings=tuple(readings))

    def _rms(self, at: Floats) -> float:
        return float(np.sqrt(np.mean(self._off(at)[0] ** 2)))

    def _settle(self, at: Floats, stiffness: float) -> Floats:
        """Least squares of distances and of changes of curvature."""
        from scipy.optimize import least_squares

        changes = stiffness * np.diff(np.eye(at.size)[4:], axis=0)

        def residuals(p: Floats) -> Floats:
            off, ends = self._off(p)
            return np.concatenate([off, ends, changes @ p])

        def slopes(p: Floats) -> Floats:
            return np.concatenate([self._slopes(p), changes])

        return least_squares(
            residuals,
            at,
            slopes,
            method="lm",
            xtol=1e-10,
            ftol=1e-10,
            max_nfev=_MOST_STEPS,
        ).x

    def _off(self, at: Floats) -> tuple[Floats, Floats]:
        """How far the points lie off to the inside, (points), and the ends short of the first and last, m."""
        for _ in range(_STEPS_TO_FOOT):
            ahead, off = self._from_feet(at)
            self.shares[1:-1] = np.clip(self.shares + ahead / at[3], 0.0, 1.0)[
                1:-1
            ]
        return off, ahead[[0, -1]]

    def _from_feet(self, at: Floats) -> tuple[Floats, Floats]:
        """How far the points lie ahead of their feet and off to the inside, m."""
        section = self._section(at)
        along = self.shares * section.length
        angle = section.angle(along)
        over = self.points - at[:2] - section.point(along)
        ahead = over[:, 0] * np.cos(angle) + over[:, 1] * np.sin(angle)
        return ahead, over[:, 1] * np.cos(angle) - over[:, 0] * np.sin(angle)

    def _section(self, at: Floats) -> Section:
        return Section(
            float(at[2]),
            (float(at[3]) / self.pieces,) * self.pieces,
            tuple(map(float, at[4:])),
        )

    def _slopes(self, at: Floats) -> Floats:
        """Of distances and ends by the parameters, (points + 2, parameters), the feet of the points held.

        What turns by a small angle about a place moves across by that angle times how far ahead it lies.
        """
        section = self._section(at)
        ahead, off = self._from_feet(at)
        along = self.shares * section.length
        angle = section.angle(along)
        foot = section.point(along)
        tangent = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
        turned, about = self._turns(section, along)
        arm = foot[:, None, :] - about
        forwards = turned * (
            np.einsum("pjk,pk->pj", arm, tangent) + ahead[:, None]
        )
        inwards = turned * (np.einsum("pjk,pk->pj", arm, normal) + off[:, None])
        nudged = self._from_feet(at + _NUDGE * (np.arange(at.size) == 3))
        longer = [
            (after - before) / _NUDGE
            for after, before in zip(nudged, (ahead, off), strict=True)
        ]
        across = np.column_stack(
            [-normal, -forwards[:, 0], longer[1], -forwards[:, 1:]]
        )
        onwards = np.column_stack(
            [-tangent, inwards[:, 0], longer[0], inwards[:, 1:]]
        )
        return np.concatenate([across, onwards[[0, -1]]])

    def _turns(self, section: Section, along: Floats) -> tuple[Floats, Floats]:
        """What places turn by and about, (places, 1 + arcs) and (places, 1 + arcs, 2), m.

        As the first angle grows: by 1 about the beginning; as a curvature grows: by as much as lies below
        them of the arc, about its mean.
        """
        starts = section.ends[:-1]
        length = section.length / self.pieces
        turned = np.clip(along[:, None] - starts, 0.0, length)
        own = section.part(along)
        about = np.tile(
            _mean(section, starts, np.full(starts.size, length)),
            (along.size, 1, 1),
        )
        about[np.arange(along.size), own] = _mean(
            section, starts[own], along - starts[own]
        )
        beginning = np.zeros((along.size, 1, 2))
        return np.insert(turned, 0, 1.0, axis=1), np.concatenate(
            [beginning, about], axis=1
        )


def _mean(section: Section, start: Floats, length: Floats) -> Floats:
    """Mean of points of a section over lengths of it, (lengths, 2), by Simpson's rule."""
    first, half, end = (
        section.point(start + share * length) for share in (0.0, 0.5, 1.0)
    )
    return (first + 4.0 * half + end) / 6.0
