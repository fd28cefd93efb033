"""`setupopt prove`: what it answers, writes, refuses, and that a stopped run goes on."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from short_proofs import SHORT as QUICK
from short_proofs import UNREACHED

from setupopt.cli.main import group
from setupopt.cli.prove import _keep
from setupopt.jobs.store import Store
from setupopt.physics.jit import workers
from setupopt.project import load
from setupopt.project.stored_proof import proof_file

from .conftest import Run

SETUPS = Path(__file__).resolve().parents[2] / "setups"
UNDER = (*QUICK, *UNREACHED)


def project(
    folder: Path, attitudes: int = 1, speed: float = 54.0, grip: float = 0.92
) -> Path:
    """The bore at 0 and 180 deg, with few settings and errors. `speed` in m/s, `grip` of the surface."""
    shutil.copytree(
        SETUPS / "bore",
        folder,
        ignore=shutil.ignore_patterns("proved", "sheets", "*.csv"),
    )
    venue = folder / "venue.toml"
    head, *rest = venue.read_text().split("[[attitude]]")
    head = head.replace("step = 5", "step = 180")
    head = re.sub(r"speed_m_s = \S+", f"speed_m_s = {speed:g}", head)
    head = re.sub(r"surface_grip = \S+", f"surface_grip = {grip:g}", head)
    venue.write_text("[[attitude]]".join([head, *rest[:attitudes]]))
    limits = folder / "limits.toml"
    dear = (
        "camber_deg = {",
        "ride_height_mm = {",
        "anti_roll_N_per_mm = ",
        "drag_p",
        "mass_p",
    )
    kept = [
        line
        for line in limits.read_text().splitlines()
        if not line.startswith(dear)
    ]
    limits.write_text("\n".join(kept))
    return folder


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The floor and the top, straight."""
    return project(tmp_path_factory.mktemp("few") / "project")


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken-off studies of other tests must not help; compiled kernels may."""
    from setupopt.physics.kept_kernels import cache_folder

    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache_folder().parents[1]))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


@pytest.fixture(scope="module")
def answer(
    few: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict, Path]:
    """The JSON of one run, and the folder it wrote to."""
    out = tmp_path_factory.mktemp("out")
    done = CliRunner().invoke(
        group,
        ["prove", str(few), *QUICK, "--json", "--quiet", "--out", str(out)],
    )
    assert done.exit_code in (0, 1), done.output
    return json.loads(done.stdout), out


@pytest.fixture(scope="module")
def under(few: Path) -> str:
    """The text of JSON of a run under a floor that no case reaches."""
    return (
        CliRunner()
        .invoke(group, ["prove", str(few), *UNDER, "--json", "--quiet"])
        .stdout
    )


def test_every_disturbance_has_a_verdict(answer: tuple[dict, Path]) -> None:
    """As set, build, inputs, road, obstacles, wind, faults: each with a place, a word and what it stands."""
    found = {verdict["what"]: verdict for verdict in answer[0]["verdicts"]}
    assert set(found) == {
        "margin as set", "build error", "uncertain inputs", "rough road", "bump", "seam", "gust", "wind step",
        "steady wind", "loss of drive", "one wheel locked", "flat tyre", "2 deg too much steer",
    }  # fmt: skip
    for verdict in found.values():
        assert verdict["how"]
        assert verdict["holds"] in (True, False, None)
        assert verdict["found"] is None or np.isfinite(verdict["found"])
    broken = [verdict["holds"] is False for verdict in answer[0]["verdicts"]]
    assert broken == sorted(broken, reverse=True)
    assert answer[0]["holds"] == (not any(broken))


def test_every_case_has_its_allowance(answer: tuple[dict, Path]) -> None:
    """One row a case, in the JSON and in the table; the verdict is the least of them."""
    cases = answer[0]["cases"]
    assert [case["case"] for case in cases] == [1, 2]
    bump = next(v for v in answer[0]["verdicts"] if v["what"] == "bump")
    assert bump["found"] == pytest.approx(
        min(case["bump_mm"] for case in cases)
    )
    rows = list(
        csv.DictReader((answer[1] / "prove-cases.csv").read_text().splitlines())
    )
    assert [float(row["bump_mm"]) for row in rows] == [
        case["bump_mm"] for case in cases
    ]


def test_linear_and_ridden_stand_side_by_side(
    answer: tuple[dict, Path],
) -> None:
    """Eleven quantities with both rms and an interval, and words for what differs."""
    ride = answer[0]["road"]["rides"][0]
    assert len(ride["quantities"]) == 11
    for line in ride["quantities"][1:]:
        assert line["low"] < line["rms"] < line["high"]
        assert line["linear_rms"] > 0
    assert ride["why"]
    assert ride["seconds"] == pytest.approx(4 * 2.0, abs=0.05)


def test_files_hold_what_was_printed(
    answer: tuple[dict, Path], few: Path, run: Run, tmp_path: Path
) -> None:
    """JSON the same on the screen, in the file and in the project; the picture is one, its words are text."""
    assert json.loads((answer[1] / "prove.json").read_text()) == answer[0]
    kept = few / "proved" / f"{answer[0]['setup']['checksum']}.json"
    assert json.loads(kept.read_text())["setup"] == answer[0]["setup"]
    picture = (answer[1] / "prove-bump.svg").read_text()
    assert "drift to the left mm" in picture
    assert "the allowance" in picture
    assert sorted(path.name for path in answer[1].iterdir()) == [
        "prove-bump.svg", "prove-cases.csv", "prove-faults.svg", "prove.json", "prove.txt",
    ]  # fmt: skip


def test_quick_proof_leaves_a_finer_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The proof that is kept tried 16 directions; one of 4 is not kept in its place, and the reason is said.

    It once was, and the run card showed its better figures as those of any direction.
    """
    found = load(project(tmp_path / "project"))
    file = proof_file(found, found.setup)

    def judged(directions: int) -> Any:
        case = {"roll_angle_deg": 0.0, "attitude": "straight"}
        wind = {**case, "from_deg": 0.0, "gust_m_s": 3.0, "steady_m_s": 4.0}
        answer = {
            "holds": True, "floor": 0.0, "setup": {"checksum": file.stem}, "verdicts": [], "road": None,
            "cases": [{**case, "bump_mm": 5.0, "bump_length_m": 1.0, "bump_track": "both"}],
            "wind": [wind] * directions, "build": {"cloud": {"builds": 64}},
        }  # fmt: skip
        proof = SimpleNamespace(project=found, setup=found.setup)
        return SimpleNamespace(proof=proof, as_dict=lambda: answer)

    for directions, kept in ((4, 4), (16, 16), (4, 16), (16, 16), (32, 32)):
        _keep(judged(directions))
        assert len(json.loads(file.read_text())["wind"]) == kept
        assert ("16 directions of the wind" in capsys.readouterr().err) == (
            directions < kept
        )


