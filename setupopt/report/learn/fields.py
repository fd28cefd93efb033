"""Logs beside the model, for scripts; the text stands in `text`, the pictures in `picture`."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd

from setupopt.evaluation.result import Field, degrees, finite
from setupopt.learn.channels import CHANNELS, key_of
from setupopt.learn.corrected import history
from setupopt.learn.estimate import TOLD
from setupopt.learn.model import assumed
from setupopt.learn.next_step import Next
from setupopt.learn.study import Learned
from setupopt.learn.way import Way
from setupopt.project.csv_write import frame_text
from setupopt.report.shared.plain import plain, setup_fields
from setupopt.units import DEG, PERCENT

_STRONG = 0.7  # correlation worth telling
_SI = ["bias", "bias_after", "rms_after", "band", "noise"]


def as_dict(learned: Learned) -> Field:
    """Plain Python values, None for what has no answer; values in the unit beside them."""
    project = learned.project
    programme = _programme(learned)
    best = learned.next.run
    correction = learned.correction
    return {
        "holds": learned.holds,
        "floor": learned.options.floor,
        "chance_percent": learned.options.chance / PERCENT,
        "car": project.car.name,
        "venue": project.venue.name,
        "speed_m_s": project.venue.sweep.speed,
        "setup": setup_fields(project, project.setup),
        "logs": [_log(way) for way in learned.ways],
        "earlier_logs": [
            log
            for one in history(project).get("history", [])
            for log in one["logs"]
        ],
        "findings": [
            one._asdict() for way in learned.ways for one in way.run.findings
        ],
        "compared_seconds": len(learned.rows),
        "unheld_seconds": learned.unheld,
        "channels": _channels(learned),
        "parameters": _parameters(learned),
        "correlations": _correlations(learned),
        "downforce": _downforce(learned),
        "spread_percent": _rows(correction.spread / PERCENT, "input"),
        "grip": plain(learned.grip),
        "left_out": _rows(learned.left_out, "name"),
        "agrees": learned.agrees,
        "programme": programme,
        "next": None if best is None else programme[best],
        "reach_before_deg": _reach(learned.before),
        "reach_deg": _reach(learned.next),
        "worst_margin": [finite(margin) for margin in learned.worst],
        "assumed": assumed(project),
        "cautions": list(project.cautions),
    }


def _channels(learned: Learned) -> list[Field]:
    unit = CHANNELS.loc[learned.residuals.index]
    channels = learned.residuals.assign(unit=unit["unit"])
    channels[_SI] = channels[_SI].div(unit["factor"], axis=0)
    return _rows(channels, "channel")


def _parameters(learned: Learned) -> list[Field]:
    those = learned.found.those
    numbers = ["prior", "value", "error"]
    is_told = those["error"] < TOLD * those["prior"]
    values = those[["kind", "unit", *numbers]].assign(told=is_told)
    values[numbers] = values[numbers].div(those["factor"], axis=0)
    return _rows(values, "parameter")


def _programme(learned: Learned) -> list[Field]:
    runs = learned.next.runs
    values = runs.assign(
        roll_angle_deg=runs["roll_angle"].map(degrees),
        chance_percent=runs["chance"] / PERCENT,
    ).rename(columns={"speed": "speed_m_s", "error": "margin_error"})
    return _rows(values.drop(columns=["roll_angle", "chance"]))


def _downforce(learned: Learned) -> list[Field]:
    downforce = learned.correction.downforce / [1.0, PERCENT, 1.0, PERCENT]
    downforce.columns = [
        "before_N",
        "error_before_percent",
        "after_N",
        "error_percent",
    ]
    return _rows(downforce, "axle")


def _reach(step: Next) -> float | None:
    """Highest angle up to which the programme is safe enough, deg."""
    return None if step.reach is None else degrees(step.reach)


def _rows(frame: Any, name: str = "") -> list[Field]:
    """The rows of a frame as plain values; its index under a name, if it has one."""
    whole = frame.rename_axis(name).reset_index() if name else frame
    return json.loads(whole.to_json(orient="records", double_precision=9))


def _log(way: Way) -> Field:
    run = way.run
    return {
        "file": str(run.path),
        "rows": run.rows,
        "seconds": len(way.table),
        "used": {one.column: key_of(name) for name, one in run.used.items()},
        "unused": run.unused,
        "steady_seconds": int((way.transient == "").sum()),
        "transient_seconds": way.transient[way.transient != ""]
        .value_counts()
        .to_dict(),
    }


def _correlations(learned: Learned) -> list[Field]:
    """Pairs of values that the logs tell only together, the strongest first."""
    error = learned.found.those["error"].to_numpy()
    names = list(learned.found.those.index)
    table = learned.found.covariance / np.outer(error, error)
    pairs = [
        (table[i, j], names[i], names[j])
        for i, j in zip(*np.triu_indices(len(names), 1), strict=True)
    ]
    strong = sorted(
        (pair for pair in pairs if abs(pair[0]) > _STRONG),
        key=lambda pair: -abs(pair[0]),
    )
    return [
        {"one": one, "other": other, "correlation": float(value)}
        for value, one, other in strong
    ]


def way_text(learned: Learned) -> str:
    """CSV: where the car was, second by second, SI; angles in deg on a section that is one circle or flat."""
    tables = []
    for way in learned.ways:
        found = pd.concat(
            [way.table["input"], way.table["error"].add_suffix("_error")],
            axis=1,
        )
        if not learned.project.venue.profile:
            found[["place", "place_error"]] /= DEG
        found[["course", "course_error"]] /= DEG
        tables.append(
            found.assign(
                file=str(way.run.path), line=way.lines, transient=way.transient
            )
        )
    return frame_text(pd.concat(tables).rename_axis("second").reset_index())


def csv_text(learned: Learned) -> str:
    """CSV: every compared second and channel: log, prediction, band, and what is left after; units of the
    files.
    """
    found = learned.found
    log = learned.rows["log"]
    unit = CHANNELS["factor"][log.columns].to_numpy()
    parts = {
        "log": log,
        "predicted": log - found.before,
        "band": found.band,
        "left": found.after,
    }
    tables = {
        name: pd.DataFrame(
            np.asarray(part) / unit, log.index, list(map(key_of, log))
        ).stack()
        for name, part in parts.items()
    }
    return frame_text(
        pd.DataFrame(tables)
        .rename_axis(["run", "second", "channel"])
        .reset_index()
    )
