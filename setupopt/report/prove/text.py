"""The robustness report in words and plain tables; the words stand in prove.txt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.project.limits_model import Disturbed
from setupopt.report.prove.fields import PERCENTILES, JudgedReport
from setupopt.report.prove.road import RoadTable
from setupopt.report.shared.tables import angle, margin_words, number, thinned
from setupopt.report.shared.template import rendered
from setupopt.robust import likely_rides
from setupopt.robust.best_single_step import Change
from setupopt.robust.builds.worst_build import SCALES, WorstBuild
from setupopt.robust.driver import REACTION
from setupopt.robust.faults import KINDS
from setupopt.robust.gust import RIDDEN, WINDY
from setupopt.robust.road.spectrum import class_letter
from setupopt.robust.verdict import Verdict
from setupopt.units import DEG, MM, MS, ROUGHNESS

_MOST_ANGLES = 37
_RMS_DIGITS = {"": 4, "N": 1}


def text(judged: JudgedReport, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict alone; lines of at most `width`."""
    limits = judged.proof.project.limits
    answers = judged.proof.steady.answers[0]
    helpers = (
        class_letter, _degrees, _found, _required, _change_words, _bump_words, _length_words, _chances, _rms_rows,
    )  # fmt: skip
    units = {"DEG": DEG, "MM": MM, "MS": MS, "ROUGHNESS": ROUGHNESS}
    return rendered(
        "prove/prove", width, short, judged=judged,
        without_ride=(("CONTACT LOST", ~answers["contact"]), ("THE CAR SLIDES", answers["slides"])),
        case_list=lambda rows: _case_list(judged, rows),
        box_words=lambda *box: _box_words(judged, *box),
        verdicts=[{"verdict": one, "place": judged.place(one.row)} for one in judged.verdicts],
        allowed=limits.disturbed if limits else Disturbed(),
        bumps=thinned(_least_by_angle(list(judged.cases())), _MOST_ANGLES, _least),
        faults=thinned(list(_by_angle(list(judged.faults()))), _MOST_ANGLES, lambda line: line["least"]),
        rides=likely_rides, REACTION=REACTION, KINDS=KINDS, RIDDEN=RIDDEN, WINDY=WINDY, PERCENTILES=PERCENTILES,
        **units, **{one.__name__.lstrip("_"): one for one in helpers},
    )  # fmt: skip


def _degrees(place: Field) -> str:
    """Roll angle, and the place along a section of parts."""
    if place["roll_angle_deg"] is None:
        return "-"
    along = (
        f" ({place['along_mm']:.0f} mm along)" if "along_mm" in place else ""
    )
    return angle(place["roll_angle_deg"]) + along


def _case_list(judged: JudgedReport, rows: np.ndarray) -> str:
    """The chosen cases (cases) by attitude, each with its roll angles."""
    angles: dict[str, list[str]] = {}
    for row in np.flatnonzero(rows):
        place = judged.place(int(row))
        angles.setdefault(place["attitude"], []).append(_degrees(place))
    return "; ".join(
        f"{attitude} at {', '.join(some)} deg"
        for attitude, some in angles.items()
    )


def _found(verdict: Verdict) -> str:
    if verdict.found is None:
        return "none" if verdict.what == "margin as set" else "all tried"
    if verdict.is_chance and verdict.found < 0.001:
        return "< 0.001"
    return f"{verdict.found:.3g}"


def _required(verdict: Verdict) -> str:
    if verdict.asked is None:
        return "-"
    return f"at {'most' if verdict.is_chance else 'least'} {verdict.asked:.3g}"


def _change_words(change: Change | None, measured: str) -> str:
    """A change; it gains margin, or room: what is left of drift, sideslip and time in the air, of 1."""
    if change is None:
        return "no single step helps without a cost elsewhere"
    gain = (
        f"{measured} {change.gain:+.3f} there"
        if np.isfinite(change.gain)
        else "the car holds again there"
    )
    worst = f"worst margin {margin_words(change.worst_before)} -> {margin_words(change.worst_after)}"
    key = change.key.removesuffix(
        f"_{change.unit.replace('/', '_per_')}"
    ).replace("_", " ")
    return f"{change.axle} {key} {change.from_:g} -> {change.to:g} {change.unit} ({gain}, {worst})"


# ---- bumps, wind and faults --------------------------------------------------------------------------------


def _bump_words(row: Field) -> str:
    if row["bump_mm"] is None:
        return "no ride"
    return (
        number(row["bump_mm"])
        if row["bump_length_m"] is not None
        else f"over {row['bump_mm']:.0f}"
    )


def _least(row: Field) -> float:
    return -1.0 if row["bump_mm"] is None else float(row["bump_mm"])


def _least_first(row: Field) -> tuple[float, bool]:
    """Of cases that stand the same, the one of which more is known."""
    return _least(row), row["slowest_reaction_s"] is None


def _least_by_angle(rows: list[Field]) -> list[Field]:
    """Of each roll angle the case that stands least, in the order of the angles."""
    least: dict[float, Field] = {}
    for row in sorted(rows, key=_least_first):
        least.setdefault(row["roll_angle_deg"], row)
    return [least[degrees] for degrees in sorted(least)]


def _length_words(row: Field) -> str:
    if row["gust_length_m"] is not None:
        return number(row["gust_length_m"], 0)
    return "-" if row["case"] is None else "steady"


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


# ---- the road and build errors -----------------------------------------------------------------------------


def _chances(shares: Iterable[float]) -> list[str]:
    """Shares of runs in %; what nobody could count is not written out.

    >>> _chances([0.0, 1e-28, 0.0123])
    ['0', '< 0.001', '1.23']
    """
    return [
        "< 0.001" if 0.0 < share < 1e-5 else f"{100.0 * share:.3g}"
        for share in shares
    ]


def _rms_rows(road: RoadTable) -> Iterator[Field]:
    """The lines of a ride with their numbers in words."""
    for line in road.lines:
        numbers = {
            name: number(value, _RMS_DIGITS.get(line.unit, 3))
            for name, value in asdict(line).items()
            if name not in ("quantity", "unit")
        }
        name = line.quantity
        yield {
            "quantity": "instantaneous margin" if name == "margin" else name,
            "unit": line.unit,
            "difference": line.difference and 100.0 * line.difference,
            **numbers,
        }


def _box_words(
    judged: JudgedReport,
    box: str,
    worst: WorstBuild,
    stands: float | None = None,
) -> str:
    """The worst build within a box of errors, and how large a box is stood."""
    place = judged.place(worst.case)
    where = f"at {_degrees(place)} deg, {place['attitude']}"
    times = ""
    if stands is not None:
        most = (
            f"more than {stands:g}" if stands >= SCALES[-1] else f"{stands:.2f}"
        )
        times = f"; the margin is kept up to {most} times the {box}"
    return f"Worst within the {box}: margin {margin_words(worst.margin)} {where}{times}."
