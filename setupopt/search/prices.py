"""What a limit costs: how much worst margin one unit more of it is worth, from the last linear program."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from setupopt.search.maxmin import Outcome

if TYPE_CHECKING:
    from setupopt.search.setup_problem import SetupProblem

# Prices below this share of margin per unit are noise of the linear program.
_NOISE = 1e-6


@dataclass(frozen=True)
class Price:
    """A limit that binds: widening it by one `unit` raises the worst margin by `margin_per_unit`."""

    limit: str
    margin_per_unit: float
    unit: str


def _range_prices(problem: SetupProblem, best: Outcome) -> list[Price]:
    """Ends of ranges that the best point leans on."""
    found: list[Price] = []
    if best.step is None:
        return found
    for j, variable in enumerate(problem.variables):
        per_unit = variable.setting.factor / variable.width
        for end, weight in (("from", best.step.lower_weights[j]), ("to", best.step.upper_weights[j])):
            found.append(Price(f"{variable.name}.{end}", float(weight * per_unit), variable.setting.unit))
    return found


def _packaging_prices(problem: SetupProblem, best: Outcome) -> list[Price]:
    """Packaging limits that the best point leans on."""
    if best.step is None:
        return []
    owner = problem.limit_rows(best.point, problem.result(best.point[None, :])).owner
    weights = np.bincount(owner, weights=best.step.limit_weights, minlength=len(problem.packaging.limits))
    return [
        Price(limit.name, float(weight * limit.factor / limit.scale), limit.unit)
        for limit, weight in zip(problem.packaging.limits, weights, strict=True)
    ]


def prices(problem: SetupProblem, best: Outcome) -> tuple[Price, ...]:
    """Every limit that binds at a continuous optimum, dearest first."""
    found = [
        p
        for p in _range_prices(problem, best) + _packaging_prices(problem, best)
        if p.margin_per_unit > _NOISE
    ]
    return tuple(sorted(found, key=lambda price: -price.margin_per_unit))