def test_text_fits_and_says_what_matters(answer: tuple[dict, Path]) -> None:
    """Verdict, what breaks, what to change, both rms, cautions; within the width of the file."""
    text = (answer[1] / "prove.txt").read_text()
    whole = " ".join(text.split())
    for words in (
        "What fails first there", "What to change", "in rides", "no clearance to drive",
        "It is no verdict: it does not say whether the car recovers",
    ):  # fmt: skip
        assert words in whole
    assert max(len(line) for line in text.splitlines()) <= 100


def test_asking_too_much_is_exit_one(
    few: Path, run: Run, tmp_path: Path
) -> None:
    """A bump, a gust and a wind that this car does not stand; and the rows say so. No line is wider than the
    terminal."""
    done = run(
        "prove",
        few,
        *UNDER,
        "--bump",
        "150",
        "--gust",
        "39",
        "--wind",
        "39",
        "--out",
        tmp_path,
    )
    assert done.exit_code == 1
    found = {
        v["what"]: v
        for v in json.loads((tmp_path / "prove.json").read_text())["verdicts"]
    }
    assert [
        found[what]["holds"] for what in ("bump", "gust", "steady wind")
    ] == [False] * 3
    assert found["bump"]["asked"] == 150.0
    whole = ("Setup: ", "written: ")  # with paths, which are not broken
    assert (
        max(
            len(line)
            for line in done.stdout.splitlines()
            if not line.startswith(whole)
        )
        <= 80
    )


