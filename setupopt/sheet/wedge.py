"""How perches are turned on the diagonals to bring the cross weight to the target's."""

from __future__ import annotations

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.model import AXLES, Project, Setup
from setupopt.sheet.adjusters import axle_tools
from setupopt.sheet.build import as_written, changed
from setupopt.sheet.pad_state import Pad

# Perches that raise the cross share: front right and rear left up, the others down.
PATTERN = np.array([-1.0, 1.0, 1.0, -1.0])
_PROBE = 1e-3  # m


def perch_moves(project: Project, target: Setup, cross_share: float) -> Floats:
    """Moves of the perches (4), m, that take a car from a cross share to the target's, bars off, on the pad
    model.
    """
    pad = Pad(project, target)
    stance = changed(as_written(target), anti_roll=np.zeros(2))
    probed = pad.reading(changed(stance, perch=_PROBE * PATTERN)).cross_share
    wanted = pad.reading(stance).cross_share
    per_metre = (probed - wanted) / _PROBE
    return (float(stance["cross_share"]) - cross_share) / per_metre * PATTERN


def wedge_words(project: Project, target: Setup, cross_share: float) -> str:
    """What to turn, to the nearest flats."""
    moves = perch_moves(project, target, cross_share)
    tools = [axle_tools(project, axle) for axle in (0, 1)]
    amounts = [
        tool.perch_amount(abs(float(moves[2 * axle])))
        for axle, tool in enumerate(tools)
    ]
    if not any(amounts):
        return "less than half a flat on each perch"
    diagonals = ["FL and RR", "FR and RL"]
    up, down = reversed(diagonals) if moves[1] > 0.0 else diagonals
    turns = ", ".join(
        f"{name} {tool.perch_words(amount) if amount else 'nothing'}"
        for name, tool, amount in zip(AXLES, tools, amounts, strict=True)
    )
    return f"bars off: raise {up}, lower {down}, each by as much: {turns}; then scales again"
