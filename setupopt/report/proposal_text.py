"""A proposal in words and plain tables, for people."""

from __future__ import annotations

from setupopt.project.model import AXLES, AxleSetup
from setupopt.project.settings import SETTINGS, in_file_units
from setupopt.report.assessment_text import CLOSING, cautions_text
from setupopt.report.proposal import JudgedProposal
from setupopt.report.tables import INDENT, Column, number, paragraph, table

# Ends of starts further apart than this are told as a disagreement.
_AGREE = 0.002


def text(judged: JudgedProposal, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the setup; lines of at most `width`."""
    parts = [_head(judged, width), cautions_text(judged.project.cautions, width)]
    parts += [_verdict(judged, width), _settings(judged, width), _broken(judged, width)]
    if not short:
        parts += [_binding(judged, width), _prices(judged, width), _evidence(judged, width)]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(judged: JudgedProposal, width: int) -> str:
    project, cases = judged.project, judged.proposal.result.cases
    return paragraph(
        f'{project.car.name} at {project.venue.name}: proposal from "{project.setup.name}", checked on '
        f"{len(cases)} cases, {cases.angles.size} roll angles x {len(cases.attitudes)} attitudes",
        width,
    )


def _margin_words(margin: float | None) -> str:
    if margin is None:
        return "contact lost"
    return f"{number(margin, 3)}{' (below zero: it slides)' if margin < 0.0 else ''}"


def _verdict(judged: JudgedProposal, width: int) -> str:
    worst, lost = judged.worst, judged.proposal.result.lost()
    lines = [
        f"Worst margin: {_margin_words(judged.start_margin)} today, {_margin_words(judged.margin)} proposed"
    ]
    place = f"{worst['roll_angle_deg'] + 0.0:.6g} deg, {worst['attitude']}"
    if lost:
        lines.append(
            f"CONTACT LOST in {lost} of {len(judged.proposal.result.cases)} cases, first at {place}."
        )
    else:
        lines.append(f"Worst at {place}; the {worst['first_axle']} axle goes first.")
    if judged.floor is not None:
        lines.append(
            f"Floor asked for: {judged.floor:g}, {'not reached' if judged.is_under_floor else 'reached'}"
        )
    return "\n".join(paragraph(line, width) for line in lines)


def _values(axle: AxleSetup) -> list[str]:
    return [f"{in_file_units(axle, setting):g}" for setting in SETTINGS]


def _settings(judged: JudgedProposal, width: int) -> str:
    today, proposed = judged.project.setup, judged.proposal.setup
    columns = [
        Column(
            "setting",
            [s.key.removesuffix("_" + s.unit.replace("/", "_per_")).replace("_", " ") for s in SETTINGS],
            numeric=False,
        ),
        Column("unit", [s.unit for s in SETTINGS], numeric=False),
    ]
    for axle in AXLES:
        columns.append(Column(f"{axle} today", _values(getattr(today, axle))))
        columns.append(Column("proposed", _values(getattr(proposed, axle))))
    return f"Setup, today and proposed\n{table(columns, width)}"


def _broken(judged: JudgedProposal, width: int) -> str:
    if not judged.proposal.broken:
        return ""
    rows = [
        f"{limit.limit} {limit.where}: {number(limit.value, 2)} {limit.unit}, "
        f"{limit.sense} {number(limit.required, 2)} asked for"
        for limit in judged.proposal.broken
    ]
    lines = [paragraph(row, width, "  ! ") for row in rows]
    return "\n".join(["LIMITS BROKEN: no setup was found that keeps them all", *lines])


def _binding(judged: JudgedProposal, width: int) -> str:
    rows = judged.proposal.binding_cases()
    if not rows:
        return ""
    columns = [
        Column("roll angle deg", [f"{row['roll_angle_deg'] + 0.0:.6g}" for row in rows]),
        Column("attitude", [row["attitude"] for row in rows], numeric=False, least=20),
        Column("margin", [number(row["margin"], 4) for row in rows]),
        Column("first axle", [row["first_axle"] for row in rows], numeric=False),
    ]
    return f"Cases that hold the margin down\n{table(columns, width)}"


def _prices(judged: JudgedProposal, width: int) -> str:
    if not judged.proposal.prices:
        return "No limit holds the margin down."
    rows = judged.proposal.prices
    columns = [
        Column("limit", [row.limit for row in rows], numeric=False, least=20),
        Column("margin gained per unit", [number(row.margin_per_unit, 5) for row in rows]),
        Column("unit", [row.unit for row in rows], numeric=False),
    ]
    return (
        f"Limits that hold the margin down, and what one unit more of each is worth\n{table(columns, width)}"
    )


def _evidence(judged: JudgedProposal, width: int) -> str:
    p = judged.proposal
    agree = "agree" if p.spread_of_starts < _AGREE else "DISAGREE: other starts may find a better setup still"
    lines = [
        f"{len(p.start_merits)} starts ended between {number(p.start_merits[-1], 4)} and "
        f"{number(p.start_merits[0], 4)}: they {agree}.",
        f"Before rounding to parts and steps {number(p.margin_before_rounding, 4)}, "
        f"after it {number(judged.margin, 4)}.",
        f"{p.iterations} steps, {p.evaluations} cases solved, {p.seconds:.1f} s.",
    ]
    return "\n".join(paragraph(line, width, INDENT) for line in ["How far to trust it", *lines])
