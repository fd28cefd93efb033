"""The wheel: what is in it, and that it works where the repository is not."""

from __future__ import annotations

import json
import os
import pickle
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

import setupopt
from setupopt.api import SheetOptions
from setupopt.cli.main import COMMANDS
from setupopt.cli.start import _RESULTS

pytest.importorskip("hatchling", reason="nothing here to build with")

ROOT = Path(__file__).parents[1]


def build(kind: str, source: Path, folder: Path) -> Path:
    """The wheel or the source archive of a folder, made as installers make it, without the network."""
    command = [
        sys.executable,
        "-m",
        "hatchling",
        "build",
        "-t",
        kind,
        "-d",
        str(folder),
    ]
    subprocess.run(command, cwd=source, capture_output=True, check=True)
    (made,) = folder.iterdir()
    return made


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from this repository."""
    return build("wheel", ROOT, tmp_path_factory.mktemp("wheel"))


def names(wheel: Path) -> set[str]:
    """Files in a wheel but those about it."""
    with zipfile.ZipFile(wheel) as archive:
        return {
            name for name in archive.namelist() if ".dist-info/" not in name
        }


def test_wheel_holds_the_package_and_the_examples_and_no_more(
    wheel: Path,
) -> None:
    """Every file of the package, of any kind; examples and pages inside it; no tests, nothing compiled."""
    package = {
        path.relative_to(ROOT)
        for path in (ROOT / "setupopt").rglob("*")
        if path.is_file()
    }
    examples = {
        path.relative_to(ROOT) for path in (ROOT / "setups").rglob("*.toml")
    }
    results = {path for path in examples if path.parts[2] in _RESULTS}
    wanted = {str(path) for path in package if "__pycache__" not in path.parts}
    wanted |= {f"setupopt/{path}" for path in examples - results}
    wanted |= {
        f"setupopt/{path.relative_to(ROOT)}"
        for path in (ROOT / "docs").rglob("*")
        if path.is_file()
    }
    assert {
        name for name in names(wheel) if Path(name).name not in _RESULTS
    } == wanted
    assert {Path(name).suffix for name in wanted} >= {".py", ".typ", ".toml"}


def test_wheel_of_the_source_archive_is_the_same(
    wheel: Path, tmp_path: Path
) -> None:
    """What is published as source holds all that the package is built from."""
    archive = build("sdist", ROOT, tmp_path / "sdist")
    with tarfile.open(archive) as files:
        files.extractall(tmp_path / "source", filter="data")
    (source,) = (tmp_path / "source").iterdir()
    assert (source / "tests" / "test_wheel.py").exists()
    assert names(build("wheel", source, tmp_path / "again")) == names(wheel)


@pytest.fixture(scope="module")
def elsewhere(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command, installed from the wheel in an environment that sees the packages of this one.

    Installing is unpacking, and a start file for the entry point; an installer would want the network or a
    package of its own. The packages are seen by a path file, which leads to no path files of theirs: not to
    the repository.
    """
    home = tmp_path_factory.mktemp("elsewhere") / "env"
    venv.create(home, symlinks=True)
    paths = sysconfig.get_paths(
        scheme="venv", vars={"base": str(home), "platbase": str(home)}
    )
    site, scripts = Path(paths["purelib"]), Path(paths["scripts"])
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
        (about,) = (
            name
            for name in archive.namelist()
            if name.endswith("entry_points.txt")
        )
        entry = archive.read(about).decode().split("setupopt = ")[1].strip()
    (site / "packages.pth").write_text(sysconfig.get_paths()["purelib"])
    module, _, function = entry.partition(":")
    program = scripts / "setupopt"
    program.write_text(
        f"#!{scripts / 'python'}\nimport sys\nfrom {module} import {function}\nsys.exit({function}())\n"
    )
    program.chmod(0o755)
    return program


def surroundings() -> dict[str, str]:
    """Environment of the installed command: no path to the repository, and nothing is compiled.

    In a new place the kernels would be compiled anew, which takes longer than a case or two without.
    """
    kept = {
        name: value
        for name, value in os.environ.items()
        if name != "PYTHONPATH"
    }
    return kept | {"NUMBA_DISABLE_JIT": "1"}


def run(program: Path, folder: Path, *args: str) -> str:
    """What the installed command prints, run in a folder that has nothing to do with the repository."""
    done = subprocess.run(
        [str(program), *args],
        cwd=folder,
        capture_output=True,
        text=True,
        env=surroundings(),
        check=False,
    )
    assert done.returncode in (0, 1) and "Traceback" not in done.stderr, (
        done.stderr
    )
    return done.stdout


def test_installed_command_is_not_the_repository(
    elsewhere: Path, tmp_path: Path
) -> None:
    """What follows would prove nothing if it were."""
    code, python = (
        "import setupopt; print(setupopt.__file__)",
        str(elsewhere.parent / "python"),
    )
    done = subprocess.run(
        [python, "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env=surroundings(),
        check=True,
    )
    assert Path(done.stdout.strip()).is_relative_to(elsewhere.parents[1])
    assert (
        run(elsewhere, tmp_path, "--version").split()[1] == setupopt.__version__
    )
    assert all(
        f"  {name} " in run(elsewhere, tmp_path, "--help") for name in COMMANDS
    )


def test_installed_command_goes_from_an_example_to_a_report(
    elsewhere: Path, tmp_path: Path
) -> None:
    """Examples, kernels and page are found; one load case, as kernels that are not compiled take half a
    second each."""
    listed = run(elsewhere, tmp_path, "start", "--list")
    names = [line[:10].strip() for line in listed.splitlines()[1:]]
    assert {"bore", "bank", "hill"} <= set(names)
    run(elsewhere, tmp_path, "start", "bore", "--example", "bore")
    assert (tmp_path / "bore" / "limits.toml").exists()
    keep_one_case(tmp_path / "bore")
    (tmp_path / "bore" / "limits.toml").unlink()  # no search for prices
    found = json.loads(run(elsewhere, tmp_path, "report", "bore", "--json"))
    assert found["today"]["assessment"]["cases"] == 1
    assert "</html>" in (tmp_path / "bore" / "report.html").read_text(
        encoding="utf-8"
    )


def keep_one_case(project: Path) -> None:
    """Straight on, at the bottom of the section."""
    venue = project / "venue.toml"
    swept, _, _ = venue.read_text().partition("[[attitude]]")
    venue.write_text(
        swept.replace("to = 180, step = 5", "to = 0, step = 5")
        + '[[attitude]]\nname = "straight"\n'
    )


PRINT = """
import pickle, sys
from setupopt.report.sheet.pdf import pdf
sys.stdout.buffer.write(pdf(pickle.load(sys.stdin.buffer)))
"""


def test_installed_package_prints_a_sheet(
    elsewhere: Path, tmp_path: Path
) -> None:
    """Template and fonts are found. The sheet is made here, where kernels are compiled, and handed over."""
    shutil.copytree(ROOT / "setups" / "bore", tmp_path / "bore")
    keep_one_case(tmp_path / "bore")
    sheet = setupopt.sheet(
        setupopt.load(tmp_path / "bore"), SheetOptions(date="2026-01-02")
    )
    done = subprocess.run(
        [str(elsewhere.parent / "python"), "-c", PRINT],
        cwd=tmp_path, input=pickle.dumps(sheet), capture_output=True, env=surroundings(),
        check=True,
    )  # fmt: skip
    assert done.stdout.startswith(b"%PDF-")
    assert b"DejaVu" in done.stdout
