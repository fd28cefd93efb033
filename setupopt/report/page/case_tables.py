"""The tables of one case: wheels, car, losses, and the gaps of its drawings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.report_data import Part
from setupopt.project.model import WHEELS
from setupopt.report.assess.text import NO_PRESS, press_words
from setupopt.report.page.fields import peak_kpa
from setupopt.report.page.grid import (
    NONE,
    Cell,
    Grid,
    Row,
    grid,
    margin_cell,
    place,
)
from setupopt.report.page.shapes import Letter
from setupopt.report.shared.tables import (
    number,
)
from setupopt.units import DEG, MM, MM2

_WHEEL_ROWS: Sequence[tuple[str, str, float, int]] = (
    ("load N", "load", 1.0, 0),
    ("grip it can give N", "grip", 1.0, 0),
    ("slip angle deg", "slip_angle", DEG, 2),
    ("inclination to the surface deg", "inclination", DEG, 2),
    ("patch area mm2", "patch", MM2, 0),
    ("bump travel mm", "travel", MM, 1),
)


_CAR_ROWS = (
    (
        "sideslip deg, positive: it moves to the left of its nose",
        "sideslip_deg",
        2,
    ),
    ("steer deg, positive: to the left", "steer_deg", 2),
    ("lambda, the least factor on all friction", "lambda", 3),
    ("least clearance of the floor points mm", "least_clearance_mm", 1),
    ("travel left to a stop mm", "travel_left_mm", 1),
    ("downforce N", "downforce_N", 0),
    ("drag N", "drag_N", 0),
)


def wheels(part: Part) -> Grid:
    """The four wheels in the worst case."""
    answer = part.assessment.worst_answer
    rows: list[Row] = [
        [head, *(number(float(value), digits) for value in answer[name] / unit)]
        for head, name, unit, digits in _WHEEL_ROWS
    ]
    peaks = [number(peak_kpa(wheel), 0) for wheel in part.drawn.wheels]
    rows.append(["highest pressure kPa", *peaks])
    return grid(["", *(wheel.upper() for wheel in WHEELS)], rows)


def car(part: Part) -> Grid:
    """The rest of the worst case."""
    fields = part.assessment.worst_fields
    rows: list[Row] = [
        ["grip used by the front axle", number(fields["use_front"], 3)],
        ["grip used by the rear axle", number(fields["use_rear"], 3)],
        [
            "balance, positive: the rear goes first",
            number(fields["balance"], 3, sign=True),
        ],
        ["the first axle to slide", fields["first_axle"] or NONE],
        *(
            [head, number(fields[key], digits)]
            for head, key, digits in _CAR_ROWS
        ),
    ]
    return grid(["the car in this case", ""], rows)


def lost_words(a: Assessment) -> str:
    """The load that is missing to contact in a worst case that is lost."""
    return press_words(a) or NO_PRESS.capitalize()


def losses(a: Assessment) -> Grid:
    """The loss budget of the worst case."""
    rows: list[Row] = [
        [
            loss.cause,
            margin_cell(loss.margin_without)._replace(bad=False),
            number(loss.gain, 3, sign=True),
        ]
        for loss in a.budget.losses
        if loss.in_case
    ]
    return grid(["without", "margin", "gain"], rows)


def gaps(letters: Sequence[Letter]) -> Grid:
    """What the letters of the drawings mean."""
    rows: list[Row] = [
        [one.letter, one.gap.name, _gap_cell(one), _least(one)]
        for one in letters
    ]
    return grid(["", "gap", "mm", "needs mm"], rows, 2)


def _gap_cell(one: Letter) -> Cell:
    short = one.gap.least is not None and one.gap.gap < one.gap.least - 1e-9
    return Cell(number(one.gap.gap / MM), "TOO LITTLE" if short else "", short)


def _least(one: Letter) -> str:
    return NONE if one.gap.least is None else f"{one.gap.least / MM:g}"


def lightest(part: Part) -> str:
    """The least load of a wheel in the cases with a trim at full friction, and where."""
    result = part.assessment.result
    held = is_judged(result.answers[0])
    load = np.where(held[:, None], result.answers["load"][0], np.inf)
    if not held.any():
        return NONE
    case, wheel = np.unravel_index(load.argmin(), load.shape)
    return f"{load[case, wheel]:.0f} N ({WHEELS[int(wheel)].upper()} at {place(result.fields(int(case)))})"
