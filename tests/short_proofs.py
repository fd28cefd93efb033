"""Options of `prove` with which a test need not wait: few roads, rides, builds and directions of wind."""

from __future__ import annotations

SHORT = (
    "--seeds", "4", "--seconds", "2", "--ride-cases", "1", "--builds", "16", "--directions", "4",
)  # fmt: skip
SHORTEST = (
    "--seeds", "2", "--seconds", "1", "--ride-cases", "1", "--builds", "4", "--directions", "4",
)  # fmt: skip
# Under a floor that no case reaches there is no bump and no gust to search
UNREACHED = ("--floor", "0.99")
