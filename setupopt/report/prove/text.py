"""The robustness report in words and plain tables."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.project.bodies import worn_words
from setupopt.project.limits_model import Disturbed
from setupopt.report.prove.build_text import build_section
from setupopt.report.prove.fields import JudgedReport
from setupopt.report.prove.road_text import road_section
from setupopt.report.prove.words import degrees, verdict_word
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    angle,
    decimals,
    keyed_table,
    margin_words,
    number,
    paragraph,
    thinned,
    words,
)
from setupopt.report.shared.words import CLOSING, cautions_text
from setupopt.robust import likely_rides
from setupopt.robust.best_single_step import Change
from setupopt.robust.driver import REACTION
from setupopt.robust.faults import KINDS
from setupopt.robust.gust import RIDDEN, WINDY
from setupopt.robust.verdict import Verdict
from setupopt.units import DEG, MM, MS

_MOST_ANGLES = 37


def text(judged: JudgedReport, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict alone; lines of at most `width`."""
    project = judged.proof.project
    parts = [
        _head(judged, width),
        cautions_text(project.cautions, width),
        _verdict(judged, width),
        _changes(judged, width),
    ]
    if not short:
        parts += [
            _bumps(judged, width),
            _winds(judged, width),
            _faults(judged, width),
            road_section(judged, width),
            build_section(judged, width),
        ]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(judged: JudgedReport, width: int) -> str:
    p = judged.proof
    cases = judged.proof.steady.cases
    return paragraph(
        f'{p.project.car.name}{worn_words(p.project, p.setup.body)}, setup "{p.setup.name}", '
        f"at {p.project.venue.name}: disturbances that it stands "
        f"in {len(cases)} cases; minimum margin {p.plan.floor:g}",
        width,
    )


# ---- verdict -----------------------------------------------------------------------------------------------


def _verdict(judged: JudgedReport, width: int) -> str:
    rows = judged.verdicts
    lines = [*_without_ride(judged, width), _summary(judged)]
    keys = [
        words("verdict", "holds", verdict_word),
        words("what", "what", least=10),
        Key("found", shown=_found),
        Key("required", shown=_required),
        words("unit", "unit"),
        Key("at deg", "row", lambda row: degrees(judged.place(row))),
        words(
            "attitude",
            "row",
            lambda row: judged.place(row)["attitude"] or "-",
            least=12,
        ),
    ]
    how = [
        paragraph(f"{verdict.what}: {verdict.how}.", width, INDENT)
        for verdict in rows
    ]
    return "\n".join(
        [*lines, keyed_table(rows, keys, width), "What fails first there", *how]
    )


def _without_ride(judged: JudgedReport, width: int) -> Iterator[str]:
    """The cases that slide or lose contact without any disturbance: there is no ride about them."""
    answers = judged.proof.steady.answers[0]
    for words_, rows in (
        ("CONTACT LOST", ~answers["contact"]),
        ("THE CAR SLIDES", answers["slides"]),
    ):
        if rows.any():
            yield paragraph(
                f"{words_} in {rows.sum()} of {rows.size} cases even without any disturbance, so that no "
                f"bump, gust or road is allowed there: {_case_list(judged, rows)}.",
                width,
            )


def _case_list(judged: JudgedReport, rows: np.ndarray) -> str:
    """The chosen cases (cases) by attitude, each with its roll angles."""
    angles: dict[str, list[str]] = {}
    for row in np.flatnonzero(rows):
        place = judged.place(int(row))
        angles.setdefault(place["attitude"], []).append(degrees(place))
    return "; ".join(
        f"{attitude} at {', '.join(some)} deg"
        for attitude, some in angles.items()
    )


def _summary(judged: JudgedReport) -> str:
    failed = sum(verdict.holds is False for verdict in judged.verdicts)
    return (
        f"FAIL: {failed} of the requirements."
        if failed
        else "pass: every requirement is met."
    )


def _found(verdict: Verdict) -> str:
    if (
        verdict.is_chance
        and verdict.found is not None
        and verdict.found < 0.001
    ):
        return "< 0.001"
    if verdict.found is not None:
        return f"{verdict.found:.3g}"
    return "none" if verdict.what == "margin as set" else "all tried"


def _required(verdict: Verdict) -> str:
    if verdict.asked is None:
        return "-"
    return f"at {'most' if verdict.is_chance else 'least'} {verdict.asked:.3g}"


def _changes(judged: JudgedReport, width: int) -> str:
    """What to change for each row, by single steps inside limits.toml."""
    lines = [
        paragraph(
            f"{verdict.what}: {_change_words(verdict.change, verdict.measured)}.",
            width,
            INDENT,
        )
        for verdict in judged.verdicts
        if verdict.row is not None
    ]
    head = paragraph(
        "What to change: the single step inside limits.toml that helps most where it breaks",
        width,
    )
    return "\n".join([head, *lines])


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


