"""Writes docs/validation.md: `.venv/bin/python tests/validation`."""

from __future__ import annotations

import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "reference")]

from setupopt.files import write_whole  # noqa: E402
from validation.page import PAGE, page  # noqa: E402

write_whole(PAGE, page())
