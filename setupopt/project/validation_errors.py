"""Turns what pydantic finds into mistakes a mechanic can read: line, key, found, expected."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from setupopt.errors import InputError, InputErrors
from setupopt.project.field_types import UNION_TAGS, UNIT, Table
from setupopt.project.toml_file import TomlFile, look_up, shown
from setupopt.project.toml_positions import Loc, key_text

File = TypeVar("File", bound=Table)

# Mistakes reported of one file; it is then of another kind altogether
MOST = 1000
_NEAR = 0.75  # share of letters in common, as difflib counts it: "caster" and "camber" have 0.67


def checked(file: TomlFile, schema: type[File]) -> File:
    """The file's content by its schema. Raises InputErrors with every mistake, in the order of lines."""
    try:
        return schema.model_validate(file.data)
    except ValidationError as error:
        details = error.errors(include_url=False)[:MOST]
        found = [_mistake(file, schema, dict(detail)) for detail in details]
        corrected = {meant for meant, _ in found if meant}
        kept = [
            mistake
            for meant, mistake in found
            if meant or mistake.key not in corrected
        ]
        raise InputErrors(
            sorted(kept, key=lambda mistake: mistake.line or 0)
        ) from None


def _mistake(
    file: TomlFile, schema: type[Table], detail: dict[str, Any]
) -> tuple[str, InputError]:
    """The mistake; and for a misspelt key the key that was meant, so that it is not called missing too."""
    loc: Loc = tuple(part for part in detail["loc"] if part not in UNION_TAGS)
    if detail["type"] == "extra_forbidden":
        return _unknown_key(file, schema, loc)
    expected = ""
    if detail["type"] == "wrong":
        loc = (*loc, *detail["ctx"]["loc"])
        expected = detail["ctx"]["expected"]
    elif detail["type"] == "finite_number":
        expected = "a finite number"
    return "", file.error(loc, expected or describe(schema, loc))


def _unknown_key(
    file: TomlFile, schema: type[Table], loc: Loc
) -> tuple[str, InputError]:
    above = list(_fields(schema, loc[:-1]))
    table = (table_in(above[-1].annotation) if above else None) or schema
    known = [alias(name, field) for name, field in table.model_fields.items()]
    absent = [
        name for name in known if look_up(file.data, (*loc[:-1], name)) is None
    ]
    near = _nearest(str(loc[-1]), absent) or _nearest(str(loc[-1]), known)
    expected = near[0] if near else "one of " + ", ".join(known)
    error = file.error(
        loc, expected, f"an unknown key ({shown(look_up(file.data, loc))})"
    )
    return key_text((*loc[:-1], near[0])) if near else "", error


def _nearest(key: str, known: list[str]) -> list[str]:
    """The known key that may be meant, if one is near: the units at their ends do not make two keys alike."""
    stems = {UNIT.sub("", name): name for name in known}
    stem = UNIT.sub("", key[:80])
    longer = [
        name for name in stems if name.startswith(stem) or stem.startswith(name)
    ]
    near = difflib.get_close_matches(stem, stems, 1, _NEAR) or longer[:1]
    return [stems[name] for name in near]


def describe(schema: type[Table], loc: Loc) -> str:
    """What is expected at `loc`, in the words of the field."""
    fields = list(_fields(schema, loc))
    return (
        fields[-1].description or _table_words(fields[-1], loc)
        if fields
        else "a table"
    )


def _table_words(field: FieldInfo, loc: Loc) -> str:
    kind = get_origin(field.annotation)
    if kind is dict:
        return f"a table [{loc[0]}.NAME]"
    name = ".".join(str(part) for part in loc if isinstance(part, str))
    return f"[[{name}]] tables" if kind is list else f"a table [{name}]"


def _fields(schema: type[Table], loc: Loc) -> Iterator[FieldInfo]:
    """The fields on the way to `loc`."""
    table: type[Table] | None = schema
    own_name = False  # a name of the user's own, such as a tyre's, is no field
    for part in loc:
        if isinstance(part, int) or own_name:
            own_name = False
            continue
        field = _field(table, part) if table else None
        if field is None:
            return
        yield field
        table = table_in(field.annotation)
        own_name = get_origin(field.annotation) is dict


def _field(table: type[Table], key: str) -> FieldInfo | None:
    return next(
        (
            field
            for name, field in table.model_fields.items()
            if alias(name, field) == key
        ),
        None,
    )


def alias(name: str, field: FieldInfo) -> str:
    """The key in the file; some are no names in Python."""
    return field.alias or name


def table_in(annotation: Any) -> type[Table] | None:
    """The table inside an annotation such as `list[T] | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation if issubclass(annotation, Table) else None
    return next(
        (found for found in map(table_in, get_args(annotation)) if found), None
    )
