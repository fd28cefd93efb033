"""A read-back for scripts; its words stand in `readback_text`."""

from __future__ import annotations

from dataclasses import asdict

from setupopt.evaluation.result import Field, finite
from setupopt.evaluation.summary import by_angle
from setupopt.project.checksum import setup_checksum
from setupopt.sheet.readback import Correction, Deviation, ReadBack


def as_dict(read: ReadBack) -> Field:
    """Plain Python values, None for what has no answer."""
    return {
        "setup": {
            "name": read.target.name,
            "body": read.target.body,
            "checksum": setup_checksum(read.project, read.target),
        },
        "margin": finite(read.margin),
        "target_margin": finite(read.target_margin),
        "floor": read.floor,
        "holds": read.holds,
        "worst": read.result.fields(int(read.result.worst[0])),
        "by_angle": by_angle(read.result),
        "deviations": [deviation_fields(deviation) for deviation in read.deviations],
        "corrections": [_correction(correction) for correction in read.corrections],
        "smallest": read.is_smallest,
        "after_corrections": finite(read.after),
        "limits_broken": [asdict(limit) for limit in read.broken],
        "contact_lost": read.result.lost(),
        "cautions": list(read.cautions),
    }


def deviation_fields(deviation: Deviation) -> Field:
    """One deviation; costs are None where contact hangs on it."""
    return {
        "name": deviation.name, "unit": deviation.unit, "target": deviation.target, "found": deviation.found,
        "tolerance": deviation.tolerance, "outside": deviation.is_outside,
        "gain_when_righted": finite(deviation.gain), "loss_alone": finite(deviation.loss),
    }  # fmt: skip


def _correction(correction: Correction) -> Field:
    d = correction.deviation
    return {"name": d.name, "unit": d.unit, "from": d.found, "to": d.target, "how": correction.how,
            "for": "floor" if correction.for_floor else "tolerance"}  # fmt: skip
