"""`setupopt report`: what it writes, answers and refuses."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from report import report_folders

from setupopt.report.page import prices
from setupopt.search.shadow_prices import ShadowPrice

from .conftest import Run

KEYS = (
    "car", "venue", "date", "project_checksum", "holds", "target", "today", "proposed", "alone",
    "limit_prices", "limit_prices_missing", "limit_prices_near_margin", "cautions",
    "closing", "setup", "checksum", "front", "rear",
    "assessment", "gaps", "peak_pressure_kPa", "proof", "where", "gap_mm", "least_gap_mm",
)  # fmt: skip


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project with a proposal, its proof and its prices."""
    return report_folders.proposed(tmp_path_factory.mktemp("both") / "project")


@pytest.fixture(autouse=True)
def no_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """No prices where none are kept: they take seconds. Pictures of trade-offs have tests of their own."""
    monkeypatch.setattr(prices, "local_prices", lambda *_: None)
    monkeypatch.setattr(prices, "tradeoff_svg", lambda *_, **__: "<svg/>")


def written(folder: Path) -> str:
    """The page."""
    return (folder / "report.html").read_text(encoding="utf-8")


def test_the_answer_is_that_of_the_other_commands(
    both: Path, run: Run, tmp_path: Path
) -> None:
    """Assessments as `assess` answers them, today's and the proposed one's; proof and prices as kept."""
    done = run(
        "report",
        both,
        "--json",
        "--quiet",
        "--out",
        tmp_path / "out",
        "--floor",
        "0.01",
    )
    answer = json.loads(done.stdout)
    assert done.exit_code == 0
    for role, more in (
        ("today", ()),
        ("proposed", ("--setup", "proposed.toml")),
    ):
        told = json.loads(
            run(
                "assess", both, *more, "--json", "--quiet", "--floor", "0.01"
            ).stdout
        )
        assert answer[role]["assessment"] == told
    assert answer["target"] == "proposed"
    assert answer["proposed"]["setup"]["checksum"] == report_folders.checksum(
        both
    )
    assert answer["proposed"]["proof"]["verdicts"][2]["holds"] is False
    assert answer["limit_prices"][0]["margin_per_unit"] == 0.0226
    assert set(answer) | set(answer["today"]) | set(
        answer["today"]["gaps"][0]
    ) <= set(KEYS)
    assert [path.name for path in (tmp_path / "out").iterdir()] == [
        "report.html"
    ]
    assert not (both / "report.html").exists()


def test_the_page_stands_in_the_project_and_says_it_all(
    both: Path, run: Run, tmp_path: Path
) -> None:
    """Cautions first, both setups, the proof's broken row, a price that differs; no clearance; no network."""
    folder = shutil.copytree(both, tmp_path / "project")
    done = run("report", folder)
    page = written(folder)
    assert f"written: {folder / 'report.html'}" in done.stdout.replace("\n", "")
    assert "no clearance to drive" in page
    assert (
        page.index("Cautions first")
        < page.index("Verdict")
        < page.index("0.0226")
    )
    said = (
        "Proposed setup",
        "FAIL",
        "for information",
        "DIFFERS",
        "at least 3 required",
        "at most 5 required",
    )
    for words in said:
        assert words in page
    assert report_folders.EVIL not in page
    assert "&lt;script&gt;" in page
    assert "form-action 'none'" in page
    assert not [
        part
        for part in page.split('"')
        if part.startswith(("http:", "https:")) and "w3.org" not in part
    ]


