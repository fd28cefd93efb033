"""The package against the plain scalar reference: random projects, every number of the case table."""

from __future__ import annotations

import csv
from pathlib import Path
from random import Random
from typing import Any

import pytest
from drawn import Drawn, drawn, drawn_hard

from setupopt.evaluation.cases import table_cases
from setupopt.evaluation.model import evaluate
from setupopt.project.cases_file import read_cases

Table = dict[str, Any]
GRAVITY = 9.80665
# Both solve the same equations, so only rounding and the friction integral's 3e-8 may part them.
FORCE = 1e-6  # of the weight
SHARE = 1e-6  # of a use or margin, at least of 1
AREA = 1e-6  # of the patch
LENGTH = 1e-6  # mm
ANGLE = 1e-7  # deg


def allowed(name: str, value: float, weight: float) -> float:
    """How far the two may be apart in a column."""
    if name.endswith("_N"):
        return FORCE * weight
    if name.endswith("_mm2"):
        return AREA * max(1.0, value)
    if name.endswith("_mm"):
        return LENGTH
    return ANGLE if name.endswith("_deg") else SHARE * max(1.0, abs(value))


GIVEN = {"case", "roll_angle_deg", "attitude", "speed_m_s", "contact", "first_axle"}


def check(ours: Table, theirs: Table, weight: float) -> None:
    """Every column of a held case."""
    for name in ours.keys() - GIVEN:
        if theirs[name] is None:
            assert ours[name] is None, name
        else:
            limit = allowed(name, theirs[name], weight)
            assert ours[name] == pytest.approx(theirs[name], rel=0.0, abs=limit), name
    if abs(theirs["use_front"] - theirs["use_rear"]) > 2 * SHARE * max(1.0, theirs["use_front"]):
        assert ours["first_axle"] == theirs["first_axle"]


def compare(d: Drawn) -> bool:
    """One case by both; whether it is held.

    The reference may fail to find a trim that the package found. Started from that trim it must
    then agree that it balances and is stable, with the same numbers. Not the other way round.
    """
    result = d.evaluated()
    ours, theirs = result.fields(0), d.reference()
    if ours["contact"] and not theirs["contact"]:
        theirs = d.reference(start=list(result.answers[0, 0]["state"]))
    assert ours["contact"] == theirs["contact"]
    if ours["contact"]:
        check(ours, theirs, d.car["car"]["mass_kg"] * GRAVITY)
    else:
        assert {v for k, v in ours.items() if k not in GIVEN} == {None}
    return bool(ours["contact"])


@pytest.mark.parametrize("seed", range(200))
def test_random_project(seed: int) -> None:
    """Cars from light to heavy, bores to flat ground, all of the load case drawn."""
    compare(drawn(seed))


@pytest.mark.parametrize("seed", range(1000, 1040))
def test_random_project_at_its_limits(seed: int) -> None:
    """Slow on steep walls, headings up to 40 deg, horizontal turns on curved sections."""
    compare(drawn_hard(seed))


def test_limits_hold_lost_and_held_cases() -> None:
    """The draws above are not all of one kind, or the comparison would be of little worth."""
    held = [drawn_hard(seed).evaluated().contact[0, 0] for seed in range(1000, 1040)]
    assert 2 <= held.count(False) <= 20


COLUMNS = {
    "roll_angle_deg": "roll_angle_deg",
    "speed_m_s": "speed_m_s",
    "heading_deg": "heading_deg",
    "acceleration_m_s2": "acceleration_m_s2",
    "path_curvature_per_m": "path_curvature_per_m",
    "headwind_m_s": "headwind_m_s",
    "crosswind_m_s": "crosswind_m_s",
}
BUMPS = ("bump_fl_mm", "bump_fr_mm", "bump_rl_mm", "bump_rr_mm")


def other_case(d: Drawn, rng: Random) -> Table:
    """Another case of the same project, on a section of its own; every third one on the flat."""
    case = drawn(rng.randrange(10**6)).case | {"speed_m_s": d.case["speed_m_s"], "turn_radius_m": 0.0}
    case["heading_deg"] = round(case["heading_deg"] / 2, 4)
    case["radius_mm"] = rng.choice(
        [None, round(rng.uniform(6000, 40000), 1), round(rng.uniform(6000, 9000), 1)]
    )
    return case


def as_row(case: Table) -> dict[str, object]:
    """The case as a line of the table; an empty radius is flat."""
    row = {key: case[key] for key in COLUMNS}
    radius = "" if case["radius_mm"] is None else case["radius_mm"]
    return row | dict(zip(BUMPS, case["bump_mm"], strict=True)) | {"radius_mm": radius}


@pytest.mark.parametrize("seed", range(300, 310))
def test_cases_from_a_table(seed: int, tmp_path: Path) -> None:
    """Four cases of a project from a CSV file, each with its own radius, solved in one go."""
    d, rng = drawn(seed), Random(seed)
    cases = [other_case(d, rng) for _ in range(4)]
    with (tmp_path / "cases.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(as_row(cases[0])))
        writer.writeheader()
        writer.writerows(as_row(case) for case in cases)
    project = d.project
    table = read_cases(tmp_path / "cases.csv", project.venue, project.car)
    result = evaluate(project, cases=table_cases(table, project.venue))
    for row, case in enumerate(cases):
        one = Drawn(d.car, d.venue, d.setup, case)
        ours, theirs = result.fields(row), one.reference()
        if ours["contact"] and not theirs["contact"]:
            theirs = one.reference(start=list(result.answers[0, row]["state"]))
        assert ours["contact"] == theirs["contact"]
        if ours["contact"]:
            check(ours, theirs, d.car["car"]["mass_kg"] * GRAVITY)
