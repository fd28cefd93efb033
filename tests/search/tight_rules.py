"""Rules of the engine for published problems."""

from __future__ import annotations

from setupopt.search.engine.maxmin import TrustRegionOptions

# Tight rules: these problems are asked for to 1e-6, more than a setup needs.
TIGHT = TrustRegionOptions(
    least_gain=1e-9,
    least_rise=1e-8,
    least_radius=1e-8,
    most_steps=400,
    probe=1e-7,
)
