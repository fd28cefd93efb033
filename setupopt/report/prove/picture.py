"""The picture of a proof: drift, sideslip and instantaneous margin against time over the worst bump."""

from __future__ import annotations

from typing import Any

from setupopt.project.limits_model import Disturbed
from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.report.shared.words import where_words
from setupopt.robust.obstacle import track_words
from setupopt.robust.robustness import RobustnessReport
from setupopt.units import DEG, MM

_SHARES = (1.0, 1.5)  # of the allowance, as the traces of a BumpStudy
_LOWEST = -1.0  # margins below it are drawn there


def bump_picture(proof: RobustnessReport) -> str | None:
    """SVG; None where there is no worst bump, because the worst case has no ride or every bump is stood."""
    if not proof.bump.traces:
        return None
    allowed = proof.allowed
    layout: Any = {"nrows": 4, "sharex": True, "height_ratios": [2, 1, 1, 1]}
    with drawing(7.2, 7.2, _title(proof), **layout) as (figure, axes):
        _drift(proof, axes[0], allowed)
        _curves(proof, axes[1], "sideslip", 1.0 / DEG)
        _band(axes[1], allowed.sideslip / DEG)
        axes[1].set_ylabel("sideslip deg\noff the trim's")
        _curves(proof, axes[2], "margin", 1.0)
        axes[2].axhline(proof.plan.floor, color=INK, lw=1.0, ls=":")
        low, high = axes[2].get_ylim()
        axes[2].set_ylim(max(low, _LOWEST), min(high, 1.0))
        axes[2].set_ylabel("instantaneous\nmargin")
        _curves(proof, axes[3], "load", 1.0)
        axes[3].axhline(0.0, color=QUIET, lw=0.8)
        axes[3].set_ylabel("least wheel\nload N")
        axes[3].set_xlabel("time since a front wheel or wing met the bump, ms")
        return svg(figure)


def _title(proof: RobustnessReport) -> str:
    allowance = proof.bump.allowance
    row = allowance.worst
    where = where_words(proof.steady.fields(row))
    head = at_venue(proof.project, "Crossing the worst bump")
    length = allowance.length[row]
    track = track_words(int(allowance.track[row]))
    return f"{head}\n{where}: {length:.2f} m long, {track}, shape (1 - cos)"


def _curves(
    proof: RobustnessReport, axes: Any, column: str, factor: float
) -> None:
    """One column of the traces."""
    place = proof.bump.columns.index(column)
    for trace, colour, style in zip(
        proof.bump.traces, (SECOND, WARNING), ("-", "--"), strict=False
    ):
        axes.plot(
            1e3 * trace[:, 0],
            factor * trace[:, place],
            style,
            color=colour,
            lw=1.4,
        )


def _band(axes: Any, most: float) -> None:
    """Lines at what is allowed to either side."""
    for side in (-most, most):
        axes.axhline(side, color=INK, lw=1.0, ls=":")


def _drift(proof: RobustnessReport, axes: Any, allowed: Disturbed) -> None:
    """Way off the path at the allowance and beyond, with what is allowed."""
    height = float(proof.bump.allowance.height[proof.bump.allowance.worst])
    _curves(proof, axes, "drift", 1.0 / MM)
    _band(axes, allowed.drift / MM)
    for line, share in zip(axes.get_lines(), _SHARES, strict=False):
        line.set_label(
            f"bump of {share * height / MM:.3g} mm"
            + (", the allowance" if share == 1.0 else "")
        )
    axes.get_lines()[-1].set_label(f"allowed drift {allowed.drift / MM:g} mm")
    axes.set_ylabel("drift to the left mm")
    axes.legend(loc="upper right")
