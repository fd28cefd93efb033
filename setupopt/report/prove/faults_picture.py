"""The picture of the faults: the seconds that a driver has, by roll angle, and whether he stands them."""

from __future__ import annotations

import numpy as np

from setupopt.report.shared.colours import INK, QUIET, SECOND, WARNING
from setupopt.report.shared.picture import at_venue, drawing, svg
from setupopt.robust.faults import KINDS
from setupopt.robust.robustness import RobustnessReport
from setupopt.units import DEG

_LOOKS = ((INK, "o"), (WARNING, "s"), (SECOND, "^"), (QUIET, "D"))


def faults_picture(proof: RobustnessReport) -> str | None:
    """SVG; None where no case has a ride."""
    if not proof.faults.found.size:
        return None
    most = proof.allowed.within
    signs = "Filled where the driver does not stand them; at the top more time than is judged"
    title = f"{at_venue(proof.project, 'Faults')}\n{signs}"
    with drawing(7.2, 4.2, title) as (figure, axes):
        for (kind, words), (colour, mark) in zip(
            KINDS.items(), _LOOKS, strict=True
        ):
            rows = proof.faults.of(words)
            angles = proof.steady.cases.records["roll_angle"][rows["row"]] / DEG
            places, which = np.unique(angles, return_inverse=True)
            seconds = np.full(places.size, most)
            np.minimum.at(seconds, which, rows["seconds"])
            fallen = np.zeros(places.size, bool)
            np.logical_or.at(fallen, which, rows["reason"] != 0)
            axes.plot(places, seconds, color=colour, lw=1.0, label=kind)
            for chosen, fill in ((fallen, colour), (~fallen, "none")):
                axes.plot(
                    places[chosen],
                    seconds[chosen],
                    mark,
                    ms=4,
                    color=colour,
                    mfc=fill,
                )
        axes.set_xlabel("roll angle deg")
        axes.set_ylabel("seconds with the steer held still")
        axes.set_ylim(0.0, 1.05 * most)
        axes.legend(fontsize=8)
        return svg(figure)