# ---- bumps and wind ----------------------------------------------------------------------------------------


def _bumps(judged: JudgedReport, width: int) -> str:
    rows = thinned(_least_by_angle(list(judged.cases())), _MOST_ANGLES, _least)
    keys = [
        Key("roll angle deg", shown=degrees),
        Key("bump mm", shown=_bump_words),
        decimals("length m", "bump_length_m", 2),
        words("track", "bump_track"),
        decimals("instantaneous mm", "bump_instantaneous_mm", 1, rank=1),
        decimals("driven growth 1/s", "driven_growth_per_s", 1, rank=2),
        decimals("reaction up to s", "slowest_reaction_s", 2, rank=3),
        words("attitude", "attitude", least=12),
    ]
    allowed = _allowed(judged)
    reaction = judged.proof.project.car.driver_reaction or REACTION
    head = (
        "Bump by roll angle: the highest that the car stands, the lowest of all attitudes, lengths and "
        "tracks. Stood: it leaves its path by at most "
        f"{allowed.drift / MM:g} mm, slips sideways by at most {allowed.sideslip / DEG:g} deg off the steady "
        f"sideslip, has two wheels off the surface for at most {allowed.airborne / MS:g} ms, and is back "
        f"within a tenth of that after {allowed.within:g} s ([disturbed] of limits.toml)"
    )
    note = (
        f"A driver holds the course who answers {reaction:g} s late, with the steering gains that suit the "
        "case best; the driven growth is that of the slowest motion with him, negative where it dies out. "
        "Reaction up to: the latest answer with which some gains still hold the car there. "
        "Instantaneous: the height of the same bump at which what an axle must pass exceeds what it can pass "
        "at one instant. It is no verdict: it does not say whether the car recovers. Ridden are at most "
        f"{likely_rides.RIDDEN} obstacles, those for which linear equations of motion leave least, up to "
        f"{likely_rides.DOUBT:g} times the lowest height, in the case with the least margin of each roll angle; "
        f"in the others {likely_rides.RIDDEN_BESIDE} like its worst, up to {likely_rides.DOUBT_BESIDE:g} times. "
        "The rest is not ridden."
    )
    return f"{paragraph(head, width)}\n{keyed_table(rows, keys, width)}\n{paragraph(note, width, INDENT)}"


def _allowed(judged: JudgedReport) -> Disturbed:
    """What the car may do and still stand a disturbance."""
    limits = judged.proof.project.limits
    return limits.disturbed if limits else Disturbed()


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


def _winds(judged: JudgedReport, width: int) -> str:
    keys = [
        Key("from deg", "from_deg", angle),
        Key("gust m/s", shown=lambda row: _speed_words(row["gust_m_s"])),
        Key("gust length m", shown=_length_words),
        Key(
            "instantaneous m/s",
            shown=lambda row: number(row["gust_instantaneous_m_s"]),
            rank=2,
        ),
        Key("wind step m/s", shown=lambda row: number(row["step_m_s"]), rank=1),
        Key("steady m/s", shown=lambda row: _speed_words(row["steady_m_s"])),
        Key("at deg", shown=degrees),
        words("attitude", "attitude", least=12),
    ]
    head = (
        "Wind that the car stands, by its direction from the car (0 ahead, 90 left). Gusts ride in at most "
        f"{RIDDEN} cases and lengths, those for which linear equations of motion leave least, and the longest "
        f"also in the {WINDY} cases that a steady wind hits hardest; the rest is not ridden. "
        "The wind adds to the wind of the attitude. Gusts and wind steps are judged as bumps are, a steady "
        "wind by the margin in it"
    )
    return (
        f"{paragraph(head, width)}\n{keyed_table(judged.winds(), keys, width)}"
    )


def _faults(judged: JudgedReport, width: int) -> str:
    """By roll angle what is not stood, and the seconds that a driver has who keeps the steer still."""
    rows = list(judged.faults())
    if not rows:
        return ""
    lines = thinned(
        list(_by_angle(rows)), _MOST_ANGLES, lambda line: line["least"]
    )
    keys = [
        Key("roll angle deg", shown=degrees),
        *(words(kind, kind) for kind in KINDS),
        words("attitude", "attitude", least=12),
    ]
    head = (
        "Faults by roll angle, in the attitude with the least margin: withstood with the driver, yes or NO; the "
        "seconds until the limits are left where he keeps the steer still"
    )
    return f"{paragraph(head, width)}\n{keyed_table(lines, keys, width)}"


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


def _speed_words(speed: float | None) -> str:
    return "over 40" if speed is None else number(speed)


def _length_words(row: Field) -> str:
    if row["gust_length_m"] is not None:
        return number(row["gust_length_m"], 0)
    return "-" if row["case"] is None else "steady"
