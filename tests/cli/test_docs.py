"""The glossary is complete: every key of the files, every column, every field of the answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from setupopt.losses import _CAUSES
from setupopt.project.cases_file import BUMPS
from setupopt.project.fields import Table
from setupopt.project.mistakes import alias, table_in
from setupopt.project.schema import BodyFile, CarFile, LimitsFile, SetupFile, VenueFile

from .test_assess import COLUMNS, KEYS
from .test_compare import KEYS as COMPARED
from .test_compare import LINE
from .test_propose import KEYS as PROPOSED
from .test_propose import MORE
from .test_speeds import KEYS as SPEEDS

DOCS = Path(__file__).parents[2] / "docs"


def keys(table: type[Table]) -> set[str]:
    """Keys with a value, of a table and of all tables in it."""
    found: set[str] = set()
    for name, field in table.model_fields.items():
        inner = table_in(field.annotation)
        own = alias(name, field)
        found |= keys(inner) if inner and own not in inner.model_fields else {own}
    return found - {"from", "to", "step"}


@pytest.mark.parametrize("schema", [CarFile, BodyFile, VenueFile, SetupFile, LimitsFile])
def test_every_key_of_the_files_is_explained(schema: type[Table]) -> None:
    """Under its own name."""
    glossary = (DOCS / "nomenclature.md").read_text()
    assert [key for key in sorted(keys(schema)) if f"`{key}`" not in glossary] == []


def test_every_column_and_field_is_explained() -> None:
    """Four wheels are told by the first and the last."""
    glossary = (DOCS / "nomenclature.md").read_text()
    columns = [column for column in COLUMNS if "_fr_" not in column and "_rl_" not in column]
    fields = (*KEYS, *PROPOSED, *MORE, *SPEEDS, *COMPARED, *LINE)
    assert [name for name in (*columns, *BUMPS, *fields) if f"`{name}`" not in glossary] == []


def test_every_cause_of_the_loss_budget_is_explained() -> None:
    """In the words that are printed."""
    model = (DOCS / "model.md").read_text()
    assert [cause.name for cause in _CAUSES if f"| {cause.name} |" not in model] == []
