"""What a proposal had to stand, for scripts."""

from __future__ import annotations

from typing import Any

from setupopt.evaluation.result import Field, finite
from setupopt.project import setup_as_dict
from setupopt.report.shared.plain import picked
from setupopt.search.required_front import Required
from setupopt.search.stood_setup import UNITS, StoodSetup


def required_fields(required: Required | None) -> Any:
    """For JSON, in the units of the files; None where nothing must be stood."""
    if required is None:
        return None
    return {
        "times": required.times,
        **{
            name: _setup(getattr(required, name))
            for name in ("today", "steady", "proposed")
        },
        "front": [
            {
                **picked(one, "times", "margin", "is_stood"),
                "setup": setup_as_dict(one.setup),
            }
            for one in required.front
        ],
    }


def _setup(one: StoodSetup) -> Field:
    stood = {}
    for disturbance in one.stood:
        key, _, factor = UNITS[disturbance.kind]
        where = {
            name: disturbance.fields.get(name)
            for name in ("roll_angle_deg", "attitude")
        }
        stood[key] = {
            "asked": disturbance.asked / factor,
            "stood": disturbance.stood / factor,
            **where,
        }
        rides = disturbance.ridden / (
            1.0 if disturbance.kind == "road" else factor
        )
        stood[key][
            "runs_failed" if disturbance.kind == "road" else "ridden"
        ] = rides
    built = None if one.built is None else finite(one.built)
    return {
        "margin": finite(one.margin),
        "stood": stood,
        "built": built,
        "setup": setup_as_dict(one.setup),
    }
