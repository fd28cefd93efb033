"""Margins on sections of arcs and straights, and on surveyed ones."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians
from pathlib import Path

import numpy as np
import pytest
from cars import venue
from click.testing import CliRunner
from project.good_folder import lines_of
from small_examples import parts_toml

import setupopt
from setupopt.cli.main import group
from setupopt.errors import InputErrors
from setupopt.evaluation.assessment import assess
from setupopt.evaluation.cases import CaseSet, level, sweep_at, sweep_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.summary import by_attitude
from setupopt.project.model import Attitude, Sweep, Venue
from setupopt.project.section import Section
from setupopt.project.survey import read_survey
from setupopt.report.assess.text import text

EXAMPLE = Path(setupopt.__file__).parents[1] / "setups" / "bore"
RADIUS = 8.0
STRAIGHT = Attitude(
    "straight", 0.0, 0.0, 0.0, 0.0, None, 0.0, 0.0, (0.0, 0.0, 0.0, 0.0), None
)
TURNED = replace(STRAIGHT, name="turned up", heading=radians(8))
WINDY = replace(STRAIGHT, name="crosswind", crosswind=6.0, heading=radians(-5))
ROUND = replace(
    venue(1 / RADIUS),
    sweep=Sweep(0.0, pi, radians(5), 50.0),
    attitudes=(STRAIGHT, TURNED, WINDY),
)
ARCS = Section(
    -pi / 2,
    (RADIUS * radians(100), RADIUS * radians(200)),
    (1 / RADIUS, 1 / RADIUS),
)
# A floor of 4 m, an arc of 8 m radius up to the wall, and 3 m of wall.
MIXED = Section(0.0, (4.0, RADIUS * pi / 2, 3.0), (0.0, 1 / RADIUS, 0.0))


def on(section: Section, like: Venue = ROUND) -> Venue:
    """The same place with another section."""
    return replace(
        like, section="parts", profile=section, curvature=section.tightest
    )


def margins(place: Venue, cases: CaseSet | None = None) -> np.ndarray:
    """Margins of the example's car and setup, (attitudes, places); all must hold."""
    project = setupopt.load(EXAMPLE)
    model = Model(project.car)
    result = model.run(
        model.settings(project.setup),
        sweep_cases(place) if cases is None else cases,
    )
    assert result.contact.all()
    return result.margin.reshape(len(place.attitudes), -1)


def test_circle_of_arcs_gives_the_margins_of_the_circle() -> None:
    """To rounding, at the same roll angles, joint or none; 1e-9 is a millionth of the last digit told."""
    assert np.degrees(sweep_cases(on(ARCS)).angles) == pytest.approx(
        np.arange(0, 181, 5), abs=1e-9
    )
    assert margins(on(ARCS)) == pytest.approx(margins(ROUND), abs=1e-9)


@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_surveyed_circle_gives_the_margins_of_the_circle(
    tmp_path: Path, noise: float
) -> None:
    """Within 0.001, from points 4 deg apart, noted to 0.1 mm or measured to 1 mm."""
    angle = np.radians(np.arange(-30.0, 211.0, 4.0))
    points = (
        1e3 * RADIUS * np.stack([np.sin(angle), 1.0 - np.cos(angle)], axis=1)
    )
    points += 1e3 * noise * np.random.default_rng(3).normal(size=points.shape)
    rows = "\n".join(f"{y:.1f},{z:.1f}" for y, z in points)
    (tmp_path / "section.csv").write_text(
        f"y_mm,z_mm\n{rows}\n", encoding="utf-8"
    )
    section = read_survey(tmp_path / "section.csv", 1e-3).section
    place = on(section)
    at = np.array([section.stretch(a, a)[0] for a in sweep_at(ROUND)])  # type: ignore[index]
    assert margins(place, sweep_cases(place, at)) == pytest.approx(
        margins(ROUND), abs=1e-3
    )


def test_far_from_joints_only_the_own_part_counts() -> None:
    """In the middle of the arc as in a bore, in the middle of floor and wall as on a plane tilted so."""
    place, flat = on(MIXED), replace(ROUND, section="flat", curvature=0.0)
    at = np.array([0.0, 4.0 + RADIUS * pi / 4, MIXED.length])
    found = margins(place, sweep_cases(place, at))
    assert found[:, 1] == pytest.approx(
        margins(ROUND, sweep_cases(ROUND, np.array([pi / 4])))[:, 0], abs=1e-9
    )
    for column, angle in ((0, 0.0), (2, pi / 2)):
        plane = margins(flat, sweep_cases(flat, np.array([angle])))[:, 0]
        assert found[:, column] == pytest.approx(plane, abs=1e-9)


