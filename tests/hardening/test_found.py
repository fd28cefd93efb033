"""What fuzzing has found, each by itself: once a hang, a trace of the program, or noise."""

from __future__ import annotations

import io
import json
import os
import warnings
from pathlib import Path
from xml.etree import ElementTree

import pytest

from setupopt.errors import InputErrors, OutputError
from setupopt.project import load
from setupopt.project.csv_read import Column, read_csv
from setupopt.project.field_types import Bounds
from setupopt.project.stored_proof import proof_file, stored_proof
from setupopt.project.toml_file import read_toml
from setupopt.report.shared.picture import drawing, svg
from setupopt.sheet.revisions import LOG, MOST_BYTES, Revision, reserve

from .inputs import kept_fields

LINE = Revision(
    0, "2026-01-31", "A. Nobody", "baseline", "0" * 12, "0.1", "nothing"
)
# Each took minutes, or all memory: work that grows with the square of the length
ENDLESS = {
    "text never closed": 'name = """' + '\\"""' * 50_000,
    "line never closed": 'name = "' + '\\"' * 100_000,
    "key of many parts": "a." * 50_000 + "b = 1",
    "header of many parts": "[" + "a." * 50_000 + "b]",
    "header that is no header": "[fron" + "{a=" * 50_000 + "t]\nx = 1",
    "nested lists": "a = " + "[" * 100_000,
}


@pytest.mark.parametrize("text", ENDLESS.values(), ids=ENDLESS)
def test_endless_texts_are_refused(tmp_path: Path, text: str) -> None:
    """In words of a sensible length."""
    path = tmp_path / "car.toml"
    path.write_text(text)
    with pytest.raises(InputErrors) as refused:
        read_toml(path)
    assert str(refused.value).startswith(str(path))
    assert len(str(refused.value)) < len(str(path)) + 400


PLACES: list[tuple[str | int, ...]] = [
    ("floor",), ("holds",), ("cases", 0, "bump_mm"), ("wind", 0, "from_deg"), ("wind", 0, "gust_m_s"),
    ("cases",), ("wind",), ("verdicts", 0, "what"), ("cases", 0, "attitude"),
]  # fmt: skip
DAMAGE: list[object] = [10**400, float("nan"), "3", [], {"a": 1}]
TEXTS = (
    ("verdicts", 0, "what"),
    ("cases", 0, "attitude"),
)  # a text in their place is no damage that shows


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (path, value)
        for path in PLACES
        for value in DAMAGE
        if not (path in TEXTS and isinstance(value, str))
    ],
)
def test_a_damaged_proof_is_none(
    home: Path, path: tuple[str | int, ...], value: object
) -> None:
    """No figure of it comes onto a run card; an undamaged one does."""
    project = load(home)
    file = proof_file(project, project.setup)
    fields = kept_fields(file.stem)
    file.write_text(json.dumps(fields))
    assert stored_proof(project, project.setup) == fields
    *way, last = path
    inner: object = fields
    for part in way:
        inner = inner[part]  # type: ignore[index]
    assert inner[last] != value  # type: ignore[index]
    inner[last] = value  # type: ignore[index]
    file.write_text(json.dumps(fields))
    assert stored_proof(project, project.setup) is None


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project with a place for proofs."""
    from project.good_folder import write_folder

    folder = write_folder(tmp_path_factory.mktemp("proved") / "project")
    (folder / "proved").mkdir()
    return folder


def test_a_proof_nested_too_deep_is_none(home: Path) -> None:
    """Python's own reader gives up on it in a way of its own."""
    project = load(home)
    proof_file(project, project.setup).write_text("[" * 100_000)
    assert stored_proof(project, project.setup) is None


def test_a_log_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    """A cell of more than the csv module takes; the log is named, not written over."""
    (tmp_path / LOG).write_text("revision,checksum\n1," + "x" * 200_000)
    with pytest.raises(OutputError, match=LOG):
        reserve(tmp_path, LINE)


def test_a_header_of_thousands_of_columns_is_one_mistake(
    tmp_path: Path,
) -> None:
    """Each was looked up among the known names, at a millisecond each."""
    (tmp_path / "t.csv").write_text(
        ",".join(f"c{i}" for i in range(50_000)) + "\n1\n"
    )
    with pytest.raises(InputErrors) as refused:
        read_csv(tmp_path / "t.csv", {"load_N": Column(Bounds(0, 1, "N"))})
    assert [error.found for error in refused.value.errors] == ["50000 columns"]


@pytest.mark.parametrize(
    "name",
    ["\U0001f697", "\udcff", "\uffff", "$\\frac{1$", "a & <b>", "\u4e2d"],
)
def test_any_name_can_be_drawn(name: str) -> None:
    """Without a warning, and as XML; a letter that is one comes out as it went in."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with drawing(4.0, 3.0) as (figure, axes):
            axes.set_title(name)
            text = svg(figure)
    told = {
        "".join(node.itertext())
        for node in ElementTree.parse(io.StringIO(text)).iter()
    }
    assert any(
        (name if name[0] not in "\udcff\uffff" else "\ufffd") in words
        for words in told
    )


def made_endless(path: Path, kind: str) -> None:
    """A FIFO that nobody writes to, or a link to a device without an end."""
    path.unlink(missing_ok=True)
    os.mkfifo(path) if kind == "fifo" else path.symlink_to("/dev/zero")


@pytest.mark.parametrize("kind", ["fifo", "device"])
def test_a_log_or_proof_without_an_end(
    home: Path, tmp_path: Path, kind: str
) -> None:
    """Once it was waited for, or read until the memory was full: the log is refused, the proof is none."""
    made_endless(tmp_path / LOG, kind)
    with pytest.raises(OutputError, match="not a file"):
        reserve(tmp_path, LINE)
    project = load(home)
    made_endless(proof_file(project, project.setup), kind)
    assert stored_proof(project, project.setup) is None
    proof_file(project, project.setup).unlink()


def test_a_log_of_very_many_bytes(tmp_path: Path) -> None:
    """Refused, and not read."""
    with (tmp_path / LOG).open("wb") as log:
        log.truncate(MOST_BYTES + 1)
    with pytest.raises(OutputError, match="more than"):
        reserve(tmp_path, LINE)
