"""Tables as spreadsheets write and read them: formulas, decimal commas, other marks, other languages."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from cli import folders
from click.testing import CliRunner, Result
from project.good_folder import FILES
from short_proofs import SHORTEST, UNREACHED

from setupopt.cli.main import group
from setupopt.project.csv_write import csv_text, frame_text

from .apart import files_in, run_apart
from .inputs import CASES, MEASURED
from .test_disks import DAY

FORMULA = '=HYPERLINK("http://nowhere.invalid")'


@pytest.fixture
def held(tmp_path: Path) -> Path:
    """A project whose every case holds."""
    return folders.held(tmp_path / "project")


def run(*words: str | Path) -> Result:
    """A command in this process."""
    return CliRunner().invoke(
        group, [str(word) for word in words], prog_name="setupopt"
    )


def cells(text: str) -> list[str]:
    """All cells of a table, as a spreadsheet takes them in."""
    return [cell for row in csv.reader(io.StringIO(text)) for cell in row]


def is_run(cell: str) -> bool:
    """Whether a spreadsheet would run a cell: https://owasp.org/www-community/attacks/CSV_Injection."""
    try:
        float(cell)
    except ValueError:
        return cell[:1] in (
            "=",
            "+",
            "-",
            "@",
            "\t",
            "\r",
            "\uff1d",
            "\uff0b",
            "\uff0d",
            "\uff20",
        )
    return False


@pytest.mark.parametrize(
    "mark", ["=", "+", "-", "@", "\t=", "\r=", "\n@", " =", "\uff1d", "\uff20"]
)
def test_no_text_cell_is_run(mark: str) -> None:
    """In rows and in frames; numbers, truth and what is missing stay what they are."""
    text = f"{mark}1+cmd"
    rows = csv_text(
        ["name", "margin", "safe"], [[text, -0.1, True], ["a", None, False]]
    )
    frame = frame_text(
        pd.DataFrame(
            {"name": [text, "a"], "margin": [-0.1, None], "safe": [True, False]}
        )
    )
    assert not any(map(is_run, cells(rows) + cells(frame)))
    assert cells(rows)[4:] == ["-0.1", "true", "a", "", "false"]
    assert cells(frame)[4:] == ["-0.1", "True", "a", "", "False"]


def test_no_command_writes_a_cell_that_is_run(
    held: Path, tmp_path: Path
) -> None:
    """Names of setup, attitudes, bodies and cases that are formulas, in every table that is written."""
    (held / "setup.toml").write_text(
        (held / "setup.toml").read_text().replace("baseline", "@SUM(1+1)")
    )
    venue = (held / "venue.toml").read_text()
    (held / "venue.toml").write_text(
        venue.replace('"braking"', f"'{FORMULA}'").replace("steady", "-2+3")
    )
    names = ("+1+1", "@A1", "=A1")
    rows = "".join(f"{name},{10 * row},60\n" for row, name in enumerate(names))
    (tmp_path / "cases.csv").write_text(
        f"name,roll_angle_deg,speed_m_s\n{rows}"
    )
    (held / "limits.toml").write_text(
        FILES["limits.toml"].replace('"steady"', '"-2+3"')
    )
    (held / "bodies").mkdir()
    car = (held / "car.toml").read_text()
    (held / "bodies" / "-3-2.toml").write_text(
        car[car.index("[air]") : car.index("[[clearance]]")]
    )
    out = tmp_path / "out"
    quick = (*UNREACHED, *SHORTEST)
    for line in (
        ["assess", held], ["assess", held, "--cases", tmp_path / "cases.csv", "--cases-out", out / "own.csv"],
        ["compare", held, "--as-is"], ["speeds", held], ["sheet", held, *DAY], ["prove", held, *quick],
    ):  # fmt: skip
        out.mkdir(exist_ok=True)
        done = run(*line, "--out", out)
        assert done.exit_code in (0, 1), done.output
    tables = [*out.rglob("*.csv"), *held.rglob("*.csv")]
    assert {path.name.partition("-")[0].partition(".")[0] for path in tables} >= {
        "cases", "own", "compare", "speeds", "sheet", "revisions", "prove",
    }  # fmt: skip
    found = {
        path.name: [cell for cell in cells(path.read_text()) if is_run(cell)]
        for path in tables
    }
    assert not any(found.values()), found
    assert f"'{FORMULA}" in (out / "cases.csv").read_text().replace('""', '"')


