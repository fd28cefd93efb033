"""Whole commands on spoilt files: their exit status, their words, and what they leave on the disk."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from random import Random

from click.testing import CliRunner, Result
from short_proofs import SHORTEST as QUICK

from setupopt.cli.main import group

from .inputs import BODY, Input
from .mutations import spoilt

# For each file commands that read it; "@" is the project's folder.
LINES: dict[str, tuple[tuple[str, ...], ...]] = {
    "car.toml": (
        ("assess", "@"),
        ("sheet", "@"),
        ("fit", "air", "@/tunnel.csv", "--like", "@"),
    ),
    "venue.toml": (("speeds", "@"), ("assess", "@"), ("prove", "@", *QUICK)),
    "setup.toml": (
        ("compare", "@", "--as-is"),
        ("readback", "@", "@/measured.csv"),
        ("assess", "@", "--json"),
    ),
    "limits.toml": (("assess", "@"), ("sheet", "@")),
    BODY: (("compare", "@", "--as-is"), ("sheet", "@")),
    "cases.csv": (("assess", "@", "--cases", "@/cases.csv"),),
    "rig.csv": (("fit", "tyre", "@/rig.csv"),),
    "tunnel.csv": (("fit", "air", "@/tunnel.csv", "--like", "@"),),
    "road.csv": (("prove", "@", "--profile", "@/road.csv", *QUICK),),
    "measured.csv": (("readback", "@", "@/measured.csv"),),
    "measured.toml": (("readback", "@", "@/measured.toml"),),
    "revisions.csv": (("sheet", "@"),),
}


def run(home: Path, line: Sequence[str], out: Path) -> Result:
    """One command in this process, its files in `out`."""
    words = [word.replace("@", str(home)) for word in line]
    return CliRunner().invoke(
        group, [*words, "--out", str(out)], prog_name="setupopt"
    )


def faults(home: Path, line: Sequence[str], out: Path) -> list[str]:
    """Run a command; what it should not have done."""
    shutil.rmtree(out, ignore_errors=True)
    done, found = run(home, line, out), []
    if not (done.exception is None or isinstance(done.exception, SystemExit)):
        found.append(f"raised {done.exception!r}")
    if done.exit_code not in (0, 1, 2):
        found.append(f"status {done.exit_code}")
    if "Traceback" in done.output:
        found.append("a traceback")
    if done.exit_code == 2 and str(home) not in done.output:
        found.append(f"no file named: {done.output[:200]}")
    if done.exit_code == 2 and out.exists():
        found.append(f"refused, but wrote {sorted(out.rglob('*'))}")
    return found + [f"left {path}" for path in home.parent.rglob("*.tmp")]


def fuzz_commands(
    home: Path, inputs: Sequence[Input], count: int, seed: int
) -> list[str]:
    """So many whole commands, each on a project with one spoilt file; all their faults."""
    random, found = Random(seed), []
    told = [one for one in inputs if one.file in LINES]
    for turn in range(count):
        one = told[turn % len(told)]
        line = LINES[one.file][turn // len(told) % len(LINES[one.file])]
        (home / one.file).write_bytes(
            spoilt(one.raw, [other.raw for other in inputs], random)
        )
        found += [
            f"{' '.join(line)}, {one.file}, turn {turn}: {f}"
            for f in faults(home, line, home.parent / "out")
        ]
        (home / one.file).write_bytes(one.raw)
        (home / "revisions.csv").write_bytes(
            next(i.raw for i in inputs if i.file == "revisions.csv")
        )
    return found
