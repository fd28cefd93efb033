"""Setups for high-downforce cars on curved, banked and flat surfaces, by their worst grip margin.

>>> import setupopt
>>> project = setupopt.load("setups/bore")                  # doctest: +SKIP
>>> setupopt.assess(project).margin                         # doctest: +SKIP
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from setupopt.api import (
        AirFitOptions,
        AssessOptions,
        ReadbackOptions,
        ReportOptions,
        SheetOptions,
        assess,
        compare,
        evaluate,
        fit_air,
        fit_tyre,
        learn,
        propose,
        prove,
        readback,
        report,
        route,
        sheet,
        speeds,
    )
    from setupopt.evaluation.case_file import CaseFile, case_file
    from setupopt.evaluation.cases import CaseSet, sweep_cases
    from setupopt.evaluation.result import Result
    from setupopt.fit.tyre_table import Rig
    from setupopt.learn.study import LearnOptions
    from setupopt.project import Project, Setup, load
    from setupopt.robust.robustness import RobustnessOptions as ProveOptions
    from setupopt.robust.speeds.study import SpeedOptions
    from setupopt.route.goal import RouteOptions
    from setupopt.search import Proposal, ProposalOptions
    from setupopt.search.comparison import Comparison, ComparisonOptions

__version__ = "0.1.0"
__all__ = [
    "AirFitOptions",
    "AssessOptions",
    "CaseFile",
    "CaseSet",
    "Comparison",
    "ComparisonOptions",
    "LearnOptions",
    "Project",
    "Proposal",
    "ProposalOptions",
    "ProveOptions",
    "ReadbackOptions",
    "ReportOptions",
    "Result",
    "Rig",
    "RouteOptions",
    "Setup",
    "SheetOptions",
    "SpeedOptions",
    "assess",
    "case_file",
    "compare",
    "evaluate",
    "fit_air",
    "fit_tyre",
    "learn",
    "load",
    "propose",
    "prove",
    "readback",
    "report",
    "route",
    "sheet",
    "speeds",
    "sweep_cases",
]

# Module and name of what does not stand in `setupopt.api`.
_HOMES = {
    "CaseFile": "evaluation.case_file.CaseFile",
    "CaseSet": "evaluation.cases.CaseSet",
    "Comparison": "search.comparison.Comparison",
    "ComparisonOptions": "search.comparison.ComparisonOptions",
    "LearnOptions": "learn.study.LearnOptions",
    "Project": "project.Project",
    "Proposal": "search.Proposal",
    "ProposalOptions": "search.ProposalOptions",
    "ProveOptions": "robust.robustness.RobustnessOptions",
    "Result": "evaluation.result.Result",
    "Rig": "fit.tyre_table.Rig",
    "RouteOptions": "route.goal.RouteOptions",
    "Setup": "project.Setup",
    "SpeedOptions": "robust.speeds.study.SpeedOptions",
    "case_file": "evaluation.case_file.case_file",
    "load": "project.load",
    "sweep_cases": "evaluation.cases.sweep_cases",
}


def __getattr__(name: str) -> Any:
    """Import on first use: asking for help must not wait for compilers and solvers."""
    if name not in __all__:
        raise AttributeError(f"module 'setupopt' has no attribute {name!r}")
    from importlib import import_module

    module, _, own = _HOMES.get(name, f"api.{name}").rpartition(".")
    return getattr(import_module(f"setupopt.{module}"), own)


class _Room(ModuleType):
    """A package with the name of a function of the API: a call of it is a call of the function."""

    def __call__(self, *args: Any, **options: Any) -> Any:
        from setupopt import api

        return getattr(api, self.__name__.rpartition(".")[2])(*args, **options)


class _Package(ModuleType):
    """Python puts a package that is imported in the place of a function of the same name."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in ("learn", "report", "route", "sheet") and isinstance(
            value, ModuleType
        ):
            value.__class__ = _Room
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
