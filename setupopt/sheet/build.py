"""One car as it stands: a setup wheel by wheel, what was turned on the pad, and what the scales add."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setupopt.evaluation.setup_record import SETUP, SETUP_FIELDS, by_wheel
from setupopt.physics.inputs import Floats, Record, layout
from setupopt.project.model import Setup

# A SETUP record, and for every wheel: perch (seat or push-rod moved, as height at the wheel, m; positive
# raises the car), free_travel (travel at which bars and third springs carry nothing, m).
BUILD = layout(
    **(SETUP_FIELDS | {"wheels": SETUP_FIELDS["wheels"] + " perch free_travel"})
)


def as_written(setup: Setup) -> Record:
    """BUILD record of a setup exactly as the file gives it; bars and third springs connected without load."""
    build = np.zeros(1, BUILD)[0]
    row = by_wheel(setup)[0]
    for name in SETUP.names:
        build[name] = row[name]
    if np.isnan(build["cross_share"]):
        build["cross_share"] = 0.5
    return build


def changed(build: Record, **values: Floats) -> Record:
    """A copy with other values of some fields."""
    copied = build.copy()
    for name, value in values.items():
        copied[name] = value
    return copied


def with_changes(
    build: Record, field: str, places: Sequence[int], by: float
) -> Record:
    """A copy with some values of one field changed by so much."""
    values = build[field].copy()
    values[list(places)] += by
    return changed(build, **{field: values})