COMMAS = {
    "semicolons": (
        CASES.replace(",", ";").replace(".", ","),
        "line 1",
        "commas between the columns",
    ),
    "tabs": (CASES.replace(",", "\t"), "line 1", "commas between the columns"),
    "bare": (
        CASES.replace("65.5", "65,5"),
        "line 4",
        "a decimal comma starts a new cell",
    ),
    "quoted": (
        CASES.replace("65.5", '"65,5"'),
        "line 4, speed_m_s",
        "with a decimal point: 65.5",
    ),
}


@pytest.mark.parametrize("name", COMMAS)
def test_decimal_commas_in_tables(
    held: Path, tmp_path: Path, name: str
) -> None:
    """The row is named, and what to write instead; status 2."""
    text, place, instead = COMMAS[name]
    (tmp_path / "cases.csv").write_text(text)
    done = run("assess", held, "--cases", tmp_path / "cases.csv")
    assert done.exit_code == 2
    assert place in done.output and instead in done.output


def test_decimal_commas_in_a_filled_in_sheet(
    held: Path, tmp_path: Path
) -> None:
    """As a mechanic types them at home."""
    (tmp_path / "found.csv").write_text(
        MEASURED.replace("deg,-2.4", 'deg,"-2,4"')
    )
    done = run("readback", held, tmp_path / "found.csv")
    assert done.exit_code == 2
    assert "line 2, fl" in done.output and "decimal point" in done.output


@pytest.mark.parametrize(
    "file", ["car.toml", "venue.toml", "setup.toml", "limits.toml"]
)
def test_decimal_commas_in_a_project(held: Path, file: str) -> None:
    """The line, the key, and the number as it should stand, in each of the four files."""
    (held / file).write_text(
        '[front]  # wide\ncamber_deg = -3,25  # of the "day"\n'
    )
    done = run("assess", held)
    assert done.exit_code == 2
    words = " ".join(done.output.split())
    assert (
        "line 2, front.camber_deg: found -3,25, expected a number with a decimal point: -3.25"
        in words
    )


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a language that writes 1,5: made for this test, since few machines have it."""
    folder = tmp_path_factory.mktemp("language")
    if (
        shutil.which("localedef") is None
        or not Path("/usr/share/i18n/locales/de_DE").exists()
    ):
        pytest.skip(
            "no localedef, or not what it makes languages from: Debian's package locales"
        )
    subprocess.run(
        ["localedef", "-i", "de_DE", "-f", "UTF-8", folder / "de_DE.UTF-8"],
        check=True,
    )
    return folder


def test_another_language_changes_no_file(
    held: Path, tmp_path: Path, german: Path
) -> None:
    """With LC_NUMERIC of German, set in the process too, and pictures set to follow it: the same bytes."""
    (tmp_path / "matplotlibrc").write_text(
        "axes.formatter.use_locale: True\nfont.size: 30\n"
    )
    _rig(tmp_path / "rig.csv")
    plain, other = tmp_path / "plain", tmp_path / "german"

    def lines(out: Path) -> list[list[str | Path]]:
        rig = ["fit", "tyre", tmp_path / "rig.csv", "--out", out]
        return [
            ["assess", held, "--out", out],
            ["sheet", held, *DAY, "--out", out],
            rig,
        ]

    for line in lines(plain):
        assert run(*line).exit_code in (0, 1)
    language = "de_DE.UTF-8"
    own = {
        "LC_ALL": language,
        "LOCPATH": str(german),
        "MATPLOTLIBRC": str(tmp_path),
    }
    done = run_apart(lines(other), language=language, **own)
    assert all(one.status in (0, 1) and not one.odd for one in done), done
    assert files_in(plain) == files_in(other)
    assert len(files_in(plain)) > 10


def _rig(path: Path) -> None:
    rows = [
        f"{load},{lean},1.5,{load / 150:.2f}"
        for load in (1500, 3000, 4500)
        for lean in (-3, 0, 3)
    ]
    path.write_text(
        "\n".join(["load_N,inclination_deg,pressure_bar,deflection_mm", *rows])
        + "\n"
    )
