"""`setupopt route`: what it answers, writes and refuses."""

from __future__ import annotations

import csv
import json
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pdfplumber
import pytest
from click.testing import Result
from processes import COMMAND

from setupopt.physics.kept_kernels import cache_folder

from .conftest import Run
from .test_prove import project
from .test_speeds import keys

KEYS = (
    "best", "shape", "shapes", "to_deg", "from_deg", "hold_m", "least_margin", "length_m", "length_most_m",
    "held_m", "coasting", "pieces", "piece", "at_m", "limits", "room", "by_hand", "ramp_m", "steady_margin",
    "route_length_m", "route_margin", "straight_margin",
    "points", "marks", "place", "stages", "reason", "first_speed", "last_speed", "stop_m_s2",
    "braking_margin", "missing", "ways_out", "prices", "way_m", "axis_m", "around_m", "power_kW",
    "steer_rate_deg_s", "load_factor", "map", "tradeoff", "programme", "spread", "worst_margin", "errors",
    "error", "input", "turns", "speed_km_h", "abort",
)  # fmt: skip
PRINTED = (
    "axis_m", "way_m", "roll_angle_deg", "heading_deg", "steer_deg", "speed_m_s", "speed_km_h", "seconds", "margin",
)  # fmt: skip
RUN = {
    "run": 1, "step": "first", "to_deg": 15.0, "speed_m_s": 46.0, "speed_km_h": 165.6, "length_m": 61.4,
    "margin": 0.612, "worst_margin": None, "tells": None,
}  # fmt: skip
ROUTE = "\n[route]\nto_deg = 60\nreturn = false\nleast_margin = 0.2\nsteer_rate_deg_s = 90\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bore with a short way to go."""
    made = project(tmp_path_factory.mktemp("route") / "project", speed=50.0)
    limits = made / "limits.toml"
    text = limits.read_text(encoding="utf-8")
    head, _, rest = text.partition("[route]")
    limits.write_text(
        head + rest[rest.index("[adjuster.front]") :] + ROUTE, encoding="utf-8"
    )
    return made


