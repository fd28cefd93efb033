"""A study divided into ranges of items whose size does not depend on the number of workers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from setupopt.physics.inputs import Records

# Yields the results of all jobs in their order, from: name of the chunks, label for the user, function, jobs.
Chunks = Callable[
    [str, str, Callable[..., Records], Sequence], Iterator[Records]
]

# Called with how much more is done.
Progress = Callable[[int], object]


class ChunkRange(NamedTuple):
    """The items `first` to `first + size` of a study."""

    first: int
    size: int

    @property
    def items(self) -> range:
        """The items themselves."""
        return range(self.first, self.first + self.size)


def chunk_ranges(total: int, size: int) -> list[ChunkRange]:
    """All of `total` items in ranges of `size`, the last perhaps smaller.

    >>> [list(part.items) for part in chunk_ranges(5, 2)]
    [[0, 1], [2, 3], [4]]
    """
    return [
        ChunkRange(first, min(size, total - first))
        for first in range(0, total, size)
    ]
