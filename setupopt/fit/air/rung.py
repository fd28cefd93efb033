"""Which numbers of a body have a value of their own, and which areas share a factor."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from setupopt.fit.air.terms import Term
from setupopt.physics.inputs import Floats

COMMON = "common factor"


@dataclass(frozen=True)
class Rung:
    """Which terms have a value of their own, and which areas share a factor; all others stay as they are."""

    terms: tuple[Term, ...]
    free: tuple[int, ...]
    common: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Of the parameters: the common factor, if there is one, then the terms."""
        own = tuple(self.terms[i].name for i in self.free)
        return (COMMON, *own) if self.common else own

    @property
    def held(self) -> tuple[Term, ...]:
        """Terms without a value of their own."""
        return tuple(
            term for i, term in enumerate(self.terms) if i not in self.free
        )

    def term(self, name: str) -> Term:
        """By its name."""
        return next(term for term in self.terms if term.name == name)

    @cached_property
    def like(self) -> Floats:
        """(terms) Values of the body it is like."""
        return np.array([term.like for term in self.terms])

    @property
    def box(self) -> tuple[Floats, Floats]:
        """(parameters) Where each may go."""
        ranges = [self.terms[i].range for i in self.free]
        if self.common:
            ranges.insert(
                0, (0.0, min(_room(self.terms[i]) for i in self.common))
            )
        low, high = np.array(ranges).reshape(-1, 2).T
        return low, high

    def freed(self, term: int) -> Rung:
        """The rung above. An area that would be left alone under the common factor has its own value too."""
        left = tuple(i for i in self.common if i != term)
        last = left if len(left) == 1 else ()
        return replace(
            self, free=(*self.free, term, *last), common=() if last else left
        )

    @cached_property
    def slopes(self) -> Floats:
        """(terms, parameters) Change of the terms by the parameters; they are linear in them."""
        slopes = np.zeros((len(self.terms), len(self.names)))
        first = len(self.names) - len(self.free)
        slopes[list(self.free), range(first, len(self.names))] = 1.0
        slopes[list(self.common), 0:first] = self.like[list(self.common), None]
        return slopes

    def values(self, x: Floats) -> Floats:
        """(terms) from the parameters."""
        is_like = ~self.slopes.any(axis=1)
        return np.where(is_like, self.like, self.slopes @ x)

    def parameters(self, values: Floats) -> Floats:
        """The other way round."""
        own = values[list(self.free)]
        return (
            np.append((values / self.like)[self.common[0]], own)
            if self.common
            else own
        )

    def scales(self, factor: float, terms: Floats) -> Floats:
        """(parameters) from those of the common factor and of the terms (terms)."""
        own = terms[list(self.free)]
        return np.append(factor, own) if self.common else own


def _room(term: Term) -> float:
    """How large the common factor may become."""
    return max(abs(end) for end in term.range) / abs(term.like)
