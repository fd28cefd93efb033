"""A proof in words and plain tables, for people."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.project.bodies import worn_words
from setupopt.report.prove.fields import PERCENTILES, JudgedReport
from setupopt.report.prove.road import RoadLine, RoadTable
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    angle,
    margin_words,
    number,
    paragraph,
    table,
    thinned,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.robust.best_single_step import Change
from setupopt.robust.builds.build_variation import SCALES, WorstBuild
from setupopt.robust.road.spectrum import class_letter
from setupopt.robust.verdict import Verdict
from setupopt.units import ROUGHNESS

_MOST_ANGLES = 37
_MOST_COSTS = 6


def text(judged: JudgedReport, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict alone; lines of at most `width`."""
    project = judged.proof.project
    parts = [_head(judged, width), cautions_text(project.cautions, width), _verdict(judged, width),
             _changes(judged, width)]  # fmt: skip
    if not short:
        parts += [_bumps(judged, width), _winds(judged, width), _road(judged, width), _build(judged, width)]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(judged: JudgedReport, width: int) -> str:
    p, cases = judged.proof, judged.proof.steady.cases
    return paragraph(
        f'{p.project.car.name}{worn_words(p.project, p.setup.body)}, setup "{p.setup.name}", '
        f"at {p.project.venue.name}: what it stands in "
        f"{len(cases)} cases before the margin goes under {p.plan.floor:g}",
        width,
    )


# ---- verdict -----------------------------------------------------------------------------------------------


def _verdict(judged: JudgedReport, width: int) -> str:
    rows, places = judged.verdicts, [judged.place(verdict.row) for verdict in judged.verdicts]
    lost = judged.proof.steady.lost()
    lines = [f"CONTACT LOST in {lost} of {len(judged.proof.steady.cases)} cases even as set."] if lost else []
    broken = sum(verdict.holds is False for verdict in rows)
    lines.append(
        "Everything asked for is stood." if judged.holds else f"NOT STOOD: {broken} of what is asked."
    )
    columns = [
        Column("verdict", [_word(verdict) for verdict in rows], numeric=False),
        Column("what", [verdict.what for verdict in rows], numeric=False, least=10),
        Column("found", [_found(verdict) for verdict in rows]),
        Column("asked", [_asked(verdict) for verdict in rows]),
        Column("unit", [verdict.unit for verdict in rows], numeric=False),
        Column("at deg", [_degrees(place) for place in places]),
        Column("attitude", [place["attitude"] or "-" for place in places], numeric=False, least=12),
    ]
    how = [paragraph(f"{verdict.what}: {verdict.how}.", width, INDENT) for verdict in rows]
    return "\n".join([*lines, table(columns, width), "What breaks first there", *how])


def _word(verdict: Verdict) -> str:
    return {None: "told", True: "holds", False: "BROKEN"}[verdict.holds]


def _found(verdict: Verdict) -> str:
    if verdict.is_chance and verdict.found is not None and verdict.found < 0.001:
        return "< 0.001"
    if verdict.found is not None:
        return f"{verdict.found:.3g}"
    return "none" if verdict.what == "margin as set" else "all tried"


def _asked(verdict: Verdict) -> str:
    if verdict.asked is None:
        return "-"
    return f"at {'most' if verdict.is_chance else 'least'} {verdict.asked:.3g}"


def _degrees(place: Field) -> str:
    if place["roll_angle_deg"] is None:
        return "-"
    along = f" ({place['along_mm']:.0f} mm along)" if "along_mm" in place else ""
    return angle(place["roll_angle_deg"]) + along


def _changes(judged: JudgedReport, width: int) -> str:
    """What to change for each row, by single steps inside limits.toml."""
    lines = [
        paragraph(f"{verdict.what}: {_change_words(verdict.change)}.", width, INDENT)
        for verdict in judged.verdicts
        if verdict.row is not None
    ]
    head = paragraph(
        "What to change: the single step inside limits.toml that helps most where it breaks", width
    )
    return "\n".join([head, *lines])


