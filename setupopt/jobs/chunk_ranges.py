"""Long studies in pieces, whose size never depends on who does them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from setupopt.physics.inputs import Records

# Gives the results of all jobs in order: name of the chunks, words for the user, the work, its jobs.
Chunks = Callable[[str, str, Callable[..., Records], Sequence], Iterator[Records]]


class Span(NamedTuple):
    """The items `first` to `first + size` of a study."""

    first: int
    size: int

    @property
    def items(self) -> range:
        """The items themselves."""
        return range(self.first, self.first + self.size)


def spans(total: int, size: int) -> list[Span]:
    """All of `total` items in pieces of `size`, the last perhaps smaller.

    >>> [list(span.items) for span in spans(5, 2)]
    [[0, 1], [2, 3], [4]]
    """
    return [Span(first, min(size, total - first)) for first in range(0, total, size)]
