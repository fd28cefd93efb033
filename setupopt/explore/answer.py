"""Answers to a page: every case of the sweep, exact or by the slopes of an exact answer nearby."""

from __future__ import annotations

import threading
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from setupopt.errors import UserError
from setupopt.evaluation import setup_record
from setupopt.evaluation.cases import CaseSet, sweep_at, sweep_cases
from setupopt.evaluation.drawn_state import DrawnState, drawn_state
from setupopt.evaluation.limits import PackagingLimits, is_judged
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import Model, refuse_beyond_growth
from setupopt.evaluation.result import Result, finite
from setupopt.explore.wish import Choices, Json, Wish
from setupopt.physics import jit, stability, sweep
from setupopt.physics.inputs import SIDESLIP, STEER, Floats, Record, Records
from setupopt.project.model import Project
from setupopt.report.page.drawing import near_drawing, section_drawing
from setupopt.report.page.shapes import Drawing
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.road.linear_road_response import LinearRoad
from setupopt.robust.road.spectrum import Road
from setupopt.units import DEG, MM

_KEPT = 24  # exact answers; one has some 200 kB
_EVERY = 4  # places from one that a quick answer solves to the next
# Of the scale of a limit, that the conversion from file units leaves
_NOISE = 1e-7


@dataclass(frozen=True)
class Solved:
    """The answers of one wish. `project`: with all of the wish. `is_exact`: as `assess` finds them."""

    project: Project
    result: Result
    is_exact: bool


class Answers:
    """Answers about one project, for any number of pages. Exact ones are kept, and serve as starts."""

    def __init__(self, project: Project) -> None:
        self.choices = Choices(project)
        self.places = sweep_at(project.venue).size
        self.attitudes = len(project.venue.attitudes) + 1
        self._kept: OrderedDict[Wish, Solved] = OrderedDict()
        self._lock = threading.Lock()
        self._pool = ThreadPoolExecutor(
            jit.workers()
        )  # starting threads anew takes longer than the work

    def answer(self, asked: Json) -> Json:
        """What a page shows. `asked`: state, attitude, place; `near`: a state, for a quick answer from there.

        `detail`: false leaves out the chosen case and its drawings, which a page has out of sight.
        A quick answer takes every trim of the attitude anew, and each margin from its slope at `near`; of the
        other attitudes only some places. A case that is lost at `near` is left as it was. Raises UserError.
        """
        wish = self.choices.read(asked.get("state"))
        attitude = _index(asked, "attitude", self.attitudes)
        place = _index(asked, "place", self.places)
        near = self.choices.read(asked["near"]) if "near" in asked else wish
        solved = self._quick(wish, near, attitude)
        has_detail = asked.get("detail", True) is not False
        return _as_dict(solved, wish, attitude, place, has_detail)

    def kept(self, wish: Wish) -> Solved | None:
        """The exact answers of a wish, where they are still there."""
        with self._lock:
            found = self._kept.get(wish.solved)
            if found is not None:
                self._kept.move_to_end(wish.solved)
        return found

    def _exact(self, wish: Wish) -> Solved:
        found = self.kept(wish)
        if found is None:
            project = self.choices.apply(wish)
            model = Model(project.car)
            result = model.run(
                model.settings(project.setup), sweep_cases(project.venue)
            )
            found = Solved(project, result, True)
            with self._lock:
                self._kept[wish.solved] = found
                while len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
        return replace(found, project=self.choices.apply(wish))

    def _quick(self, wish: Wish, near: Wish, attitude: int) -> Solved:
        start = self.kept(near)
        if (
            wish.solved == near.solved
            or start is None
            or near.body != wish.body
        ):
            return self._exact(wish)
        project = self.choices.apply(wish, checks=False)
        model = Model(project.car)
        cases = sweep_cases(project.venue)
        refuse_beyond_growth(project.car, cases)
        answers = start.result.answers[0].copy()
        has_slope = answers["contact"] & (answers["null"][:, 0] != 0.0)
        # the cases that a quick answer solves, (cases): one attitude, and every fourth place of the
        # others
        shape = (len(cases.attitudes), cases.angles.size)
        chosen = np.zeros(shape, dtype=bool)
        chosen[:, ::_EVERY] = True
        chosen[:, -1] = True
        chosen[attitude] = True
        rows = np.flatnonzero(has_slope & chosen.ravel())
        settings = model.settings(project.setup)
        some = cases.records[rows]
        found = sweep.run(
            model.packed,
            settings,
            some,
            answers[rows],
            pool=self._pool,
            by_slope=True,
        )
        grown = found["margin"] - answers["margin"][rows]
        answers[rows] = found
        _fill_between(
            answers, np.flatnonzero(has_slope), rows, grown, cases.angles.size
        )
        return Solved(
            project, Result(cases, answers[None], model.packed[0][0]), False
        )