def _change_words(change: Change | None) -> str:
    if change is None:
        return "no single step helps without a cost elsewhere"
    gain = f"margin {change.gain:+.3f} there" if np.isfinite(change.gain) else "contact is regained there"
    worst = f"worst margin {margin_words(change.worst_before)} -> {margin_words(change.worst_after)}"
    key = change.key.removesuffix(f"_{change.unit.replace('/', '_per_')}").replace("_", " ")
    return f"{change.axle} {key} {change.from_:g} -> {change.to:g} {change.unit} ({gain}, {worst})"


# ---- bumps and wind ----------------------------------------------------------------------------------------


def _bumps(judged: JudgedReport, width: int) -> str:
    rows = thinned(_least_by_angle(list(judged.cases())), _MOST_ANGLES, _least)
    columns = [
        Column("roll angle deg", [_degrees(row) for row in rows]),
        Column("bump mm", [_bump_words(row) for row in rows]),
        Column("length m", [number(row["bump_length_m"], 2) for row in rows]),
        Column("track", [row["bump_track"] or "-" for row in rows], numeric=False),
        Column("attitude", [row["attitude"] for row in rows], numeric=False, least=12),
    ]
    head = "Bump allowance by roll angle: least of all attitudes, at its worst length and side"
    return f"{paragraph(head, width)}\n{table(columns, width)}"


def _bump_words(row: Field) -> str:
    if row["bump_mm"] is None:
        return "CONTACT LOST"
    return number(row["bump_mm"]) if row["bump_length_m"] is not None else f"over {row['bump_mm']:.0f}"


def _least(row: Field) -> float:
    return -1.0 if row["bump_mm"] is None else float(row["bump_mm"])


def _least_by_angle(rows: list[Field]) -> list[Field]:
    """Of each roll angle the case that stands least, in the order of the angles."""
    least: dict[float, Field] = {}
    for row in sorted(rows, key=_least):
        least.setdefault(row["roll_angle_deg"], row)
    return [least[degrees] for degrees in sorted(least)]


def _winds(judged: JudgedReport, width: int) -> str:
    rows = list(judged.winds())
    columns = [
        Column("from deg", [angle(row["from_deg"]) for row in rows]),
        Column("gust m/s", [_speed_words(row["gust_m_s"]) for row in rows]),
        Column("gust length m", [_length_words(row) for row in rows]),
        Column("steady m/s", [_speed_words(row["steady_m_s"]) for row in rows]),
        Column("at deg", [_degrees(row) for row in rows]),
        Column("attitude", [row["attitude"] or "-" for row in rows], numeric=False, least=12),
    ]
    head = (
        "Wind at which the run must stop, by where it comes from along the car (0 ahead, 90 left), on top of "
        "the attitudes' own winds; the least of all cases"
    )
    return f"{paragraph(head, width)}\n{table(columns, width)}"


def _speed_words(speed: float | None) -> str:
    return "over 40" if speed is None else number(speed)


def _length_words(row: Field) -> str:
    if row["gust_length_m"] is not None:
        return number(row["gust_length_m"], 0)
    return "-" if row["case"] is None else "steady"


# ---- road --------------------------------------------------------------------------------------------------


def _road(judged: JudgedReport, width: int) -> str:
    study = judged.proof.road
    if study is None:
        return "Rough road: every case loses contact, nothing was ridden."
    road, source = study.plan.road, "measured profile" if study.plan.profile is not None else "random road"
    head = (
        f"Rough road ({source}): {road.coefficient / ROUGHNESS:.3g} 1e-6 m3 at 0.1 cycles/m, ISO 8608 class "
        f"{class_letter(road.coefficient)}, waviness {road.waviness:.2f}; runs of {study.plan.seconds:g} s"
    )
    parts = [paragraph(head, width), *_indices(judged, width)]
    return "\n".join([*parts, *(_ride_table(judged, one, width) for one in judged.roads)])


def _indices(judged: JudgedReport, width: int) -> Iterator[str]:
    """Roughness index of a measured profile, by this program's own step and by the published matrices."""
    for side, (own, published) in zip(("left", "right"), judged.indices, strict=False):
        track = f"{side} track" if len(judged.indices) > 1 else "the one track, which serves both sides"
        yield paragraph(
            f"International Roughness Index, {track}: {own:.3f} mm/m; by the published 0.25 m matrices "
            f"{published:.3f} mm/m.",
            width, INDENT,
        )  # fmt: skip


