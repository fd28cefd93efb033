"""How Hypothesis runs here: no deadline, nothing kept from run to run, fixtures that many examples share."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

FUZZED = settings(
    deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
