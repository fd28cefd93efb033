"""Every kind of file that the program reads: a good one, how it is read, and what is done with it then."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from fit.air_tables import another, as_csv, attitudes, measured
from fit.tyre_tables import PROGRAMME, Invented, answers, noisy
from fit.tyre_tables import write as write_tyre
from project.good_folder import FILES, write_folder
from small_examples import parts_toml

from setupopt.errors import InputError, InputErrors
from setupopt.evaluation.assessment import assess, csv_text
from setupopt.evaluation.case_file import case_file
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.fit.air.table import read_air
from setupopt.fit.tyre_table import Rig, read_tyre_table
from setupopt.jobs.store import Store
from setupopt.project import Project, load
from setupopt.project.measured_file import read_measured
from setupopt.project.reading import read_setup
from setupopt.project.stored_proof import proof_file, stored_proof
from setupopt.report.assess.text import text
from setupopt.report.sheet.card_fields import card_fields
from setupopt.robust.road.profile import (
    fitted_road,
    published_index,
    read_profile,
    roughness_index,
    without_hills,
)
from setupopt.sheet.card import run_card
from setupopt.sheet.readback import read_back
from setupopt.sheet.revisions import LOG, Revision, reserve

BODY = "bodies/tall wing.toml"
FEW = 8  # cases of an assessment


@dataclass(frozen=True)
class Input:
    """A file of a project folder. `read` is told the folder and raises UserError, or gives what was read;
    `use` does with it what commands do."""

    file: str
    raw: bytes
    read: Callable[[Path], Any]
    use: Callable[[Any], object] = id


def make_inputs(home: Path) -> list[Input]:
    """A good project in `home`, with everything that may stand in and beside it."""
    write_folder(
        home, venue=FILES["venue.toml"].replace("step = 5", "step = 45")
    )
    (home / "bodies").mkdir()
    (home / BODY).write_text(body_text())
    project = load(home)
    toml = [
        Input(file, (home / file).read_bytes(), load, assessed)
        for file in (*FILES, BODY)
    ]
    return [
        *toml,
        *_sections(home),
        *_tables(home, project),
        *_kept(home, project),
    ]


def _sections(home: Path) -> list[Input]:
    """The same car on a section of parts, and on a surveyed one."""
    few = (
        FILES["venue.toml"]
        .replace("step = 5", "step = 45")
        .replace("radius_mm = 7500", "")
    )
    angle = np.radians(np.arange(-30.0, 31.0, 5.0))
    points = [
        f"{7500 * np.sin(a):.0f},{7500 - 7500 * np.cos(a):.0f}" for a in angle
    ]
    for name, table in (
        ("parts", PARTS),
        ("survey", '[section]\nsurvey = "section.csv"\nsurvey_error_mm = 2\n'),
    ):
        (home / name).mkdir()
        text = few.replace('"circle"', f'"{name}"') + f"\n{table}"
        write_folder(
            home / name,
            venue=text.replace("to = 180", "to = 30").replace(
                "step = 45", "step = 10"
            ),
        )
    (home / "survey" / "section.csv").write_text(
        "\n".join(["y_mm,z_mm", *points]) + "\n"
    )

    def read(name: str) -> Callable[[Path], Project]:
        return lambda folder: load(folder / name)

    return [
        Input(
            f"{name}/{file}",
            (home / name / file).read_bytes(),
            read(name),
            assessed,
        )
        for name, file in (
            ("parts", "venue.toml"),
            ("survey", "venue.toml"),
            ("survey", "section.csv"),
        )
    ]


def body_text() -> str:
    """The air of the good car with another wing, as a file of its own."""
    car = FILES["car.toml"]
    return car[car.index("[air]") : car.index("[[clearance]]")].replace(
        "0.6", "0.8"
    )


def assessed(found: Project, cases: CaseSet | None = None) -> None:
    """What `assess` does, in a few cases."""
    every = sweep_cases(found.venue) if cases is None else cases
    few = every.pick(np.unique(np.linspace(0, len(every) - 1, FEW).astype(int)))
    judged = assess(found, few)
    json.dumps(judged.as_dict(), allow_nan=False)
    text(judged, 80)
    csv_text(judged.result)


def _tables(home: Path, project: Project) -> list[Input]:
    """What is measured and listed, each good one in the folder."""
    (home / "cases.csv").write_text(CASES)
    (home / "measured.csv").write_text(MEASURED)
    (home / "measured.toml").write_text(MEASURED_TOML)
    (home / "road.csv").write_text(_profile())
    write_tyre(
        home / "rig.csv", PROGRAMME, noisy(answers(Invented(), PROGRAMME), 1)
    )
    tunnel = measured(another(1, project.car), attitudes(9), 0.02, 1)
    (home / "tunnel.csv").write_text(as_csv({"more wing": tunnel}))

    def listed(folder: Path) -> CaseSet:
        (cases,) = case_file(folder / "cases.csv", project).pieces()
        return cases

    def raw(file: str) -> bytes:
        return (home / file).read_bytes()

    def corrected(found: Any) -> None:
        read_back(project, project.setup, found, None)

    return [
        Input("cases.csv", raw("cases.csv"), listed, partial(assessed, project)),
        Input("rig.csv", raw("rig.csv"), lambda folder: read_tyre_table(folder / "rig.csv", Rig())),
        Input("tunnel.csv", raw("tunnel.csv"), lambda folder: read_air(folder / "tunnel.csv", project.car)),
        Input("road.csv", raw("road.csv"), lambda folder: read_profile(folder / "road.csv"), _ridden),
        Input("measured.csv", raw("measured.csv"), lambda folder: read_measured(folder / "measured.csv")),
        Input(
            "measured.toml", raw("measured.toml"), lambda folder: read_measured(folder / "measured.toml"),
            corrected,
        ),
        Input("setup.toml", raw("setup.toml"), lambda folder: read_setup(folder / "setup.toml")),
    ]  # fmt: skip


def _ridden(tracks: Any) -> None:
    level = without_hills(tracks)
    fitted_road(level)
    roughness_index(level)
    published_index(level)


def _kept(home: Path, project: Project) -> list[Input]:
    """What the program itself left: a damaged one is as none, or is told."""
    proof = proof_file(project, project.setup)
    proof.parent.mkdir()
    proof.write_text(json.dumps(kept_fields(proof.stem)))
    reserve(
        home,
        Revision(
            0, "2026-01-31", "A. Nobody", "baseline", "0" * 12, "0.1", "nothing"
        ),
    )
    Store(home / "study").write("ride-00000", np.arange(40.0))
    few = sweep_cases(project.venue).angles[[0, -1]]

    def card(found: Any) -> None:
        if found is not None:
            json.dumps(
                card_fields(run_card(_few(project, few), project.setup)),
                allow_nan=False,
            )

    def whole(chunk: np.ndarray | None) -> None:
        assert chunk is None or np.array_equal(chunk, np.arange(40.0))

    def log(folder: Path) -> Any:
        return reserve(
            folder,
            Revision(0, "2026-01-31", "", "baseline", "0" * 12, "0.1", ""),
        )

    return [
        Input(
            str(proof.relative_to(home)), proof.read_bytes(), lambda _: stored_proof(project, project.setup),
            card,
        ),
        Input(LOG, (home / LOG).read_bytes(), log),
        Input(
            "study/ride-00000", (home / "study/ride-00000").read_bytes(),
            lambda folder: Store(folder / "study").read("ride-00000"), whole,
        ),
    ]  # fmt: skip


def _few(project: Project, angles: np.ndarray) -> Project:
    from dataclasses import replace

    sweep = replace(
        project.venue.sweep,
        start=angles[0],
        stop=angles[-1],
        step=angles[-1] - angles[0],
    )
    return replace(project, venue=replace(project.venue, sweep=sweep))


def kept_fields(checksum: str) -> dict[str, Any]:
    """As much of a proof as a run card takes from it; invented."""
    place = {"roll_angle_deg": 90.0, "attitude": "steady"}
    return {
        "holds": False, "floor": 0.05, "setup": {"name": "baseline", "checksum": checksum},
        "verdicts": [{"what": "bump", "found": 3.0, "holds": False}, {"what": "gust", "holds": None}],
        "cases": [{"case": 1, "bump_mm": 4.25, "bump_length_m": 1.0, "bump_track": "both", **place}],
        "wind": [{"from_deg": 135.0, "gust_m_s": 3.4, "steady_m_s": 5.6, **place}],
    }  # fmt: skip


def is_named(error: Exception, file: str) -> bool:
    """Whether what is told says which file it is about: each mistake does, of this file or of one that does
    not go with it any more."""
    if isinstance(error, InputErrors):
        return all(told.file for told in error.errors)
    return (
        bool(getattr(error, "file", ""))
        or isinstance(error, InputError)
        or file in str(error)
    )


def _profile() -> str:
    places = np.arange(0.0, 110.0, 0.5)
    rows = [
        f"{x:g},{5 * np.sin(x / 3):.3f},{5 * np.cos(x / 4):.3f}" for x in places
    ]
    return "\n".join(["distance_m,height_mm,height_right_mm", *rows]) + "\n"


PARTS = parts_toml(
    -20,
    {"radius_mm": 7500, "sweep_deg": 30},
    {"width_mm": 2000},
    {"radius_mm": -20000, "width_mm": 1500},
    {"radius_mm": 6000, "sweep_deg": 60},
)
CASES = """\
name,roll_angle_deg,speed_m_s,heading_deg,acceleration_m_s2,crosswind_m_s,bump_fl_mm,turn_radius_m,radius_mm
floor,0,60,0,0,0,0,,7500
wall,90,60,8,-3.0,3.5,5,300,7500
top,180,65.5,0,1.5,-2,0,inf,
flat,12.5,40,-4,0,0,-3,,inf
"""
MEASURED = """\
quantity,unit,fl,fr,rl,rr,target_fl,target_fr,target_rl,target_rr,tolerance,where,note,initials
camber_deg,deg,-2.4,-2.6,-2,-2.1,-2.5,-2.5,-2,-2,0.1 deg,gauge,ok,AB
ride_height_mm,mm,35.5,34.5,45,45,35,35,45,45,1 mm,axle,,
pressure_bar,bar,1.4,1.41,1.3,1.3,1.4,1.4,1.3,1.3,,,,
corner_weight_kg,kg,175,176,215,214,,,,,,,,
anti_roll_N_per_mm,N/mm,40,,20,,40,,20,,,,,
"""
MEASURED_TOML = """\
[fl]
camber_deg = -2.4
corner_weight_kg = 175
[rr]
pressure_bar = 1.31
spring_N_per_mm = 160
[front]
ride_height_mm = 35.5
anti_roll_N_per_mm = 40
"""