def _fill_between(
    answers: Records,
    held: np.ndarray,
    rows: np.ndarray,
    grown: Floats,
    places: int,
) -> None:
    """Let the margins between the solved cases of an attitude grow as those beside them have, in place."""
    for first in range(0, answers.size, places):
        own = (rows >= first) & (rows < first + places)
        left = held[(held >= first) & (held < first + places)]
        left = np.setdiff1d(left, rows[own], assume_unique=True)
        if left.size and own.any():
            answers["margin"][left] += np.interp(left, rows[own], grown[own])


def _index(asked: Json, name: str, count: int) -> int:
    value = asked.get(name)
    if not isinstance(value, int) or not 0 <= value < count:
        raise UserError(
            f"{name}: found {value!r}, expected a number from 0 to {count - 1}"
        )
    return value


def _of_venue(result: Result) -> Result:
    """Without the page's own case, the last attitude: what `assess` counts."""
    cases = result.cases
    count = len(cases) - cases.angles.size
    kept = CaseSet(cases.records[:count], cases.attitude[:count], cases.angles, cases.attitudes[:-1],
                   cases.is_along)  # fmt: skip
    return Result(kept, result.answers[:, :count], result.car)


def _as_dict(
    solved: Solved, wish: Wish, attitude: int, place: int, has_detail: bool
) -> Json:
    result = solved.result
    shape = (len(result.cases.attitudes), result.cases.angles.size)
    row = attitude * shape[1] + place
    of_venue = _of_venue(result)
    limits = broken(solved.project, solved.project.setup, of_venue)
    lines = slice(attitude * shape[1], (attitude + 1) * shape[1])
    found: Json = {
        "exact": solved.is_exact,
        "margin": [_numbers(one) for one in result.margin[0].reshape(shape)],
        "worst": _worst(of_venue),
        "bad": _bad(solved.project, of_venue).tolist(),
        "broken": [limit.words for limit in limits],
        "lines": _lines(result, lines),
    }
    if has_detail:
        drawn = drawn_state(solved.project, result, row)
        found["here"] = _here(solved, wish, row, drawn)
        cases = solved.result.cases
        section = section_drawing(
            solved.project.venue, drawn, float(cases.at[row])
        )
        found["drawings"] = [
            _drawing(one)
            for one in (section, near_drawing(drawn, 1), near_drawing(drawn, 0))
        ]
    return found


def _numbers(values: Floats, digits: int = 5) -> list[float | None]:
    """For JSON; None where there is no answer."""
    return [
        None if value != value else round(value, digits)
        for value in values.tolist()
    ]


def _worst(result: Result) -> Json:
    row = int(result.worst[0])
    attitude, place = divmod(row, result.cases.angles.size)
    counts = {
        "lost": result.lost(),
        "slides": result.sliding(),
        "cases": len(result.cases),
    }
    in_air = int(result.in_air[0].any(axis=1).sum())
    return {"margin": finite(result.worst_margin[0]), "attitude": attitude, "place": place,
            "in_air": in_air, **counts}  # fmt: skip


def _bad(project: Project, result: Result) -> Any:
    """Where the car slides, loses contact or breaks a limit in any attitude of the venue, (places)."""
    answers = result.answers
    is_bad = ~is_judged(answers[0])
    packaging = project.limits.packaging if project.limits else None
    setups = setup_record.by_wheel(project.setup)
    limits = PackagingLimits(project.car, packaging).rows(
        setups, result.cases, answers
    )
    short = (limits.rows[0] < -_NOISE) & (limits.case >= 0)
    is_bad[limits.case[short]] = True
    return np.any(is_bad.reshape(-1, result.cases.angles.size), axis=0)


