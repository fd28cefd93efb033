"""How long asking for help takes, against a bare interpreter that imports click."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from pathlib import Path

RUNS = 40
MOST = 1.5


def test_help_answers_at_once() -> None:
    """Medians of runs in turn, so that what else the machine does falls on both alike."""
    command = shutil.which("setupopt", path=str(Path(sys.executable).parent))
    assert command is not None, (
        "the package is installed beside the interpreter"
    )
    bare = [sys.executable, "-c", "import click"]
    asked = {
        "bare": bare,
        "--help": [command, "--help"],
        "assess --help": [command, "assess", "--help"],
    }
    seconds: dict[str, list[float]] = {name: [] for name in asked}
    for _ in range(RUNS):
        for name, line in asked.items():
            start = time.perf_counter()
            subprocess.run(line, stdout=subprocess.DEVNULL, check=True)
            seconds[name].append(time.perf_counter() - start)
    medians = {
        name: sorted(taken)[RUNS // 2] for name, taken in seconds.items()
    }
    print()
    for name, median in medians.items():
        print(
            f"{name:<15}{1000 * median:6.1f} ms  {median / medians['bare']:5.2f} times bare"
        )
    assert medians["--help"] <= MOST * medians["bare"]
