"""A file of cases is assessed in pieces: the answer is that of all cases at once, whatever is kept of them."""

from __future__ import annotations

from pathlib import Path
from random import Random

import numpy as np
import pytest

import setupopt
from setupopt.evaluation import counts
from setupopt.evaluation.assessment import Assessment, assess, csv_text
from setupopt.evaluation.case_file import CaseFile, case_file
from setupopt.evaluation.would_hold import would_hold
from setupopt.physics import sweep
from setupopt.project import Project, load
from setupopt.report.assess.text import text

BORE = Path(__file__).parents[2] / "setups" / "bore"
COUNT = 60


@pytest.fixture(scope="module")
def bore() -> Project:
    """The example."""
    return load(BORE)


@pytest.fixture(scope="module")
def file(bore: Project, tmp_path_factory: pytest.TempPathFactory) -> CaseFile:
    """Cases with twelve names at ten angles; in some of them a wheel is in the air, the car slides in two."""
    path = tmp_path_factory.mktemp("cases") / "cases.csv"
    chance = Random(1)
    rows = [
        f"n{chance.randrange(12)},{10 * chance.randrange(1, 11)},{chance.choice((44, 52))},{chance.choice((0, 3))}\n"
        for _ in range(COUNT - 2)
    ]
    rows[40:40] = ["n3,110,36,3\n", "n4,110,39,3\n"]
    path.write_text(
        "name,roll_angle_deg,speed_m_s,crosswind_m_s\n" + "".join(rows)
    )
    return case_file(path, bore)


def pieces(
    bore: Project,
    file: CaseFile,
    apart: int,
    size: int,
    monkeypatch: pytest.MonkeyPatch,
) -> tuple[Assessment, str]:
    """The assessment and the table of cases, `apart` names and angles told apart, `size` cases at a time."""
    monkeypatch.setattr(counts, "MOST_APART", apart)
    monkeypatch.setattr(sweep, "at_a_time", lambda: size)
    table: list[str] = []
    found = assess(
        bore,
        file,
        0.2,
        take=lambda part: table.append(csv_text(part, head=not table)),
    )
    return found, "".join(table)


@pytest.fixture(scope="module")
def whole(bore: Project, file: CaseFile) -> Assessment:
    """All cases at once."""
    (cases,) = file.pieces()
    return assess(bore, cases, 0.2)


@pytest.mark.parametrize(("apart", "size"), [(1000, 7), (12, 25)])
def test_pieces_are_the_whole(
    bore: Project,
    file: CaseFile,
    whole: Assessment,
    apart: int,
    size: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every number to the last bit, the words and the table: with all cases kept, and with few of them."""
    assert whole.result.sliding() == 2
    assert whole.result.in_air.any()
    found, table = pieces(bore, file, apart, size, monkeypatch)
    assert (len(found.result.cases) < COUNT) == (apart < COUNT)
    assert found.as_dict() == whole.as_dict()
    assert text(found, 80) == text(whole, 80)
    if size == 25:
        assert found.sensitivities == whole.sensitivities
    assert table == csv_text(whole.result)


def test_too_many_names_and_angles(
    bore: Project,
    file: CaseFile,
    whole: Assessment,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The verdict, the counts and the lowest cases are the same; angles are told apart by whole degrees."""
    few, _ = pieces(bore, file, 5, 7, monkeypatch)
    again, _ = pieces(bore, file, 5, 25, monkeypatch)
    assert text(few, 80) == text(again, 80)
    assert few.as_dict() == again.as_dict()
    assert few.result.counted().names is None
    same = few.as_dict() | {"wheels_in_air": whole.as_dict()["wheels_in_air"]}
    assert same == whole.as_dict()  # the angles are whole degrees here
    (lifted,) = few.as_dict()["wheels_in_air"]
    every = whole.as_dict()["wheels_in_air"]
    assert lifted["cases"] == sum(row["cases"] for row in every)
    assert lifted["to_deg"] == max(row["to_deg"] for row in every)
    worst = np.sort(whole.result.ranked[0])[:2]
    for margin in worst:
        assert f"{margin:.3f}" in text(few, 80)


def test_pieces_are_evaluated(
    bore: Project, file: CaseFile, whole: Assessment
) -> None:
    """Each by itself, with the numbers of the file; two setups at a time too."""
    rows = 0
    for piece in file.pieces(25):
        found = setupopt.evaluate(bore, [bore.setup, bore.setup], piece)
        own = whole.result.margin[0, rows : rows + len(piece)]
        assert np.array_equal(found.margin, [own, own], equal_nan=True)
        assert found.frame()["case"].tolist() == list(
            range(rows + 1, rows + len(piece) + 1)
        )
        rows += len(piece)
    assert rows == COUNT


def test_a_file_that_changes_is_refused(bore: Project, tmp_path: Path) -> None:
    """Between the first reading and the second."""
    path = tmp_path / "cases.csv"
    path.write_text("roll_angle_deg,speed_m_s\n10,50\n20,50\n")
    file = case_file(path, bore)
    path.write_text("roll_angle_deg,speed_m_s\n10,50\n")
    with pytest.raises(Exception, match="found 1 rows, expected 2, as before"):
        assess(bore, file)


def test_what_would_hold_is_asked_of_the_whole_file(
    bore: Project, file: CaseFile, whole: Assessment
) -> None:
    """A change that holds the cases that are kept is checked on every case of the file."""
    sliding = np.flatnonzero(whole.result.answers["slides"][0])
    milder = whole.result.pick([max(sliding, key=whole.result.margin[0].item)])
    alone, asked = would_hold(bore, milder), would_hold(bore, milder, file)
    assert alone is not None and asked is not None
    assert whole.would_hold is not None
    assert alone.faster_m_s < whole.would_hold.faster_m_s
    assert asked.faster_m_s == whole.would_hold.faster_m_s