def test_the_minimum_margin_is_no_verdict_of_a_bump(
    under: str, answer: tuple[dict, Path]
) -> None:
    """What the car stands by drift, sideslip and time in the air is the same under any minimum margin."""
    pairs = zip(json.loads(under)["cases"], answer[0]["cases"], strict=True)
    assert all(high["bump_mm"] == low["bump_mm"] > 0.0 for high, low in pairs)


def test_lost_contact_is_told_and_fails(tmp_path: Path, run: Run) -> None:
    """A car too slow to hold: no numbers for lost cases, exit status 1."""
    slow = project(tmp_path / "slow", speed=20.0)
    done = run(
        "prove", slow, *UNDER, "--json", "--quiet", "--out", tmp_path / "out"
    )
    found = json.loads(done.stdout)
    assert done.exit_code == 1
    assert found["contact_lost"] > 0
    lost = [case for case in found["cases"] if case["margin"] is None]
    assert len(lost) == found["contact_lost"]
    assert all(
        case["bump_mm"] is None and case["road_chance"] is None for case in lost
    )
    assert "CONTACT LOST" in (tmp_path / "out" / "prove.txt").read_text()


def test_a_case_that_slides_has_no_ride_and_is_named(
    tmp_path: Path, run: Run
) -> None:
    """On ice the car slides at 90 deg: no allowance there, no ride passes, and the text says where."""
    ice = project(tmp_path / "ice", grip=0.15)
    venue = ice / "venue.toml"
    venue.write_text(venue.read_text().replace("step = 180", "step = 90"))
    found = json.loads(
        run(
            "prove", ice, *UNDER, "--json", "--quiet", "--out", tmp_path / "out"
        ).stdout
    )
    slid = [
        case
        for case in found["cases"]
        if case["margin"] is not None and case["margin"] < 0.0
    ]
    assert slid
    assert all(
        case["bump_mm"] is None and case["road_chance"] is None for case in slid
    )
    moving = [
        v
        for v in found["verdicts"]
        if v["what"] in ("bump", "seam", "gust", "wind step", "rough road")
    ]
    assert [verdict["holds"] for verdict in moving] == [False] * 5
    assert all(wind["step_m_s"] == 0.0 for wind in found["wind"])
    # of three roll angles, at most those without a sliding case stand a fault
    stood = [v["found"] for v in found["verdicts"] if "stood" in v["unit"]]
    assert stood
    assert max(stood) <= 100.0 * (3 - len(slid)) / 3 + 1e-9
    text = " ".join((tmp_path / "out" / "prove.txt").read_text().split())
    assert f"THE CAR SLIDES in {len(slid)} of 3 cases" in text
    assert "straight at 90" in text


@pytest.mark.parametrize(
    ("file", "line", "key"),
    [
        ("car.toml", "pitch_inertia_kgm2", "car.pitch_inertia_kgm2"),
        ("car.toml", "damper_bump_Ns_per_mm", "front.damper_bump_Ns_per_mm"),
        ("venue.toml", '"roughness', "venue.roughness"),
        ("limits.toml", "[tolerance]", "tolerance"),
    ],
)
def test_missing_entry_is_asked_for(
    tmp_path: Path, run: Run, file: str, line: str, key: str
) -> None:
    """By file, key and purpose; exit status 2, nothing written."""
    folder, out = project(tmp_path / "project"), tmp_path / "out"
    lines = (folder / file).read_text().splitlines()
    at = next(i for i, one in enumerate(lines) if one.startswith(line))
    cut = 5 if line == "[tolerance]" else 1
    (folder / file).write_text("\n".join(lines[:at] + lines[at + cut :]))
    done = run("prove", folder, *QUICK, "--out", out)
    assert done.exit_code == 2
    assert key in done.output
    assert "prove needs it" in done.output
    assert not out.exists()


