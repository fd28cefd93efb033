"""Programs in a process of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

MAIN = "from setupopt.cli.main import main; main()"
COMMAND = (sys.executable, "-c", MAIN)


def python(
    code: str, where: Path | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    """A few lines of Python that must end well, in the folder `where`."""
    return subprocess.run(
        [sys.executable, "-c", code], cwd=where, env=os.environ | environment,
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
