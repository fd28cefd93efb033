"""Commands in a process of their own, which a disk, a language or a signal may be hard on."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

# Run in the process: the lines on standard input, for each the bytes that a file may have; the language.
_SCRIPT = """
import json, locale, resource, sys
from click.testing import CliRunner
from setupopt.cli.main import group
asked = json.load(sys.stdin)
if asked["language"]:
    locale.setlocale(locale.LC_ALL, asked["language"])
for line, most in zip(asked["lines"], asked["most"], strict=True):
    none = resource.RLIM_INFINITY
    resource.setrlimit(resource.RLIMIT_FSIZE, (most or none, none))
    done = CliRunner().invoke(group, line, prog_name="setupopt")
    odd = None if isinstance(done.exception, SystemExit) else done.exception
    print(json.dumps([done.exit_code, done.output, repr(odd) if odd else ""]), flush=True)
"""


class Done(NamedTuple):
    """How one command ended; `odd`: what came out of it that is no exit."""

    status: int
    output: str
    odd: str


def run_apart(
    lines: Sequence[Sequence[str | Path]],
    most: Sequence[int] = (),
    language: str = "",
    **environment: str,
) -> list[Done]:
    """Every command line in turn. `most`: for each, bytes after which the system refuses more of any file."""
    words = [[str(word) for word in line] for line in lines]
    asked = {
        "lines": words,
        "most": [*most] or [0] * len(words),
        "language": language,
    }
    done = subprocess.run(
        [sys.executable, "-c", _SCRIPT], input=json.dumps(asked), capture_output=True, text=True, timeout=300,
        env=os.environ | environment, check=True,
    )  # fmt: skip
    return [Done(*json.loads(line)) for line in done.stdout.splitlines()]


def files_in(folder: Path) -> dict[str, bytes]:
    """Every file under a folder by its name there."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
