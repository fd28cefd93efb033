"""What the page says of one case."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setupopt.evaluation.limits import is_judged
from setupopt.evaluation.report_data import Part
from setupopt.project.model import WHEELS
from setupopt.report.page.fields import peak_kpa
from setupopt.report.shared.tables import number
from setupopt.report.shared.words import where_words
from setupopt.units import DEG, MM, MM2

_WHEEL_ROWS: Sequence[tuple[str, str, float, int]] = (
    ("load N", "load", 1.0, 0),
    ("grip it can give N", "grip", 1.0, 0),
    ("slip angle deg", "slip_angle", DEG, 2),
    ("inclination to the surface deg", "inclination", DEG, 2),
    ("patch area mm2", "patch", MM2, 0),
    ("bump travel mm", "travel", MM, 1),
)


def wheels(part: Part) -> list[tuple[str, list[str]]]:
    """The four wheels in the worst case."""
    answer = part.assessment.worst_answer
    rows = [
        (head, [number(float(one), digits) for one in answer[name] / unit])
        for head, name, unit, digits in _WHEEL_ROWS
    ]
    peaks = [number(peak_kpa(wheel), 0) for wheel in part.drawn.wheels]
    return [*rows, ("highest pressure kPa", peaks)]


def lightest(part: Part) -> str:
    """The least load of a wheel in the cases with a trim at full friction, and where."""
    result = part.assessment.result
    held = is_judged(result.answers[0])
    load = np.where(held[:, None], result.answers["load"][0], np.inf)
    if not held.any():
        return "-"
    case, wheel = np.unravel_index(load.argmin(), load.shape)
    return f"{load[case, wheel]:.0f} N ({WHEELS[int(wheel)].upper()} at {where_words(result.fields(int(case)))})"