def test_margins_do_not_jump_at_a_joint() -> None:
    """From one side of each joint to the other, and as each wheel crosses it: 0.01 mm apart within 5e-5.

    Where a wheel meets a joint the margin falls by up to 2.5 a metre, so that 2.5e-5 of it are no jump.
    """
    place = on(MIXED)
    along = np.concatenate(
        [
            np.arange(j - 1.2, j + 1.2, 0.03)
            for j in (4.0, 4.0 + RADIUS * pi / 2)
        ]
    )
    near = (
        margins(place, sweep_cases(place, along)),
        margins(place, sweep_cases(place, along + 1e-5)),
    )
    assert np.abs(near[0] - near[1]).max() < 5e-5


def test_mirrored_section_gives_the_same_margins() -> None:
    """A section walked the other way, with heading and wind mirrored: the same margins to rounding."""
    back = Section(
        -float(MIXED.end_angles[-1]),
        MIXED.lengths[::-1],
        MIXED.curvatures[::-1],
    )
    mirrored = [
        replace(a, heading=-a.heading, crosswind=-a.crosswind)
        for a in ROUND.attitudes
    ]
    at = MIXED.spread(0.3, MIXED.length, 0.7)
    place = replace(on(back), attitudes=tuple(mirrored))
    found = margins(place, sweep_cases(place, MIXED.length - at))
    assert found == pytest.approx(
        margins(on(MIXED), sweep_cases(on(MIXED), at)), abs=1e-9
    )


def test_sweep_of_a_section_goes_place_by_place() -> None:
    """Straights are swept too, as closely as the step is on the tightest arc; joints are among the places."""
    swept = sweep_at(on(MIXED))
    assert swept[0] == 0.0 and swept[-1] == pytest.approx(
        4.0 + RADIUS * pi / 2 + 3.0
    )
    assert np.diff(swept).max() <= radians(5) * RADIUS + 1e-9
    assert np.abs(swept - 4.0).min() < 1e-12
    dense = sweep_at(on(MIXED), 4)
    assert all(
        np.abs(dense - place).min() < radians(5) * RADIUS / 4 for place in swept
    )


def test_sweep_by_places() -> None:
    """From 1 m to 5 m in steps of 0.5 m."""
    place = on(MIXED)
    place = replace(place, sweep=replace(place.sweep, along=(1.0, 5.0, 0.5)))
    assert sweep_at(place) == pytest.approx(np.arange(1.0, 5.1, 0.5))


def test_level_place() -> None:
    """Where a run-up is driven: in the middle of the floor, or where the section is most nearly level."""
    assert level(on(MIXED)) == pytest.approx(2.0)
    assert level(ROUND) == 0.0
    wall = Section(1.0, (3.0, 2.0), (0.1, 0.0))
    assert level(on(wall)) == 0.0


# ---- from files --------------------------------------------------------------------------------------------

ARC = {"radius_mm": 8000, "sweep_deg": 120}
PARTS = parts_toml(-90, ARC, {"radius_mm": 8000, "width_mm": 24000})
WALL = parts_toml(-30, ARC, {"width_mm": 5000})


def folder(tmp_path: Path, section: str, table: str) -> Path:
    """The example bore with another section."""
    from setupopt.cli.start import copy_whole, examples_folder

    copy_whole(examples_folder() / "bore", tmp_path / "bore")
    path = tmp_path / "bore" / "venue.toml"
    lines = [
        line
        for line in path.read_text(encoding="utf-8").splitlines()
        if not line.startswith("radius_mm")
    ]
    text = "\n".join(lines).replace(
        'section = "circle"', f'section = "{section}"'
    )
    path.write_text(text + "\n" + table, encoding="utf-8")
    return tmp_path / "bore"


def test_bore_given_as_parts(tmp_path: Path) -> None:
    """Arcs by turn and by width: the margins of the example within 1e-9, and where each case stands."""
    project = setupopt.load(folder(tmp_path, "parts", PARTS))
    found, round_ = (
        setupopt.evaluate(project),
        setupopt.evaluate(setupopt.load(EXAMPLE)),
    )
    rows = {row["roll_angle_deg"]: row["margin"] for row in found.by_angle()}
    both = [row for row in round_.by_angle() if row["roll_angle_deg"] in rows]
    assert [row["roll_angle_deg"] for row in both][:7] == [
        0,
        5,
        10,
        15,
        20,
        25,
        30,
    ], "the first arc"
    for row in both:
        assert rows[row["roll_angle_deg"]] == pytest.approx(
            row["margin"], abs=1e-9
        )
    assert not any("section" in line for line in project.cautions), (
        "13 m before and 6 m after what is swept"
    )
    fields = found.fields(int(found.worst[0]))
    assert fields["along_mm"] == pytest.approx(
        8000 * radians(90 + fields["roll_angle_deg"]), abs=1e-3
    )


