"""Tables of a million rows that are taken: prints the most memory that each takes, and the seconds."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

ROWS = 1_000_000
MEMORY = {"road": 1_500_000_000, "cases": 400_000_000}  # bytes
BORE = Path(__file__).resolve().parents[2] / "setups" / "bore"
_CASES = """
import sys
import setupopt
print(len(setupopt.case_file(sys.argv[1], setupopt.load(sys.argv[2]))), "cases")
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1] + "000")
"""
_ROAD = """
import sys
from setupopt.robust.road.profile import fitted_road, read_profile, roughness_index, without_hills
tracks = without_hills(read_profile(sys.argv[1]))
print(tracks.heights.size, "points,", fitted_road(tracks), roughness_index(tracks))
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1] + "000")
"""
_ASSESS = """
import sys
from click.testing import CliRunner
from setupopt.cli.main import group
words = ["assess", sys.argv[2], "--cases", sys.argv[1], "--cases-out", sys.argv[1] + ".out", "--quiet"]
done = CliRunner().invoke(group, words, prog_name="setupopt")
print("status", done.exit_code, done.output[:200].splitlines()[:1])
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1] + "000")
"""


def cases(path: Path, rows: int) -> None:
    """Load cases on the lower half of the section."""
    with path.open("w") as file:
        file.write("name,roll_angle_deg,speed_m_s,bump_fl_mm\n")
        file.writelines(f"c{i},{i % 90},50,{i % 5}\n" for i in range(rows))


def road(path: Path, rows: int) -> None:
    """A road of steps of 50 mm."""
    with path.open("w") as file:
        file.write("distance_m,height_mm\n")
        file.writelines(f"{i / 20:.2f},{i % 7}\n" for i in range(rows))


@pytest.mark.parametrize(
    ("script", "table", "rows"),
    [(_CASES, cases, ROWS), (_ROAD, road, ROWS), (_ASSESS, cases, ROWS // 10)],
    ids=[
        "a million cases",
        "a million points of road",
        "a hundred thousand cases assessed",
    ],
)
def test_large_tables(
    tmp_path: Path, script: str, table: Callable[[Path, int], None], rows: int
) -> None:
    """In a process of its own."""
    path, began = tmp_path / "large.csv", time.perf_counter()
    table(path, rows)
    command = [sys.executable, "-c", script, str(path), str(BORE)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    *words, most = done.stdout.splitlines()
    print(
        f"\n{rows} rows: {' '.join(words)}, {int(most) / 1e6:.0f} MB, {time.perf_counter() - began:.0f} s"
    )
    assert int(most) < MEMORY[table.__name__]
