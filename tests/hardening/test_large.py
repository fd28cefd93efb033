"""Tables beyond what anybody measures are refused in little memory; a million cases: see the benchmarks."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROWS = 1_000_000
MEMORY = 500_000_000  # bytes; a third of what a large table may take
_SCRIPT = """
import sys
from pathlib import Path
from setupopt.errors import UserError
from setupopt.fit.tyre_table import Rig, read_tyre_table
from setupopt.project.measured_file import read_measured
kind, path = sys.argv[1], Path(sys.argv[2])
try:
    read_tyre_table(path, Rig()) if kind == "rig" else read_measured(path)
except UserError as refused:
    print(str(refused)[:300])
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1] + "000")
"""
TABLES = {
    "rig": (
        "load_N,inclination_deg,pressure_bar,deflection_mm\n",
        "3000,1.5,1.5,12.25\n",
    ),
    "found": ("quantity,unit,fl,fr,rl,rr\n", "camber_deg,deg,-2,-2,-2,-2\n"),
}
ODD = [
    "a," * 5_000_000,
    '"' + "\n" * 3_000_000,
    "x" * 30_000_000,
    "\n" * 9_000_000,
]


def refused(kind: str, path: Path) -> tuple[str, int]:
    """What a process says that reads a table, and the most memory that it had, bytes."""
    command = [sys.executable, "-c", _SCRIPT, kind, str(path)]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=300, check=True
    )
    *words, most = done.stdout.splitlines()
    return " ".join(words), int(most)


@pytest.mark.parametrize("kind", TABLES)
def test_a_million_rows(tmp_path: Path, kind: str) -> None:
    """Refused, with the most that is read."""
    head, row = TABLES[kind]
    path = tmp_path / "large.csv"
    path.write_text(head + row * ROWS)
    words, most = refused(kind, path)
    assert words.startswith(str(path)) and "at most 100000 rows" in words
    assert most < MEMORY


@pytest.mark.parametrize(
    "text", ODD, ids=["columns", "an open quote", "one line", "blank lines"]
)
def test_a_file_without_lines_or_of_nothing_else(
    tmp_path: Path, text: str
) -> None:
    """Refused by name."""
    path = tmp_path / "odd.csv"
    path.write_text(text)
    words, most = refused("found", path)
    assert words.startswith(str(path))
    assert most < MEMORY