def _lines(result: Result, rows: slice) -> Json:
    """The curves of one attitude over its places; nothing where there is no trim at full friction."""
    answers = result.answers[0][rows]
    held = np.where(is_judged(answers), 1.0, np.nan)
    wheels = {
        "load": _columns(held[:, None] * answers["load"], 1),
        "travel": _columns(held[:, None] * answers["travel"] / MM),
    }
    gaps = np.column_stack([answers["ride_gap"], np.where(np.isfinite(answers["clearance"]),
                                                          answers["clearance"], np.nan)])  # fmt: skip
    steer = np.column_stack(
        [answers["state"][:, STEER], answers["state"][:, SIDESLIP]]
    )
    return {
        **wheels,
        "reserve": _columns(held[:, None] * (1.0 - answers["use"])),
        "gaps": _columns(held[:, None] * gaps / MM),
        "steer": _columns(held[:, None] * steer / DEG),
    }


def _columns(values: Floats, digits: int = 3) -> list[list[float | None]]:
    return [_numbers(column, digits) for column in values.T]


def _here(solved: Solved, wish: Wish, row: int, drawn: DrawnState) -> Json:
    """Numbers of the chosen case."""
    result = solved.result
    answer = result.answers[0][row]
    contact = bool(answer["contact"])
    judged = contact and not answer["slides"]
    found: Json = {
        "contact": contact,
        "slides": contact and bool(answer["slides"]),
    }
    found["margin"] = finite(answer["margin"]) if contact else None
    if contact:
        found |= {
            "sideslip_deg": finite(drawn.sideslip / DEG),
            "steer_deg": finite(drawn.steer / DEG),
        }
        found["gaps"] = [
            [gap.name, round(gap.gap / MM, 2), gap.least and gap.least / MM]
            for gap in drawn.gaps
        ]
        found["inclination_deg"] = _numbers(answer["inclination"] / DEG, 3)
    if judged:
        found |= {
            "balance": finite(answer["balance"]),
            "downforce_N": finite(answer["downforce"]),
        }
        found |= {
            "load_N": _numbers(answer["load"], 1),
            "travel_mm": _numbers(answer["travel"] / MM, 2),
        }
        found |= {"slip_angle_deg": _numbers(answer["slip_angle"] / DEG, 3)}
        found["reserve"] = _numbers(1.0 - answer["use"], 4)
    if judged and solved.is_exact:
        model = Model(solved.project.car)
        settings = model.settings(solved.project.setup)
        case = slice(row, row + 1)
        records, answers = (
            solved.result.cases.records[case],
            solved.result.answers[:, case],
        )
        found["growth_per_s"] = finite(
            stability.growth(model.packed, settings, records, answers)[0, 0]
        )
        found |= _road(solved, wish, row)
    return found


def _road(solved: Solved, wish: Wish, row: int) -> Json:
    """What the rough road does to the chosen case, by the linear ride; or why that is not known."""
    if wish.roughness is None:
        return {"road": "no rough road is given"}
    project = solved.project
    cases = solved.result.cases.pick([row])
    try:
        road = Road(project.venue.roughness or 0.0)
        rides = LikelyRides(project, project.setup, cases)
        ridden: Record = LinearRoad(rides, road, 1.0)([0])[0]
    except UserError as refused:
        return {"road": str(refused)}
    margin = finite(ridden["sigma_margin"])
    return {
        "road_margin": margin,
        "road_load_N": _numbers(ridden["sigma_load"], 1),
    }


def _drawing(one: Drawing) -> Json:
    shapes: list[Any] = [
        (shape.kind, shape.path, shape.name) for shape in one.shapes
    ]
    labels = [
        [
            label.kind,
            round(label.x, 1),
            round(label.y, 1),
            label.text,
            label.anchor,
        ]
        for label in one.labels
    ]
    return {"kind": one.kind, "title": one.title, "view": one.view, "letter": round(one.letter, 1),
            "shapes": shapes, "labels": labels}  # fmt: skip
