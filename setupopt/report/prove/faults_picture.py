"""The picture of the faults: the seconds that a driver has, by roll angle, and whether he stands them."""

from __future__ import annotations

import numpy as np
import pandas as pd

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
            rides = pd.DataFrame(
                {
                    "seconds": np.minimum(rows["seconds"], most),
                    "fallen": rows["reason"] != 0,
                }
            ).groupby(angles)
            least = rides["seconds"].min()
            fallen = rides["fallen"].any()
            axes.plot(least, color=colour, lw=1.0, label=kind)
            axes.plot(least[fallen], mark, ms=4, color=colour)
            axes.plot(least[~fallen], mark, ms=4, color=colour, mfc="none")
        axes.set_xlabel("roll angle deg")
        axes.set_ylabel("seconds with the steer held still")
        axes.set_ylim(0.0, 1.05 * most)
        axes.legend(fontsize=8)
        return svg(figure)