def test_a_map_that_is_killed_goes_on(
    folder: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SIGKILL once a cell is kept: the same command goes on to the JSON of an unbroken run. Two radii, two
    speeds, with a setup for each, which raises a margin of a car set for a flat circuit and lowers none.
    """
    home = tmp_path / "project"
    shutil.copytree(folder, home)
    with (home / "limits.toml").open("a", encoding="utf-8") as limits:
        limits.write("speed_m_s = { from = 46, to = 50, step = 4 }\n")
        limits.write("radius_mm = { from = 7500, to = 8500, step = 1000 }\n")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache_folder().parents[1]))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    asked = ("route", home, "--map", "--length", "90", "--json", "--quiet")
    with subprocess.Popen(
        [*COMMAND, *map(str, asked), "--propose"],
        stdout=subprocess.PIPE,
    ) as process:
        while process.poll() is None and not kept(tmp_path):
            time.sleep(0.02)
        process.kill()
    assert process.returncode == -signal.SIGKILL
    assert 1 <= len(kept(tmp_path)) < 4
    went_on = json.loads(run(*asked, "--propose").stdout)
    assert not kept(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "other"))
    assert json.loads(run(*asked, "--propose").stdout) == went_on
    plain = json.loads(run(*asked).stdout)["map"]["cells"]
    gains = []
    for cell, own in zip(plain, went_on["map"]["cells"], strict=True):
        assert cell["setup"] is None
        gains.append(own["margin"] - cell["margin"])
        assert (gains[-1] > 0.0) == (own["setup"] is not None)
    assert (
        max(gains) > 2e-3
    )  # 0.03 over the top; up to 60 deg the setup counts for less
    alone = run("route", home, "--propose", "--out", tmp_path / "none")
    assert alone.exit_code == 2
    assert "--map" in alone.stderr


def kept(folder: Path) -> list[Path]:
    """First cells of a map that are stored."""
    return list(folder.glob("cache/setupopt/unfinished/*/map-0*"))


@pytest.fixture
def done(folder: Path, run: Run, tmp_path: Path) -> tuple[Result, Path]:
    """A run with all files."""
    out = tmp_path / "out"
    return run(
        "route", folder, "--json", "--quiet", "--length", "90", "--out", out
    ), out


def test_answers_and_files_agree(done: tuple[Result, Path]) -> None:
    """Status 0; JSON as printed; the least margin of the CSV; marks are rows of it; a picture."""
    result, out = done
    assert result.exit_code == 0
    assert (out / "route.json").read_text() == result.stdout
    answer = json.loads(result.stdout)
    rows = list(csv.DictReader((out / "route.csv").read_text().splitlines()))
    assert len(rows) == answer["points"]
    assert min(float(row["margin"]) for row in rows) == answer["margin"] >= 0.2
    assert answer["length_m"] <= 90.0 * 1.001
    ways = {float(row["way_m"]): row for row in rows}
    for mark in answer["marks"]:
        row = ways[mark["way_m"]]
        for name in (
            "heading_deg",
            "speed_m_s",
            "steer_deg",
            "margin",
            "seconds",
        ):
            assert float(row[name]) == mark[name]
    assert {path.name for path in out.iterdir()} == {
        "route.txt", "route.json", "route.csv", "route-cases.csv", "route.svg",
    }  # fmt: skip
    assert "<svg" in (out / "route.svg").read_text()


def test_the_list_of_keys_is_whole(done: tuple[Result, Path]) -> None:
    """The glossary's test goes by it."""
    found = keys(json.loads(done[0].stdout))
    assert set(KEYS) <= found
    shared = {
        "holds", "setup", "name", "checksum", "speed_m_s", "margin", "worst", "metres", "seconds", "limit",
        "cautions", "roll_angle_deg", "heading_deg", "path_curvature_per_m", "yaw_acceleration_rad_s2",
        "acceleration_m_s2", "contact", "sideslip_deg", "steer_deg", "load_fl_N", "load_fr_N", "load_rl_N",
        "load_rr_N", "wheels_in_air", "growth_per_s", "lambda", "balance",
    }  # fmt: skip
    assert found - shared <= set(KEYS)


def test_the_card_says_what_the_route_says(
    folder: Path, done: tuple[Result, Path], run: Run, tmp_path: Path
) -> None:
    """Marks of the sheet's JSON, of which the PDF is made, are the route's; another setup is refused."""
    _, out = done
    route = out / "route.json"
    told = json.loads(route.read_text())
    told["programme"] = {"reaches": False, "least_margin": 0.2, "runs": [RUN]}
    route.write_text(json.dumps(told))
    sheet = run(
        "sheet",
        folder,
        "--route",
        route,
        "--out",
        tmp_path / "sheets",
        "--json",
        "--quiet",
    )
    made = next((tmp_path / "sheets").glob("*.json"))
    card = json.loads(made.read_text())["route_card"]
    answer = json.loads(route.read_text())
    assert sheet.exit_code in (0, 1)
    assert card == {name: answer[name] for name in card}
    assert len(card["marks"]) > 10
    with pdfplumber.open(next((tmp_path / "sheets").glob("*.pdf"))) as pdf:
        tables = [one for page in pdf.pages for one in page.extract_tables()]
    rows = [row for one in tables for row in one if len(row) == 10]
    printed = [row for row in rows if row[9] == "not looked at"]
    for cells, mark in zip(printed, answer["marks"], strict=True):
        for shown, name in zip(cells, PRINTED, strict=False):
            places = len(shown.partition(".")[2])
            assert float(shown) == pytest.approx(
                mark[name], abs=0.5 * 10.0**-places * (1.0 + 1e-9)
            )
    first = "1 first 15 46.0 166 61 0.612 contact_lost -"
    assert ["_".join(one.split()) for one in rows[-1][:9]] == first.split()
    other = json.loads(route.read_text())
    other["setup"]["checksum"] = "0123456789ab"
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(other))
    refused = run("sheet", folder, "--route", wrong, "--out", tmp_path / "none")
    assert refused.exit_code == 2
    assert "setup.checksum" in refused.stderr
    assert not (tmp_path / "none").exists()
    assert (
        run(
            "route", folder, "--length", "90", "--out", folder, "--quiet"
        ).exit_code
        == 0
    )
    page = run("report", folder, "--out", tmp_path / "page", "--quiet")
    assert page.exit_code in (0, 1)
    assert (
        "The path on the unrolled section"
        in (tmp_path / "page" / "report.html").read_text()
    )


@pytest.mark.parametrize("width", ["80", "160"])
def test_text_fits_and_says_what_matters(
    folder: Path, run: Run, width: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No line is wider than the terminal; verdict, pieces, what it is beside, marks, the caution."""
    monkeypatch.setenv("COLUMNS", width)
    lines = run("route", folder, "--length", "90").stdout.splitlines()
    assert max(len(line) for line in lines) <= int(width)
    whole = " ".join(" ".join(lines).split())
    for words in (
        "Least margin",
        "required: pass",
        "straight running at 60 deg",
        "Marks along the route",
        "no clearance",
    ):
        assert words in whole
    assert ("km/h" in whole.split("Marks along")[1]) == (width == "160")


def test_status_tells_a_route_that_fails(folder: Path, run: Run) -> None:
    """A minimum margin that no way reaches: 1, and FAIL."""
    done = run("route", folder, "--floor", "0.95", "--quiet")
    assert done.exit_code == 1
    assert "FAIL" in done.stdout


def test_refusals(folder: Path, run: Run, tmp_path: Path) -> None:
    """Without [route], and for a length that is no number: 2, and nothing written."""
    poor = project(tmp_path / "poor", speed=50.0)
    limits = poor / "limits.toml"
    text = limits.read_text(encoding="utf-8")
    head, _, rest = text.partition("[route]")
    limits.write_text(
        head + rest[rest.index("[adjuster.front]") :], encoding="utf-8"
    )
    refused = run("route", poor, "--out", tmp_path / "out")
    assert refused.exit_code == 2
    assert "route.to_deg" in refused.stderr
    assert (
        run(
            "route", folder, "--length", "nan", "--out", tmp_path / "out"
        ).exit_code
        == 2
    )
    assert not (tmp_path / "out").exists()