def _ride_table(judged: JudgedReport, road: RoadTable, width: int) -> str:
    place, sums = judged.place(road.row), road.ridden.sums
    share, low, high = sums.chance_under()
    head = (
        f"Case {place['case']}, {_degrees(place)} deg, {place['attitude']}: {sums.rides + sums.lost} rides, "
        f"{sums.seconds:.0f} s. Under the floor in {100 * share:.3g} % of the rides (95 %: {100 * low:.3g} "
        f"to {100 * high:.3g} %), {100 * sums.share_under:.2g} % of the time; by the linear answer in "
        f"{100 * road.linear_chance:.3g} % of the runs. Least margin {margin_words(sums.least_margin)}."
    )
    lines = road.lines
    columns = [
        Column("rms of", [line.quantity for line in lines], numeric=False),
        Column("linear", [_cell(line, line.linear_rms) for line in lines]),
        Column("in rides", [_cell(line, line.rms) for line in lines]),
        Column("95 % from", [_cell(line, line.low) for line in lines], rank=1),
        Column("to", [_cell(line, line.high) for line in lines], rank=1),
        Column("unit", [line.unit for line in lines], numeric=False),
        Column("linear is off by %", [_off(line) for line in lines]),
    ]
    why = [paragraph(reason, width, INDENT) for reason in road.why]
    return "\n".join(["", paragraph(head, width), table(columns, width), *why])


def _cell(line: RoadLine, value: float | None) -> str:
    return number(value, {"": 4, "N": 1}.get(line.unit, 3))


def _off(line: RoadLine) -> str:
    return "-" if line.difference is None else number(100.0 * line.difference, 1, sign=True)


# ---- build -------------------------------------------------------------------------------------------------


def _build(judged: JudgedReport, width: int) -> str:
    build = judged.proof.build
    lines = ["Build error and uncertain inputs"]
    lines.append(_box_words(judged, "tolerance", build.build.stands, build.build.worst, width))
    if build.inputs is None or build.both is None:
        missing = "No input is called uncertain: [spread] of limits.toml is empty or missing."
        lines.append(paragraph(missing, width, INDENT))
    else:
        lines.append(_box_words(judged, "spread", build.inputs.stands, build.inputs.worst, width))
        lines.append(_box_words(judged, "tolerance and spread", None, build.both, width))
    return "\n".join([*lines, _costs(build.both or build.build.worst, width), _cloud_words(judged, width)])


def _box_words(judged: JudgedReport, box: str, stands: float | None, worst: WorstBuild, width: int) -> str:
    place = judged.place(worst.case)
    times = "" if stands is None else f"; stands {_times(stands)} the {box}"
    where = f"at {_degrees(place)} deg, {place['attitude']}"
    return paragraph(
        f"Worst within the {box}: margin {margin_words(worst.margin)} {where}{times}.", width, INDENT
    )


def _times(stands: float) -> str:
    return f"more than {stands:g} times" if stands >= SCALES[-1] else f"{stands:.2f} times"


def _costs(worst: WorstBuild, width: int) -> str:
    """Which deviation costs most."""
    shown = worst.costs[:_MOST_COSTS]
    if not shown:
        return paragraph("Contact is lost without any error: no deviation can be priced.", width, INDENT)
    columns = [
        Column("error", [cost.name for cost in shown], numeric=False),
        Column("times its bound", [f"{cost.error:+g}" for cost in shown]),
        Column(
            "costs margin", [number(cost.loss, 4) if np.isfinite(cost.loss) else "contact" for cost in shown]
        ),
    ]
    return f"{INDENT}Which costs most there, each alone\n{table(columns, width)}"


def _cloud_words(judged: JudgedReport, width: int) -> str:
    cloud, floor = judged.proof.build.cloud, judged.proof.plan.floor
    share, low, high = cloud.share_under(floor)
    marks = ", ".join(f"{100 * one:g} % {margin_words(cloud.percentile(one))}" for one in PERCENTILES)
    return paragraph(
        f"Of {cloud.count} builds spread evenly over all of it {100 * share:.3g} % are under the floor "
        f"(95 %: {100 * low:.2g} to {100 * high:.2g} %). Margin at percentiles: {marks}.",
        width, INDENT,
    )  # fmt: skip
