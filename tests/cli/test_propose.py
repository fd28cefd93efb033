"""`setupopt propose`: what it writes, prints and answers."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_examples import small_example

import setupopt
import setupopt.search
from setupopt.project import load
from setupopt.project.stored_prices import PICTURE, stored_prices
from setupopt.report.propose import fields as proposal_fields
from setupopt.search import Proposal, ProposalOptions
from setupopt.search.proposal import Alternative

from .conftest import Run, refused, widest

# For scripts: these first and in this order, then the rest in any.
KEYS = [
    "setup",
    "margin",
    "start_margin",
    "worst",
    "binding_cases",
    "limit_prices",
    "evaluations",
    "seconds",
]
MORE = [
    "alternatives",
    "project_checksum",
    "asked",
    "by_attitude",
    "cases",
    "cautions",
    "changes",
    "contact_lost",
    "counted_margin",
    "evidence",
    "floor",
    "floors_broken",
    "gains",
    "holds",
    "left_out",
    "limits_broken",
    "plateaus",
    "required",
    "speed_m_s",
    "robustness",
    "sides",
    "slides",
    "start_counted_margin",
    "would_hold",
]
LEFT, RIGHT, KERB = (
    "fast left-hander",
    "fast right-hander",
    "left-hander over a kerb",
)
QUICK = (
    "--starts",
    "1",
    "--alternatives",
    "0",
    "--quiet",
)  # all that a test need not wait for left out


@pytest.fixture(scope="module")
def hill(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The quickest example: two roll angles, three attitudes; few settings and parts to choose."""
    folder = small_example(
        "hill",
        tmp_path_factory.mktemp("hill"),
        ("to = 5, step = 0.5", "to = 5, step = 10"),
        (LEFT, RIGHT, KERB),
        ("anti_roll_N_per_mm = {", "ride_height_mm = {"),
    )
    limits = folder / "limits.toml"
    text = re.sub(
        r"springs_N_per_mm = .*",
        "springs_N_per_mm = [80, 90]",
        limits.read_text(),
    )
    limits.write_text(text)
    return folder


