"""The picture of a proof: instantaneous margin against time over the bump with the lowest allowance."""

from __future__ import annotations

from typing import Any

import numpy as np

from setupopt.evaluation.result import degrees
from setupopt.report.shared.picture import INK, QUIET, SECOND, WARNING, drawing, svg
from setupopt.report.shared.tables import angle
from setupopt.robust.bump import TRACKS
from setupopt.robust.robustness import RobustnessReport
from setupopt.units import MM

_SHARES = (1.0, 1.5)  # of the allowance, as the traces of a BumpStudy
_LOWEST = -1.0  # margins below it are drawn there: the car slides or flies


def bump_picture(proof: RobustnessReport) -> str | None:
    """SVG; None where there is no worst bump, because the worst case has no ride or every bump is stood."""
    if not proof.bump.traces:
        return None
    with drawing(7.2, 5.4, nrows=2, sharex=True, height_ratios=[2, 1]) as (
        figure,
        (upper, lower),
    ):
        _margins(proof, upper)
        _loads(proof, lower)
        figure.suptitle(_title(proof), fontsize=11, x=0.02, ha="left", parse_math=False)
        return svg(figure)


def _title(proof: RobustnessReport) -> str:
    allowance = proof.bump.allowance
    cases = proof.steady.cases
    row = allowance.worst
    where = f"{angle(degrees(cases.records['roll_angle'][row]))} deg, {cases.attitude[row]}"
    length = allowance.length[row]
    track = TRACKS[int(allowance.track[row])]
    return f"Crossing the worst bump: {where}\n{length:.2f} m long, {_tracks(track)}, shape (1 - cos)"


def _tracks(track: str) -> str:
    return "under both tracks" if track == "both" else f"under the {track} track"


def _margins(proof: RobustnessReport, axes: Any) -> None:
    """Instantaneous margin at the allowance and beyond, with the minimum."""
    height = float(proof.bump.allowance.height[proof.bump.allowance.worst])
    for trace, share, colour, style in zip(
        proof.bump.traces, _SHARES, (SECOND, WARNING), ("-", "--"), strict=True
    ):
        label = f"bump of {share * height / MM:.3g} mm" + (", the allowance" if share == 1.0 else "")
        axes.plot(
            1e3 * trace[:, 0],
            np.maximum(trace[:, 1], _LOWEST),
            style,
            color=colour,
            lw=1.6,
            label=label,
        )
    axes.axhline(
        proof.plan.floor,
        color=INK,
        lw=1.0,
        ls=":",
        label=f"minimum margin {proof.plan.floor:g}",
    )
    axes.set_ylabel("instantaneous margin")
    axes.set_ylim(bottom=max(axes.get_ylim()[0], _LOWEST - 0.05))
    axes.legend(frameon=False, loc="lower right")


def _loads(proof: RobustnessReport, axes: Any) -> None:
    """Load of the least loaded wheel."""
    for trace, colour, style in zip(proof.bump.traces, (SECOND, WARNING), ("-", "--"), strict=True):
        axes.plot(1e3 * trace[:, 0], trace[:, 2], style, color=colour, lw=1.2)
    axes.axhline(0.0, color=QUIET, lw=0.8)
    axes.set_ylabel("least wheel load N")
    axes.set_xlabel("time since a front wheel or wing met the bump, ms")
