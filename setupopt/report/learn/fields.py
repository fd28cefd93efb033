"""Logs beside the model, for scripts; the text stands in `text`, the pictures in `picture`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from setupopt.evaluation.result import Field, degrees, finite
from setupopt.learn.channels import CHANNELS, key_of
from setupopt.learn.explain import TOLD
from setupopt.learn.model import assumed
from setupopt.learn.study import Learned
from setupopt.learn.way import Way
from setupopt.project.checksum import setup_checksum
from setupopt.project.csv_write import frame_text
from setupopt.report.shared.plain import plain, rounded
from setupopt.units import DEG, PERCENT

_STRONG = 0.7  # correlation worth telling


def as_dict(learned: Learned) -> Field:
    """Plain Python values, None for what has no answer."""
    project = learned.project
    step = learned.next
    return {
        "holds": learned.holds,
        "floor": learned.options.floor,
        "chance_percent": learned.options.chance / PERCENT,
        "setup": {"name": project.setup.name, "checksum": setup_checksum(project, project.setup)},
        "logs": [_log(way) for way in learned.ways],
        "findings": [one._asdict() for one in learned.findings],
        "compared_seconds": len(learned.rows.log),
        "unheld_seconds": learned.unheld,
        "channels": channel_rows(learned),
        "parameters": parameter_rows(learned),
        "correlations": correlation_rows(learned),
        "downforce": downforce_rows(learned),
        "spread": spread_rows(learned),
        "grip": plain(learned.grip),
        "left_out": plain(learned.left_out),
        "agrees": learned.agrees,
        "programme": run_rows(learned),
        "next": next((row for row, run in zip(run_rows(learned), step.runs, strict=True) if run is step.run), None),
        "reach_deg": None if step.reach is None else degrees(step.reach),
        "worst_margin": {"before": finite(learned.worst[0]), "after": finite(learned.worst[1])},
        "assumed": assumed(project),
        "cautions": list(project.cautions),
    }


def _log(way: Way) -> Field:
    run = way.run
    return {
        "file": str(run.path),
        "rows": run.rows,
        "seconds": len(way.line),
        "used": {one.column: key_of(name) for name, one in run.used.items()},
        "unused": run.unused,
        "seconds_by_reason": {reason or "steady": int(n) for reason, n in way.transient.value_counts().items()},
        "input_errors": {name: rounded(float(v)) for name, v in way.errors.median().items() if np.isfinite(v)},
    }


def channel_rows(learned: Learned) -> list[Field]:
    """Every channel against the model, in the unit of the files."""
    rows = []
    for one in learned.residuals:
        unit, factor = CHANNELS.loc[one.channel, ["unit", "factor"]]
        numbers = ("bias", "bias_after", "rms_after", "band", "noise")
        scaled = {name: rounded(getattr(one, name), factor) for name in numbers}
        cause = {"cause": one.cause or None, "cause_errors": rounded(one.size), "cause_share": rounded(one.share)}
        rows.append({"channel": one.channel, "unit": unit, "seconds": one.seconds, **scaled, **cause})
    return rows


def parameter_rows(learned: Learned) -> list[Field]:
    """Every uncertain value before and after, in its unit; `told`: the log tells of it."""
    found = learned.found
    columns = zip(found.those, found.value, found.error, found.error_before, strict=True)
    return [
        {
            "parameter": one.name,
            "unit": one.unit,
            "error_before": rounded(float(before), one.factor),
            "value": rounded(float(value), one.factor),
            "error": rounded(float(error), one.factor),
            "told": bool(error < TOLD * before),
        }
        for one, value, error, before in columns
    ]


def correlation_rows(learned: Learned) -> list[Field]:
    """Pairs of values that the log tells only together, the strongest first."""
    found = learned.found
    size = np.triu(np.abs(found.correlation), 1)
    pairs = [divmod(int(at), len(size)) for at in np.argsort(size, axis=None)[::-1]]
    names = [one.name for one in found.those]
    strong = [(i, j) for i, j in pairs if size[i, j] > _STRONG]
    return [{"one": names[i], "other": names[j], "correlation": rounded(float(found.correlation[i, j]))} for i, j in strong]


def downforce_rows(learned: Learned) -> list[Field]:
    """What the air adds to the axles straight on the level at the sweep's speed; errors: one standard one."""
    keys = ("before_N", "after_N", "error_before_percent", "error_percent")
    units = (1.0, 1.0, PERCENT, PERCENT)
    return [
        {"axle": axle} | {key: rounded(float(v), unit) for key, v, unit in zip(keys, row, units, strict=True)}
        for axle, row in zip(("front", "rear", "both"), learned.correction.downforce, strict=True)
    ]


def spread_rows(learned: Learned) -> list[Field]:
    """Keys of [spread] that become narrower, plus and minus in percent."""
    return [
        {"key": f"{name}_percent", "before": rounded(before, PERCENT), "after": rounded(after, PERCENT)}
        for name, (before, after) in learned.correction.spread.items()
    ]


def run_rows(learned: Learned) -> list[Field]:
    """The runs of the programme."""
    return [
        {
            "roll_angle_deg": degrees(run.roll_angle),
            "speed_m_s": run.speed,
            "attitude": run.attitude,
            "margin": finite(run.margin),
            "margin_error": rounded(run.error),
            "chance_percent": rounded(run.chance, PERCENT),
            "driven": run.driven,
        }
        for run in learned.next.runs
    ]


def _tables(learned: Learned) -> Iterator[Any]:
    for way in learned.ways:
        place = ("along_m", 1.0) if learned.project.venue.profile else ("roll_angle_deg", DEG)
        names = {"speed": ("speed_m_s", 1.0), "place": place, "course": ("heading_deg", DEG)}
        names |= {"curvature": ("path_curvature_per_m", 1.0), "acceleration": ("acceleration_m_s2", 1.0)}
        table: dict[str, Any] = {"file": str(way.run.path), "line": way.line, "time_s": way.time}
        for name, (key, unit) in names.items():
            table[key] = way.inputs[name] / unit
            table[f"{key}_error"] = way.errors[name] / unit
        yield pd.DataFrame({**table, "transient": way.transient})


def way_text(learned: Learned) -> str:
    """CSV: where the car was, second by second."""
    return frame_text(pd.concat(_tables(learned), ignore_index=True))


def csv_text(learned: Learned) -> str:
    """CSV: every quasi-steady second and channel, log, prediction and band before, and residual after."""
    rows = learned.rows
    found = learned.found
    parts = []
    for c, name in enumerate(rows.log.columns):
        unit = CHANNELS["factor"][name]
        run = [str(learned.ways[number].run.path) for number in rows.run]
        log = rows.log[name].to_numpy()
        columns = {"log": log, "predicted": log - found.before[:, c], "band": found.band[:, c], "left": found.after[:, c]}
        scaled = {key: values / unit for key, values in columns.items()}
        parts.append(pd.DataFrame({"file": run, "second": rows.second, "channel": key_of(str(name)), **scaled}))
    return frame_text(pd.concat(parts, ignore_index=True))