@pytest.mark.parametrize(
    "option",
    [
        ("--chance", "101"),
        ("--bump", "-1"),
        ("--seconds", "0"),
        ("--gust", "nan"),
        ("--seeds", "1"),
    ],
)
def test_impossible_numbers_are_refused(
    few: Path, run: Run, option: tuple[str, str]
) -> None:
    """One message with the option's name, exit status 2."""
    done = run("prove", few, *option)
    assert done.exit_code == 2
    assert option[0] in done.output


def test_measured_profile(few: Path, run: Run, tmp_path: Path) -> None:
    """Ridden forwards and backwards; its roughness index beside that of the published method."""
    profile = tmp_path / "profile.csv"
    place = np.arange(0, 200, 0.25)
    height = 4 * np.sin(place / 1.3) + 2 * np.sin(place / 0.37)
    rows = [f"{x:.2f},{h:.3f}" for x, h in zip(place, height, strict=True)]
    profile.write_text("\n".join(["distance_m,height_mm", *rows]))
    done = run("prove", few, *UNDER, "--profile", profile, "--json", "--quiet")
    road = json.loads(done.stdout)["road"]
    assert road["measured"] is True
    assert road["rides"][0]["rides"] + road["rides"][0]["lost"] == 2
    own, published = (
        road["roughness_index_mm_per_m"],
        road["roughness_index_published_mm_per_m"],
    )
    assert own == pytest.approx(
        published, rel=1e-4
    )  # the published matrices carry seven digits
    profile.write_text("distance_m,height_mm\n0,0\n5,1\n")
    refused = run("prove", few, *QUICK, "--profile", profile)
    assert refused.exit_code == 2
    assert "profile.csv" in refused.output


def test_interrupted_and_started_again(
    few: Path,
    run: Run,
    under: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Ctrl-C with some chunks done: one line, status 130, nothing in the folder asked for; the second start
    does only the rest and ends at the numbers of an unbroken run. (A kill: tests/jobs/test_run.py.)"""
    wrote = Store.write
    kept: list[str] = []

    def write(store: Store, name: str, chunk: np.ndarray) -> None:
        wrote(store, name, chunk)
        kept.append(name)
        if len(kept) == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr(Store, "write", write)
    stopped = run("prove", few, *UNDER, "--json", "--out", tmp_path / "out")
    assert (stopped.exit_code, stopped.stdout) == (130, "")
    assert (
        stopped.stderr
        == "stopped; what is finished is kept, the same command goes on from there\n"
    )
    assert not (tmp_path / "out").exists()
    first = set(kept)
    assert len(first) >= 3
    assert run("prove", few, *UNDER, "--json", "--quiet").stdout == under
    assert not first & set(kept[len(first) :])
    assert not list(
        (tmp_path / "cache" / "setupopt" / "unfinished").glob("*/*")
    )


def test_any_number_of_workers_gives_the_same(
    few: Path, run: Run, under: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same text of JSON, digit for digit."""
    monkeypatch.setenv("SETUPOPT_THREADS", "1" if workers() > 1 else "3")
    assert run("prove", few, *UNDER, "--json", "--quiet").stdout == under


def test_a_quick_proof_says_so(few: Path, run: Run, tmp_path: Path) -> None:
    """On the screen, in the stored extent; options that are given stay. The usual proof is not quick."""
    from setupopt.project.stored_proof import (
        USUAL_BUILDS,
        USUAL_DIRECTIONS,
        proof_extent,
        stored_proof,
    )
    from setupopt.robust.robustness import RobustnessOptions

    folder = shutil.copytree(few, tmp_path / "project")
    done = run("prove", folder, "--quick", "--builds", "16", "--floor", "0.99")
    assert "QUICK PROOF" in done.stdout
    there = load(folder)
    extent = proof_extent(stored_proof(there, there.setup))
    assert extent.is_quick and str(extent).startswith("QUICK")
    assert (extent.directions, extent.builds) == (4, 16)
    usual = RobustnessOptions()
    assert (usual.directions, usual.builds) == (USUAL_DIRECTIONS, USUAL_BUILDS)
