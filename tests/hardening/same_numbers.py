"""Numbers of every kind of study as JSON, to be held against those of another machine or other libraries.

`python tests/hardening/same_numbers.py > numbers.json` here and elsewhere; then `... --compare ONE OTHER`
prints the largest difference of each study and ends with status 1 where one is above what rounding explains.
With `--few`, little of each: enough where the kernels are not compiled.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "reference"), str(TESTS.parent)]

from fit.tyre_tables import PROGRAMME, Invented, answers, noisy, write  # noqa: E402

import setupopt  # noqa: E402
from setupopt.evaluation.cases import sweep_cases  # noqa: E402
from setupopt.fit.tyre import fit_tyre  # noqa: E402
from setupopt.fit.tyre_table import Rig, read_tyre_table  # noqa: E402
from setupopt.jobs.run import run_chunks  # noqa: E402
from setupopt.physics import ride_steps  # noqa: E402
from setupopt.physics.ride_motion import MOTION, motion_rates  # noqa: E402
from setupopt.project import Project  # noqa: E402
from setupopt.robust.bump import BumpRides, BumpSearch  # noqa: E402
from setupopt.robust.obstacle import Obstacle  # noqa: E402
from setupopt.robust.ride_model import RideModel  # noqa: E402
from setupopt.robust.road.spectrum import CLASSES, Road  # noqa: E402
from setupopt.robust.road.time_domain_road import (  # noqa: E402
    DrawnRoads,
    RoadRides,
    ride_length,
)

Numbers = dict[str, list[float]]
# Of an answer, where the case has a trim
_TRIM = ("state", "load", "grip", "patch", "use")
# By the quantity, or else its first word, as a share of its list's largest number. One operation rounds by
# 1e-16. A trim is a root that Newton finds to the last digits, some hundred roundings. A margin is the end
# of a path that is followed in steps, whose number and length rounding may change: it is known to 1e-6. A
# ride is thousands of steps of a damped car: what one step rounds dies away, but for the way that the car
# has drifted. A fit stops where a step gains nothing that its sum of squares can show, which knows its
# bottom to the root of its digits. An allowance stops at 1e-3 of itself.
ROUNDING = {
    "assess margin": 1e-6,
    "assess": 1e-12,
    "bump": 1e-10,
    "ride": 1e-9,
    "rig": 1e-12,
    "fit": 1e-8,
    "allowance": 1e-3,
}


def numbers(few: bool) -> Numbers:
    """By study and quantity. With `few` no search and no fit, only what they are made of."""
    bore = setupopt.load(TESTS.parent / "setups" / "bore")
    if few:
        return (
            _assess(bore, few)
            | _steps(bore)
            | _columns("rig", answers(Invented(), PROGRAMME[::12]))
        )
    studies = (
        _assess(bore, few)
        | _steps(bore)
        | _bump(bore)
        | _rides(bore, 4, 1.0)
        | _allowance(bore)
    )
    return studies | _columns("rig", answers(Invented(), PROGRAMME)) | _fit()


def _columns(study: str, table: np.ndarray) -> Numbers:
    """Every column of a table, by its number."""
    return {
        f"{study} {i}": [float(x) for x in column]
        for i, column in enumerate(table.T)
    }


def _assess(bore: Project, few: bool) -> Numbers:
    """Margins of the sweep, and trim and loads of all cases that have a trim at full friction."""
    cases = sweep_cases(bore.venue)
    result = setupopt.evaluate(
        bore, cases=cases.pick([0, 20, 45, 80]) if few else cases
    )
    one = result.answers[0][result.contact[0]]
    held = one[~one["slides"]]
    found = {
        f"assess {name}": [float(x) for x in held[name].ravel()]
        for name in _TRIM
    }
    return {"assess margin": [float(x) for x in one["margin"]], **found}


def _steps(bore: Project) -> Numbers:
    """The car after twenty steps over an uneven road, which is what rides are made of."""
    rides = BumpRides(
        bore, bore.setup, sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    )
    motion = rides.motion(0)
    heights = 0.002 * np.sin(
        np.arange(41)[:, None] / 6.0 + np.arange(rides.columns)
    )
    k = np.zeros((6, MOTION))
    for at in range(0, 40, 2):
        motion_rates(
            *motion[:9], heights[at], np.zeros(4), motion.m, motion.work, motion.x, k[0]
        )  # fmt: skip
        ride_steps.step(
            *motion[:9], heights, at, 5e-4, motion.m, motion.work, motion.x, k
        )
    return {"ride state": [float(one) for one in motion.m]}


def _bump(bore: Project) -> Numbers:
    """The way over one bump, at every twentieth look."""
    rides = BumpRides(
        bore, bore.setup, sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    )
    return _columns("bump", rides.trace(0, Obstacle(0.004, 1.0, 0))[::20])


def _rides(bore: Project, seeds: int, seconds: float) -> Numbers:
    """What each ride over a drawn road counts."""
    case = sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    roads = DrawnRoads(
        Road(CLASSES["A"].mean),
        bore.car.front.track,
        ride_length(50.0, seconds),
        seeds,
        0,
    )
    study = RoadRides(RideModel(bore, bore.setup, case), roads, seconds)
    rides = np.concatenate(list(run_chunks("ride", study, study.jobs())))
    return {
        f"ride {name}": [float(x) for x in np.ravel(rides[name])]
        for name in rides.dtype.names
    }


def _allowance(bore: Project) -> Numbers:
    """The bump that a case stands."""
    cases = sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    search = BumpSearch(BumpRides(bore, bore.setup, cases))
    found = search.allowance(run_chunks("bump", search, search.jobs()))
    return {"allowance height": [float(x) for x in found.height]}


def _fit() -> Numbers:
    """The parameters of an invented tyre, from a table with noise."""
    with tempfile.TemporaryDirectory() as folder:
        path = write(
            Path(folder) / "rig.csv",
            PROGRAMME,
            noisy(answers(Invented(), PROGRAMME), 1),
        )
        fit = fit_tyre(read_tyre_table(path, Rig()), Rig())
    known = ((finding.key, finding.value) for finding in fit.findings)
    return {
        f"fit {key}": [float(value)]
        for key, value in known
        if value is not None
    }


def differences(ours: Numbers, theirs: Numbers) -> dict[str, float]:
    """By quantity the largest difference, as a share of its largest number; infinite where one has more."""
    return {
        name: _difference(np.array(ours[name]), np.array(theirs[name]))
        for name in ours
    }


def _difference(ours: np.ndarray, theirs: np.ndarray) -> float:
    if (
        ours.shape != theirs.shape
        or (np.isfinite(ours) != np.isfinite(theirs)).any()
    ):
        return float("inf")
    kept = np.isfinite(ours)
    size = np.abs(ours[kept]).max(initial=0.0) or 1.0
    return float(np.abs(ours - theirs)[kept].max(initial=0.0) / size)


def main() -> int:
    """Print the numbers, or compare those of two machines."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--few", action="store_true")
    parser.add_argument(
        "--compare", type=Path, nargs=2, metavar=("ONE", "OTHER")
    )
    asked = parser.parse_args()
    if asked.compare is None:
        print(json.dumps(numbers(asked.few)))
        return 0
    one, other = (
        json.loads(path.read_text(encoding="utf-8")) for path in asked.compare
    )
    apart = differences(one, other)
    for name, share in apart.items():
        print(
            f"{name:28} {len(one[name]):6} numbers, apart by {share:.1e}, at most {rounding(name):.0e}"
        )
    return int(any(share > rounding(name) for name, share in apart.items()))


def rounding(name: str) -> float:
    """What rounding may make of a quantity."""
    return ROUNDING.get(name) or ROUNDING[name.partition(" ")[0]]


if __name__ == "__main__":
    sys.exit(main())
