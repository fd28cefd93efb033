"""A read-back for scripts; its words stand in `text`."""

from __future__ import annotations

from setupopt.evaluation.result import Field, finite
from setupopt.evaluation.summary import by_angle
from setupopt.report.shared.plain import picked, plain, setup_fields
from setupopt.sheet.deviations import Deviation
from setupopt.sheet.readback import Correction, ReadBack


def as_dict(read: ReadBack) -> Field:
    """Plain Python values, None for what has no answer."""
    return {
        "setup": setup_fields(read.project, read.target, "body"),
        "margin": finite(read.margin),
        "target_margin": finite(read.target_margin),
        "floor": read.floor,
        "holds": read.holds,
        "worst": read.result.fields(int(read.result.worst[0])),
        "by_angle": by_angle(read.result),
        "deviations": [
            deviation_fields(deviation) for deviation in read.deviations
        ],
        "corrections": [
            _correction(correction) for correction in read.corrections
        ],
        "smallest": read.is_smallest,
        "after_corrections": finite(read.after),
        "limits_broken": plain(read.broken),
        "contact_lost": read.result.lost(),
        "slides": read.result.sliding(),
        "cautions": list(read.cautions),
    }


def deviation_fields(deviation: Deviation) -> Field:
    """One deviation; costs are None where contact hangs on it."""
    return picked(
        deviation, "name", "unit", "target", "found", "tolerance",
        outside="is_outside", gain_when_righted="gain", loss_alone="loss",
    )  # fmt: skip


def _correction(correction: Correction) -> Field:
    d = correction.deviation
    return {
        **picked(d, "name", "unit", **{"from": "found"}, to="target"),
        "how": correction.how,
        "for": "floor" if correction.for_floor else "tolerance",
    }