def test_places_are_told_beside_angles(tmp_path: Path) -> None:
    """Of a wall that has one angle: how far along, for limits, attitudes and in the words of `assess`."""
    home = folder(tmp_path, "parts", WALL)
    limits = home / "limits.toml"
    more = "[packaging]\nwheel_load_least_N = 5000"
    limits.write_text(limits.read_text().replace("[packaging]", more))
    judged = assess(setupopt.load(home))
    assert {limit.along_mm is None for limit in judged.broken} == {False}
    assert all(row.along_mm is not None for row in by_attitude(judged.result))
    worst = judged.worst_fields
    assert f"{worst['along_mm']:.0f} mm along" in text(judged, 100)
    assert "broken" in text(judged, 100).lower()


def test_reaching_over_the_end_is_told(tmp_path: Path) -> None:
    """A floor and a wall that end where the sweep does: one caution for each end."""
    table = parts_toml(0, {"radius_mm": 8000, "sweep_deg": 180})
    said = [
        c
        for c in setupopt.load(folder(tmp_path, "parts", table)).cautions
        if "section" in c
    ]
    assert len(said) == 2 and "beginning" in said[0] and "end" in said[1]


def surveyed(tmp_path: Path) -> Path:
    """The example bore by points 5 deg apart, to 0.01 mm, in a file beside venue.toml."""
    home = folder(tmp_path, "survey", '[section]\nsurvey = "bore.csv"\n')
    angle = np.radians(np.arange(-20.0, 201.0, 5.0))
    rows = "\n".join(
        f"{8e3 * np.sin(a):.2f},{8e3 - 8e3 * np.cos(a):.2f}" for a in angle
    )
    (home / "bore.csv").write_text(f"y_mm,z_mm\n{rows}\n", encoding="utf-8")
    return home


def test_bore_given_as_survey(tmp_path: Path) -> None:
    """A file beside venue.toml; the worst margin within 0.001 of the example's."""
    home = surveyed(tmp_path)
    found = setupopt.evaluate(setupopt.load(home)).worst_margin
    assert found == pytest.approx(
        setupopt.evaluate(setupopt.load(EXAMPLE)).worst_margin, abs=1e-3
    )


def test_no_output_overwrites_the_survey(tmp_path: Path) -> None:
    """A table of cases told to go where the section's points are: refused, and they stay."""
    home = surveyed(tmp_path)
    before = (home / "bore.csv").read_bytes()
    done = CliRunner().invoke(
        group, ["assess", str(home), "--cases-out", str(home / "bore.csv")]
    )
    assert done.exit_code == 2
    assert "one of the files that are read" in done.output
    assert (home / "bore.csv").read_bytes() == before


ONE_PART = {
    "sweep_deg": [{"sweep_deg": 20}],
    "width_mm": [
        {"radius_mm": 8000},
        {"radius_mm": 8000, "width_mm": 10, "sweep_deg": 5},
    ],
    "radius_mm": [
        {"radius_mm": 300, "sweep_deg": 5},
        {"radius_mm": 1100, "sweep_deg": 90},
    ],
}
REFUSED = {
    "parts": {
        **{
            parts_toml(None, one): key
            for key, several in ONE_PART.items()
            for one in several
        },
        parts_toml(0, *[{"width_mm": 50}] * 40): "section",
        parts_toml(-80, {"width_mm": 5000}): "roll_angles_deg",
        parts_toml(0): "section.part",
        '[section]\nsurvey = "x.csv"\n': "section.part",
        "": "section",
    },
    "circle": {PARTS: "radius_mm"},
    "flat": {PARTS: "section"},
    "survey": {
        PARTS: "section",
        '[section]\nsurvey = "missing.csv"\n': "",
        "[section]\n": "survey",
    },
}


@pytest.mark.parametrize(("section", "table"), lines_of(REFUSED))
def test_impossible_sections_are_refused(
    tmp_path: Path, section: str, table: str
) -> None:
    """Every contradiction by its file and key."""
    key = REFUSED[section][table]
    with pytest.raises(InputErrors) as refused:
        setupopt.load(folder(tmp_path, section, table))
    assert any(key in error.key for error in refused.value.errors), (
        refused.value
    )