@pytest.fixture
def own(hill: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil."""
    return Path(shutil.copytree(hill, tmp_path / "own"))


@pytest.fixture(scope="module")
def found(hill: Path) -> Proposal:
    """A proposal for it, for tests of what is done with one."""
    return setupopt.propose(
        setupopt.load(hill), ProposalOptions(starts=1, loss=0.0)
    )


def known(
    monkeypatch: pytest.MonkeyPatch, found: Proposal, **changes: object
) -> None:
    """Lets the search end at once with a proposal, some of it changed."""
    proposal = replace(found, **changes)  # type: ignore[arg-type]
    monkeypatch.setattr(setupopt.search, "propose", lambda *args: proposal)


def answer(run: Run, *args: str | Path) -> dict[str, Any]:
    """What a quick run says to a script."""
    result = run("propose", *args, "--json", *QUICK)
    assert result.stderr == ""
    return dict(json.loads(result.stdout))


# ---- the answer --------------------------------------------------------------------------------------------


def test_json_has_the_promised_keys_first(run: Run, own: Path) -> None:
    """Scripts rely on these keys, their order and their units."""
    told = answer(run, own)
    assert list(told)[: len(KEYS)] == KEYS
    assert sorted(told) == sorted([*KEYS, *MORE])
    assert set(told["setup"]) == {"setup", "front", "rear"}
    assert told["margin"] > told["start_margin"]
    assert told["worst"]["contact"] is True
    assert told["worst"]["margin"] == told["margin"]
    assert set(told["binding_cases"][0]) == {
        "roll_angle_deg",
        "attitude",
        "margin",
        "first_axle",
        "weight",
        "sideslip_deg",
        "steer_deg",
    }
    assert told["binding_cases"][0]["margin"] == pytest.approx(told["margin"])
    assert sum(
        case["weight"] for case in told["binding_cases"]
    ) == pytest.approx(1.0, abs=1e-3)
    price = [
        "limit",
        "margin_per_unit",
        "unit",
        "key",
        "solved_again",
        "by",
        "agrees",
    ]
    assert [list(one) for one in told["limit_prices"]] == [price] * len(
        told["limit_prices"]
    )
    assert told["limit_prices"]
    parts = {"sets", "solved", "solves", "bound", "overshoot", "finished"}
    assert set(told["evidence"]["parts"]) == parts
    assert told["robustness"] is None
    assert told["holds"] is True


def test_project_is_untouched_but_for_the_proposal(
    run: Run, own: Path, found: Proposal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --out one file appears in the project, and no other changes; beside it the answer is kept under
    what the file says, so that the report finds prices and picture."""
    known(monkeypatch, found)
    before = {path.name: path.read_bytes() for path in own.iterdir()}
    result = run("propose", own)
    assert (result.exit_code, result.stderr) == (0, "")
    kept = stored_prices(load(own, "proposed.toml"))
    assert kept is not None and kept[PICTURE]
    shutil.rmtree(own / "proved")
    after = {path.name: path.read_bytes() for path in own.iterdir()}
    head = after.pop("proposed.toml").decode()
    assert after == before
    assert "no clearance to drive" in head.replace("\n# ", " ")


def test_out_holds_everything_that_was_found(
    run: Run, own: Path, tmp_path: Path
) -> None:
    """Setup, report, answer, picture and alternatives in DIR alone; each is what it says."""
    out = tmp_path / "new" / "out"
    result = run(
        "propose", own, "--starts", "2", "--alternatives", "0.02", "--out", out
    )
    assert result.exit_code == 0
    told = json.loads((out / "proposal.json").read_text())
    others = [
        f"alternative-{n}.toml" for n in range(1, len(told["alternatives"]) + 1)
    ]
    assert others
    wanted = [
        "proposal.json",
        "proposal.txt",
        "proposed.toml",
        "tradeoff.svg",
        *others,
    ]
    assert sorted(path.name for path in out.iterdir()) == sorted(wanted)
    assert not (own / "proposed.toml").exists()
    setups = {"proposed.toml": told["setup"], **_setups(told, others)}
    for name, setup in setups.items():
        assert tomllib.loads((out / name).read_text()) == setup
        assert f"written: {out / name}" in result.stdout
    assert max(map(len, (out / "proposal.txt").read_text().splitlines())) <= 100
    assert (out / "tradeoff.svg").read_text().startswith("<?xml")
    _is_said(result.stdout, told)
    assessed = run("assess", own, "--setup", out / "proposed.toml", "--json")
    assert (
        json.loads(assessed.stdout)["worst"]["margin"] >= told["margin"] - 1e-9
    )


def _setups(told: dict[str, Any], names: list[str]) -> dict[str, Any]:
    return {
        name: one["setup"]
        for name, one in zip(names, told["alternatives"], strict=True)
    }


def _is_said(text: str, told: dict[str, Any]) -> None:
    """The report in 80 columns says what the answer says."""
    assert widest(text) <= 80
    assert (
        f"{told['start_margin']:.3f} today, {told['margin']:.3f} proposed"
        in text
    )
    assert "2 starts ended between" in text
    assert f"{told['alternatives'][0]['margin']:.4f}" in text
    assert "no clearance to drive" in text.replace("\n", " ")


# ---- what is asked -----------------------------------------------------------------------------------------


def test_floor_not_reached_is_status_one(run: Run, own: Path) -> None:
    """A floor above what can be had: done, but not what was asked for; what is kept stays as it is."""
    keep = (
        "--keep",
        "camber_deg",
        "--keep",
        "rear.pressure_bar",
        "--keep",
        "body",
    )
    result = run("propose", own, "--floor", "0.9", *keep, *QUICK)
    assert result.exit_code == 1
    assert "Minimum margin 0.9: FAIL" in result.stdout
    assert (
        "Kept as requested: camber_deg, rear.pressure_bar, body."
        in result.stdout
    )
    today, proposed = (
        tomllib.loads((own / name).read_text())
        for name in ("setup.toml", "proposed.toml")
    )
    for axle in ("front", "rear"):
        assert proposed[axle]["camber_deg"] == today[axle]["camber_deg"]
    assert proposed["rear"]["pressure_bar"] == today["rear"]["pressure_bar"]
    assert proposed["front"]["pressure_bar"] != today["front"]["pressure_bar"]


def test_attitude_with_a_floor_needs_only_that(
    run: Run, own: Path, found: Proposal
) -> None:
    """Raised is the rest, as 1 - w (1 - margin) of docs/nomenclature.md; the floor for all leaves it out."""
    needed = round(found.margin - 0.02, 3)
    for_all = round(
        found.margin - 0.1, 3
    )  # the weight of one attitude takes from the other
    floors = ("--floor", f"{LEFT}={needed}", "--floor", f"{for_all}")
    told = answer(run, own, *floors, "--weights", f"{KERB}=1.4")
    rows = {row["attitude"]: row for row in told["by_attitude"]}
    assert [rows[name]["weight"] for name in (LEFT, RIGHT, KERB)] == [
        0.0,
        1.0,
        1.4,
    ]
    assert [rows[name]["floor"] for name in (LEFT, RIGHT, KERB)] == [
        needed,
        None,
        None,
    ]
    assert rows[LEFT]["kept"] is True
    assert (
        rows[LEFT]["margin"] >= needed - 1e-6
    )  # to which the search holds floors
    weighed = min(
        1.0 - rows[name]["weight"] * (1.0 - rows[name]["margin"])
        for name in (RIGHT, KERB)
    )
    assert told["counted_margin"] == pytest.approx(
        weighed, abs=1e-4
    )  # less what rounding a dip may miss
    assert told["margin"] == min(row["margin"] for row in rows.values())
    assert told["holds"] is True


def test_what_does_not_hold_is_status_one(
    run: Run, own: Path, found: Proposal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broken floor of an attitude: said on top of the file too, and no file is an alternative to it."""
    one = Alternative(found.setup, found.margin, found.margin, "body")
    objective = replace(
        found.objective, minimum_margins=np.array([0.9, -np.inf, -np.inf])
    )
    known(
        monkeypatch,
        found,
        objective=objective,
        missed_minimums=(LEFT,),
        alternatives=(one,),
    )
    result = run("propose", own, "--out", own)
    assert result.exit_code == 1
    assert f'Minimum margin of "{LEFT}" 0.9: FAIL' in result.stdout
    assert "IT BREAKS A LIMIT OR A FLOOR" in (own / "proposed.toml").read_text()
    assert not list(own.glob("alternative-*"))


def test_robust_tells_its_price(run: Run, own: Path) -> None:
    """Price and gain are the differences that docs/nomenclature.md says; builds are worse than none."""
    few = (
        "spring_N_per_mm",
        "anti_roll_N_per_mm",
        "ride_height_mm",
    )  # fewer settings, a shorter test
    told = answer(
        run, own, "--robust", *(arg for name in few for arg in ("--keep", name))
    )
    r = told["robustness"]
    assert r["price"] == pytest.approx(
        r["exact_margin"] - r["robust_margin"], abs=1e-12
    )
    assert r["gain"] == pytest.approx(
        r["robust_built"] - r["exact_built"], abs=1e-12
    )
    assert r["built"] < r["margin"]
    assert r["built"] == pytest.approx(
        told["counted_margin"], abs=1e-3
    )  # of a search, not of all corners
    assert told["asked"]["robust"] is True


def test_study_is_kept_where_it_is_asked(
    run: Run, own: Path, tmp_path: Path
) -> None:
    """The database is there afterwards, and the same question is answered from it alike."""
    url = f"sqlite:///{tmp_path / 'parts.db'}"
    args = ("--study", url, "--keep", "camber_deg", "--keep", "ride_height_mm")
    first = answer(run, own, *args)
    size = (tmp_path / "parts.db").stat().st_size
    again = answer(run, own, *args)
    assert (again["setup"], again["margin"]) == (
        first["setup"],
        first["margin"],
    )
    assert (tmp_path / "parts.db").stat().st_size == size
    assert again["evaluations"] < first["evaluations"]


# ---- refusals ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--floor", "abc"], "found 'abc', expected a number"),
        (["--floor", "=0.1"], "expected a number or NAME=NUMBER"),
        (["--floor", "0.1", "--floor", "0.2"], "given twice"),
        (
            ["--floor", f"{LEFT}=0.1", "--floor", f"{LEFT}=0.2"],
            f"given twice for '{LEFT}'",
        ),
        (["--floor", "middle=0.1"], 'no attitude "middle"'),
        (["--floor", f"{LEFT}=nan"], "expected a number"),
        (["--weights", "2"], "expected NAME=NUMBER"),
        (["--weights", "middle=2"], 'no attitude "middle"'),
        (["--weights", f"{LEFT}=101"], "at most 100"),
        (["--weights", f"{LEFT}=-1"], "at least 0"),
        (["--keep", "camber"], 'no setting "camber"'),
        (["--alternatives", "-0.01"], "at least 0"),
        (["--study", "nonsense://x"], "--study nonsense://x: "),
        (["--starts", "0"], "--starts"),
    ],
)
def test_bad_values_are_refused_in_words(
    run: Run, own: Path, args: list[str], said: str
) -> None:
    """Status 2, one message on standard error, and no file."""
    result = run(
        "propose",
        own,
        *args,
        *([] if "--starts" in args else ["--starts", "1"]),
    )
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert not (own / "proposed.toml").exists()


def test_robust_needs_a_tolerance(run: Run, own: Path) -> None:
    """Without [tolerance] nobody knows what the mechanics can hold."""
    limits = own / "limits.toml"
    text = limits.read_text()
    limits.write_text(
        text[: text.index("[tolerance]")] + text[text.index("[spread]") :]
    )
    result = run("propose", own, "--robust")
    refused(result, "[tolerance]")


def test_missing_limits_are_asked_for(run: Run, own: Path) -> None:
    """Without limits.toml: refused with its name, nothing written."""
    (own / "limits.toml").unlink()
    result = run("propose", own)
    refused(result, "limits.toml")
    assert not (own / "proposed.toml").exists()


@pytest.mark.parametrize(
    ("where", "out"),
    [
        ("proposed.toml", None),
        ("PROJECT/proposed.toml", None),
        ("PROJECT/alternative-2.toml", "PROJECT"),
        ("alternative-2.toml", "PROJECT"),
        ("PROJECT/sub/../proposed.toml", "PROJECT/sub/.."),
    ],
)
def test_the_setup_read_is_never_overwritten(
    run: Run, own: Path, where: str, out: str | None
) -> None:
    """Proposing from an earlier proposal must not write over it, however it is named."""
    (own / "sub").mkdir()
    read = own / Path(where).name
    shutil.copy(own / "setup.toml", read)
    folder = [] if out is None else ["--out", out.replace("PROJECT", str(own))]
    result = run(
        "propose", own, "--setup", where.replace("PROJECT", str(own)), *folder
    )
    refused(result, "one of the files that are read")
    assert read.read_bytes() == (own / "setup.toml").read_bytes()


def test_places_that_cannot_be_written_are_refused_before_the_work(
    run: Run, own: Path
) -> None:
    """A file for a folder, a folder for a file, and the folder of the bodies: no solving first."""
    (own / "file").write_text("")
    (own / "out" / "tradeoff.svg").mkdir(parents=True)
    for out, said in (
        ("file", "not a folder"),
        ("out", "it is a folder"),
        ("bodies", "read as a body"),
    ):
        result = run("propose", own, "--out", own / out)
        refused(result, said)


# ---- ends --------------------------------------------------------------------------------------------------


def test_interrupt_says_what_is_kept(
    run: Run, own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 130, nothing written, and how to go on."""

    def stopped(*args: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(setupopt.search, "propose", stopped)
    result = run("propose", own)
    assert (result.exit_code, result.stdout) == (130, "")
    assert result.stderr.startswith("stopped; nothing was written; ")
    assert "the same command goes on from there" in result.stderr
    assert not (own / "proposed.toml").exists()


def test_nothing_is_written_where_a_part_of_it_cannot_be_made(
    run: Run,
    own: Path,
    found: Proposal,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """All files are made before the first is written."""
    known(monkeypatch, found)

    def fails(*_: object) -> str:
        raise OSError(28, "No space left on device", "picture")

    monkeypatch.setattr(proposal_fields, "tradeoff_svg", fails)
    result = run("propose", own, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_alternatives_of_an_earlier_run_are_told(
    run: Run, own: Path, found: Proposal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody may set a car to a file that looks like an answer of this run and is none."""
    known(monkeypatch, found)
    shutil.copy(own / "setup.toml", own / "alternative-3.toml")
    assert (
        run("propose", own).stderr
        == f"not of this run: {own / 'alternative-3.toml'}\n"
    )


def test_help_fits_a_narrow_terminal(run: Run) -> None:
    """Every option is told, and no line is longer than 80 places."""
    text = run("propose", "--help").stdout
    assert max(map(len, text.splitlines())) <= 80
    for name in (
        "floor",
        "weights",
        "keep",
        "robust",
        "alternatives",
        "study",
        "starts",
        "seed",
        "out",
    ):
        assert f"--{name} " in text
