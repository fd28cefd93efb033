"""An assessment in words and plain tables, for people; the words stand in assess.txt."""

from __future__ import annotations

from operator import itemgetter

from setupopt.evaluation.assessment import Assessment
from setupopt.evaluation.counts import MOST_APART
from setupopt.evaluation.summary import by_angle, by_attitude
from setupopt.project.model import WHEELS
from setupopt.report.shared.tables import low, thinned
from setupopt.report.shared.template import rendered
from setupopt.units import DEG, MM, MM2

_MOST_ANGLES = 37  # rows; 0 to 180 deg in steps of 5
_MOST_ATTITUDES = 20
_UNITS = {"slip_angle": DEG, "inclination": DEG, "patch": MM2, "travel": MM}


def text(assessment: Assessment, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict without its tables; lines of at most `width`."""
    angles = by_angle(assessment.result)
    attitudes = by_attitude(assessment.result)
    shown = attitudes
    if len(shown) > _MOST_ATTITUDES:
        worst = sorted(shown, key=lambda row: low(row.margin))
        shown = worst[:_MOST_ATTITUDES]
    answer = assessment.worst_answer
    return rendered(
        "assess/assess",
        width,
        short,
        a=assessment,
        angles=thinned(angles, _MOST_ANGLES, itemgetter("margin")),
        group=-(-len(angles) // _MOST_ANGLES),
        attitudes=shown,
        count=len(attitudes),
        MOST_APART=MOST_APART,
        wheels=[
            {"wheel": wheel.upper()}
            | {
                name: float(answer[name][i] / _UNITS.get(name, 1.0))
                for name in ("load", "grip", *_UNITS)
            }
            for i, wheel in enumerate(WHEELS)
        ],
    )
