"""Load cases of a file of any length, read in pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from setupopt.errors import InputError
from setupopt.evaluation.cases import CaseSet, table_cases
from setupopt.project.cases_file import case_tables
from setupopt.project.csv_read import CHUNK
from setupopt.project.model import Project


@dataclass(frozen=True)
class CaseFile:
    """Load cases of a CSV file that was read once and found right; `count`: how many there are.

    They are not kept: `pieces` reads them again.
    """

    path: Path
    project: Project
    count: int

    def __len__(self) -> int:
        return self.count

    def pieces(self, size: int = CHUNK) -> Iterator[CaseSet]:
        """The cases in pieces of `size`, in the order of the file, with their numbers in it.

        Raises InputError or InputErrors where the file is another one now.
        """
        venue = self.project.venue
        last = 0
        for table in case_tables(self.path, venue, self.project.car, size):
            first, last = last, last + len(table)
            number = np.arange(first, last) + 1
            yield replace(table_cases(table, venue), number=number)
        if last != self.count:
            raise InputError(
                str(self.path),
                None,
                "",
                f"{last} rows",
                f"{self.count}, as before",
            )


def case_file(
    path: str | Path,
    project: Project,
    progress: Callable[[int], object] | None = None,
) -> CaseFile:
    """The cases of a CSV file, read once to see that every row is right. Raises InputErrors.

    `progress` is called with how many rows were read so far.
    """
    count = 0
    for table in case_tables(path, project.venue, project.car):
        count += len(table)
        if progress is not None:
            progress(count)
    return CaseFile(Path(path), project, count)
