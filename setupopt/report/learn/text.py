"""Logs beside the model in words and plain tables."""

from __future__ import annotations

from setupopt.evaluation.result import Field
from setupopt.learn.study import Learned
from setupopt.report.learn.fields import (
    channel_rows,
    correlation_rows,
    downforce_rows,
    parameter_rows,
    run_rows,
    spread_rows,
)
from setupopt.report.shared.tables import (
    Key,
    angle,
    decimals,
    keyed_table,
    margin_words,
    number,
    paragraph,
    significant,
    words,
)
from setupopt.report.shared.words import CLOSING, assumed_text, cautions_text, headed, lines, verdict
from setupopt.learn.model import assumed
from setupopt.units import DEG, PERCENT

_MOST_FINDINGS = 30


def text(learned: Learned, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without what the channels and values show."""
    parts = [_head(learned, width), cautions_text(learned.project.cautions, width), _findings(learned, width)]
    parts.append(assumed_text(assumed(learned.project), width))
    if not short:
        parts += [_channels(learned, width), _values(learned, width)]
    parts += [_agreement(learned, width), _downforce(learned, width), _next(learned, width)]
    parts.append(paragraph(CLOSING, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(learned: Learned, width: int) -> str:
    project = learned.project
    said = [f'{project.car.name}, setup "{project.setup.name}", at {project.venue.name}: logs beside the model']
    for way in learned.ways:
        counts = way.transient.value_counts()
        other = ", ".join(f"{n} {reason}" for reason, n in counts.items() if reason)
        said.append(
            f"{way.run.path}: {way.run.rows} rows, {len(way.line)} s, {counts.get('', 0)} of them quasi-steady"
            f"{f'; transient by what changes: {other}' if other else ''}."
        )
        if way.run.unused:
            said.append(f"Columns not used: {', '.join(way.run.unused)}.")
    unheld = f"; in {learned.unheld} more the model's car does not hold" if learned.unheld else ""
    said.append(f"{len(learned.rows.log)} quasi-steady seconds are compared{unheld}.")
    return lines(said, width)


def _findings(learned: Learned, width: int) -> str:
    found = [str(one) for one in learned.findings]
    more = [f"and {len(found) - _MOST_FINDINGS} more, in learn.json"] if len(found) > _MOST_FINDINGS else []
    body = lines(found[:_MOST_FINDINGS] + more, width, "  ! ")
    return headed(f"ODD IN THE LOGS ({len(found)})", body, width)


def _channels(learned: Learned, width: int) -> str:
    keys = [
        words("channel", "channel"),
        words("unit", "unit"),
        Key("log - model", "bias", significant),
        Key("band", "band", significant),
        Key("corrected", "bias_after", significant),
        Key("rms", "rms_after", significant),
        Key("noise", "noise", significant, rank=1),
        words("explained by", "", _cause, least=14),
    ]
    head = (
        "Log minus prediction: mean with the project's car, band of that prediction (one standard error, from "
        "[spread]), mean and rms with the corrected car, and what sensors and model err by."
    )
    return headed(head, keyed_table(channel_rows(learned), keys, width), width)


def _cause(row: Field) -> str:
    if row["cause"] is None:
        return "-"
    return f"{row['cause']} ({number(row['cause_share'] / PERCENT, 0)} %)"


def _values(learned: Learned, width: int) -> str:
    keys = [
        words("value", "parameter", least=16),
        words("unit", "unit"),
        Key("before +-", "error_before", significant),
        Key("found", "value", significant),
        Key("+-", "error", significant),
        words("", "told", lambda told: "" if told else "the log cannot tell"),
    ]
    head = "Deviations from the project: one standard error before the logs, value and error after."
    said = [
        f"Told only together: {row['one']} and {row['other']} (correlation {number(row['correlation'], 2)})."
        for row in correlation_rows(learned)[:6]
    ]
    table = keyed_table(parameter_rows(learned), keys, width)
    return "\n".join(part for part in (headed(head, table, width), lines(said, width)) if part)


def _agreement(learned: Learned, width: int) -> str:
    keys = [
        words("left out", "name", least=12),
        Key("seconds", "seconds"),
        decimals("rms of residuals over their errors", "rms", 2),
        Key("moves", "moved", lambda v: f"{number(v, 2, sign=True)} errors"),
        words("of", "parameter", least=12),
    ]
    head = f"Each part of the logs predicted by the others; 1 is as it should be: {verdict(learned.agrees)}"
    return headed(head, keyed_table(learned.left_out, keys, width), width)


def _downforce(learned: Learned, width: int) -> str:
    keys = [
        words("axle", "axle"),
        decimals("before N", "before_N", 0),
        decimals("+- %", "error_before_percent", 2),
        decimals("after N", "after_N", 0),
        decimals("+- %", "error_percent", 2),
    ]
    speed = learned.project.venue.sweep.speed
    head = f"Load by the air, straight on the level at {number(speed)} m/s, with one standard error."
    grip = learned.grip
    said = [f"[spread] {row['key']}: {_before(row)}{number(row['after'], 1)}." for row in spread_rows(learned)]
    said.append(
        f"Grip: at least {number(grip.least / PERCENT, 0)} % of the project's, which a quasi-steady second "
        "needed by the model."
    )
    if grip.value is not None and grip.error is not None:
        found = f"{number(grip.value / PERCENT, 0)} +- {number(grip.error / PERCENT, 0)} %"
        said.append(f"An axle slid in {grip.slid} s: the grip there is {found} of the project's.")
    else:
        said.append("No axle slid: the log tells nothing of how much grip there is beyond that.")
    return headed(head, f"{keyed_table(downforce_rows(learned), keys, width)}\n{lines(said, width)}", width)


def _before(row: Field) -> str:
    return "now " if row["before"] is None else f"{number(row['before'], 1)}, now "


def _next(learned: Learned, width: int) -> str:
    options = learned.options
    step = learned.next
    keys = [
        Key("roll angle deg", "roll_angle_deg", angle),
        decimals("m/s", "speed_m_s"),
        words("worst attitude", "attitude", least=12),
        decimals("margin", "margin", 3, missing="contact lost"),
        decimals("+-", "margin_error", 3),
        decimals("chance %", "chance_percent", 2),
        words("", "driven", lambda driven: "driven" if driven else ""),
    ]
    head = (
        f"Runs of the programme with the corrected car: chance of a margin under {options.floor:g}, at most "
        f"{options.chance / PERCENT:g} % allowed."
    )
    run = step.run
    reach = "none" if step.reach is None else f"{angle(step.reach / DEG)} deg"
    said = [f"Every run keeps the chance up to: {reach}."]
    if run is None:
        said.append("NO NEXT RUN: all runs that keep the chance are driven, or none keeps it.")
    else:
        said.append(f"Next run by the model: {angle(run.roll_angle / DEG)} deg at {number(run.speed)} m/s.")
    before, after = (margin_words(margin) for margin in learned.worst)
    said.append(
        f"Today's setup over the venue's sweep: lowest margin {before} before, {after} with the corrected car, "
        f"minimum {options.floor:g}: {verdict(learned.worst[1] >= options.floor)}."
    )
    said.append("Best setup of the corrected car: setupopt propose on the folder that --corrected writes.")
    return headed(head, f"{keyed_table(run_rows(learned), keys, width)}\n{lines(said, width)}", width)
