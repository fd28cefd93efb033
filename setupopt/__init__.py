"""Setups for high-downforce cars on curved, banked and flat surfaces, by their worst grip margin.

>>> import setupopt
>>> project = setupopt.load("setups/bore")                  # doctest: +SKIP
>>> setupopt.evaluate(project).worst_margin                 # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from setupopt.evaluation.cases import CaseSet, sweep_cases
    from setupopt.evaluation.model import evaluate
    from setupopt.evaluation.result import Result
    from setupopt.project import Project, Setup, load
    from setupopt.search import Proposal, ProposalOptions, propose
    from setupopt.search.comparison import Comparison, ComparisonOptions, compare

__version__ = "0.1.0"
__all__ = [
    "CaseSet",
    "Comparison",
    "ComparisonOptions",
    "Project",
    "Proposal",
    "ProposalOptions",
    "Result",
    "Setup",
    "compare",
    "evaluate",
    "load",
    "propose",
    "sweep_cases",
]

_HOMES = {
    "ProposalOptions": "setupopt.search",
    "CaseSet": "setupopt.evaluation.cases",
    "Comparison": "setupopt.search.comparison",
    "ComparisonOptions": "setupopt.search.comparison",
    "Project": "setupopt.project",
    "Proposal": "setupopt.search",
    "Result": "setupopt.evaluation.result",
    "Setup": "setupopt.project",
    "compare": "setupopt.search.comparison",
    "evaluate": "setupopt.evaluation.model",
    "load": "setupopt.project",
    "propose": "setupopt.search",
    "sweep_cases": "setupopt.evaluation.cases",
}


def __getattr__(name: str) -> Any:
    """Import on first use: asking for help must not wait for compilers and solvers."""
    if name not in _HOMES:
        raise AttributeError(f"module 'setupopt' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
