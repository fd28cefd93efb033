"""The robustness report in words and plain tables; the words stand in prove.txt."""

from __future__ import annotations

from collections.abc import Iterator
from operator import itemgetter

from setupopt.evaluation.result import Field
from setupopt.report.prove.fields import PERCENTILES, JudgedReport
from setupopt.report.shared.tables import low, thinned
from setupopt.report.shared.template import rendered
from setupopt.robust import likely_rides
from setupopt.robust.builds.worst_build import SCALES
from setupopt.robust.driver import REACTION
from setupopt.robust.faults import KINDS
from setupopt.robust.gust import RIDDEN, WINDY
from setupopt.robust.road.spectrum import class_letter

_MOST_ANGLES = 37


def text(judged: JudgedReport, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict alone; lines of at most `width`."""
    answers = judged.proof.steady.answers[0]
    return rendered(
        "prove/prove", width, short, judged=judged,
        without_ride=(("CONTACT LOST", ~answers["contact"]), ("THE CAR SLIDES", answers["slides"])),
        verdicts=[{"verdict": one, "place": judged.place(one.row)} for one in judged.verdicts],
        allowed=judged.proof.allowed,
        bumps=thinned(_least_by_angle(list(judged.cases())), _MOST_ANGLES, itemgetter("bump_mm")),
        faults=thinned(list(_by_angle(list(judged.faults()))), _MOST_ANGLES, itemgetter("least")),
        rides=likely_rides, REACTION=REACTION, KINDS=KINDS, RIDDEN=RIDDEN, WINDY=WINDY, PERCENTILES=PERCENTILES,
        SCALES=SCALES, class_letter=class_letter,
    )  # fmt: skip


# ---- bumps, wind and faults --------------------------------------------------------------------------------


def _least_by_angle(rows: list[Field]) -> list[Field]:
    """Of each roll angle the case that stands least, in the order of the angles.

    Of cases that stand the same, the one of which more is known.
    """
    least: dict[float, Field] = {}
    unknown = "slowest_reaction_s"
    for row in sorted(
        rows, key=lambda row: (low(row["bump_mm"]), row[unknown] is None)
    ):
        least.setdefault(row["roll_angle_deg"], row)
    return [least[degrees] for degrees in sorted(least)]


def _by_angle(rows: list[Field]) -> Iterator[Field]:
    """A line for each case: the worst fault of every kind."""
    cases: dict[int, list[Field]] = {}
    for row in rows:
        cases.setdefault(row["case"], []).append(row)
    for same in cases.values():
        line = {**same[0], "least": min(row["stood"] for row in same)}
        for kind, part in KINDS.items():
            chosen = [row for row in same if part in row["fault"]]
            times = [
                row["seconds"] for row in chosen if row["seconds"] is not None
            ]
            verdict = "yes" if all(row["stood"] for row in chosen) else "NO"
            line[kind] = (
                f"{verdict} {min(times):.2f} s" if times else f"{verdict} -"
            )
        yield line