def test_stale_prices_and_proofs_are_not_shown(
    both: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a change of the car: no number of either, and why; prices are computed anew, and kept for the next
    report.
    """
    near = SimpleNamespace(holds=True, margin=0.3141)
    price = ShadowPrice("rake", 0.01, "mm", "rake_mm.to", 0.0101, 0.1)
    found = SimpleNamespace(own=None, near=near, prices=(price,))
    monkeypatch.setattr(prices, "local_prices", lambda *_: found)
    monkeypatch.setattr(prices, "beside_today", lambda own: own)
    folder = shutil.copytree(both, tmp_path / "project")
    report_folders.changed(folder, "car.toml", "mass_kg = 545", "mass_kg = 546")
    answer = json.loads(run("report", folder, "--json", "--quiet").stdout)
    assert answer["proposed"]["proof"] is None
    assert answer["limit_prices"][0]["margin_per_unit"] == 0.01
    assert answer["limit_prices_missing"] is None
    page = written(folder)
    assert "0.0226" not in page
    assert "Not proved" in page
    assert "worst margin of 0.314" in page
    assert "Worst margin over the two settings" in page
    monkeypatch.setattr(prices, "local_prices", None)
    again = json.loads(run("report", folder, "--json", "--quiet").stdout)
    assert again["limit_prices"] == answer["limit_prices"]


def test_today_alone_tells_how_to_get_a_proposal(
    held: Path, run: Run, tmp_path: Path
) -> None:
    """One setup, and the command for the other; status 0 where all holds."""
    done = run("report", held, "--out", tmp_path, "--json", "--quiet")
    assert done.exit_code == 0
    answer = json.loads(done.stdout)
    assert (answer["proposed"], answer["target"]) == (None, "today")
    assert f"setupopt propose {held}" in written(tmp_path)


def test_a_proposal_that_is_todays_setup_is_no_second_one(
    both: Path, run: Run, tmp_path: Path
) -> None:
    """Asked for by --setup: one setup, and why."""
    answer = json.loads(
        run(
            "report",
            both,
            "--setup",
            "proposed.toml",
            "--out",
            tmp_path,
            "--json",
            "--quiet",
        ).stdout
    )
    assert answer["proposed"] is None
    assert answer["alone"] == "proposed.toml is this very setup"
    assert answer["limit_prices"]
    assert "makes one" not in written(tmp_path)


def test_status_tells_lost_contact_and_a_missed_floor(
    held: Path, lost: Path, run: Run, tmp_path: Path
) -> None:
    """1 for each; the page is written all the same, and says so."""
    assert (
        run("report", lost, "--out", tmp_path / "lost", "--quiet").exit_code
        == 1
    )
    assert "CONTACT LOST" in written(tmp_path / "lost")
    assert "LIMITS BROKEN" not in written(tmp_path / "lost")
    assert "tyre.slick.load_limit_N" in written(tmp_path / "lost")
    assert (
        run(
            "report",
            held,
            "--floor",
            "0.99",
            "--out",
            tmp_path / "held",
            "--quiet",
        ).exit_code
        == 1
    )
    assert "minimum margin 0.99" in written(tmp_path / "held")
    assert "FAIL" in written(tmp_path / "held")


def test_cautions_about_the_input_stand_on_top(
    run: Run, tmp_path: Path
) -> None:
    """Before any number, each of them."""
    from . import folders

    folder = folders.odd(tmp_path / "odd")
    answer = json.loads(run("report", folder, "--json", "--quiet").stdout)
    page = written(folder)
    assert answer["cautions"]
    for caution in answer["cautions"]:
        assert (
            0
            < page.index(caution.split('"')[0][:40])
            < page.index("<h2>Verdict")
        )


def test_refusals_write_nothing(held: Path, run: Run, tmp_path: Path) -> None:
    """A setup that is not there, a broken proposal, a folder that is a file: 2, and no page."""
    out, taken = tmp_path / "out", tmp_path / "taken"
    taken.write_text("")
    assert (
        run("report", held, "--setup", "nowhere.toml", "--out", out).exit_code
        == 2
    )
    assert run("report", held, "--floor", "nan", "--out", out).exit_code == 2
    assert run("report", held, "--out", taken).exit_code == 2
    folder = shutil.copytree(held, tmp_path / "project")
    (folder / "proposed.toml").write_text("[setup]\nname = 3\n")
    done = run("report", folder, "--out", out)
    assert done.exit_code == 2
    assert "proposed.toml" in done.stderr
    assert not out.exists()
