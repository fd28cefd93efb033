"""What the tests of jobs share."""

from __future__ import annotations

from robust.conftest import bore

__all__ = ["bore"]
