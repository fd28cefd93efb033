"""The kinds of entry a project file has: tables, ranges, names, shares; and the units of its numbers.

Every field carries in one sentence what is expected of it, which is what a refusal says (`field_makers`).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Annotated, Any, NamedTuple, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from setupopt.errors import HIDDEN
from setupopt.project.toml_positions import Loc
from setupopt.units import (
    BAR,
    DEG,
    DEG_PER_KN,
    DEG_PER_MM,
    KPA,
    KW,
    MM,
    MM2,
    MM_PER_DEG,
    MS,
    N_PER_DEG,
    N_PER_MM,
    N_PER_MM3,
    N_PER_MM3_PER_BAR,
    N_PER_MM_PER_BAR,
    NS_PER_MM,
    PERCENT,
)

# A value in a unit of the files times this is in SI; a unit that is not here is one of SI.
FACTORS = {
    "mm": MM,
    "ms": MS,
    "deg": DEG,
    "deg/s": DEG,
    "%": PERCENT,
    "bar": BAR,
    "kPa": KPA,
    "kW": KW,
    "N/mm": N_PER_MM,
    "N s/mm": NS_PER_MM,
    "N/mm3": N_PER_MM3,
    "N/mm3 per bar": N_PER_MM3_PER_BAR,
    "N/mm per bar": N_PER_MM_PER_BAR,
    "deg/mm": DEG_PER_MM,
    "deg/kN": DEG_PER_KN,
    "mm/deg": MM_PER_DEG,
    "mm2": MM2,
    "N/deg": N_PER_DEG,
}
KMH = 1.0 / 3.6  # m/s
# By unit of the files: units that are often written by mistake, and what their values are multiplied by
OTHER_UNITS = {
    "mm": {"m": 1000.0, "cm": 10.0, "in": 25.4},
    "mm2": {"cm2": 100.0, "m2": 1e6, "in2": 645.16},
    "deg": {"rad": 1.0 / DEG},
    "N": {"kN": 1000.0},
    "N m": {"kN m": 1000.0},
    "N/deg": {"N/rad": DEG, "kN/deg": 1000.0},
    "bar": {"psi": 0.0689476, "kPa": 0.01, "Pa": 1e-5},
    "kPa": {"Pa": 1e-3, "bar": 100.0},
    "kW": {"W": 1e-3},
    "m/s": {"km/h": KMH},
    "N/mm": {"N/m": 1e-3},
}
# The unit at the end of a key
UNIT = re.compile(
    r"_(mm|m|m2|ms|deg|kg|kgm2|N|Ns|kW|kPa|bar|percent|per)(_.*)?$"
)
# Letters that nobody sees, and selectors of a letter's form
_BLANKS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0").union(
    map(
        chr,
        (
            *range(0x180B, 0x1810),
            *range(0xFE00, 0xFE10),
            *range(0xE0100, 0xE01F0),
        ),
    )
)
MOST_STEPS = 20_000
LONGEST_NAME = 80


class Bounds(NamedTuple):
    """The plausible range of a number in its file unit."""

    low: float
    high: float
    unit: str

    def __str__(self) -> str:
        return (
            f"from {self.low:,.10g} to {self.high:,.10g} {self.unit}".replace(
                ",", ""
            ).rstrip()
        )

    def hint(self, number: float) -> str:
        """What a number outside the range looks like, for the end of a sentence; often empty.

        >>> Bounds(500, 6000, "mm").hint(2.6)
        ' (it looks like m: 2600 mm)'
        """
        for other, factor in OTHER_UNITS.get(self.unit, {}).items():
            meant = number * factor
            if meant and self.low <= meant <= self.high:
                return f" (it looks like {other}: {meant:.6g} {self.unit})"
        return ""


def wrong(loc: Loc, expected: str) -> PydanticCustomError:
    """A mistake at `loc` inside the validated value; an empty `expected` leaves the field's own."""
    return PydanticCustomError(
        "wrong", "expected {expected}", {"loc": loc, "expected": expected}
    )


class Table(BaseModel):
    """A TOML table: known keys only, no conversions, finite numbers inside their range."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False
    )

    @classmethod
    def bounds(cls, key: str) -> Bounds | None:
        """The range of the field, None for one that is no number."""
        extra = cls.model_fields[key].json_schema_extra
        found = extra.get("bounds") if isinstance(extra, dict) else None
        return Bounds(*found) if isinstance(found, tuple) else None

    @classmethod
    def number_bounds(cls, key: str) -> Bounds:
        """The range of a field that is a number."""
        found = cls.bounds(key)
        assert found is not None
        return found

    @classmethod
    def factor(cls, key: str) -> float:
        """A value of the field times this is in SI; 1 for what is no number."""
        bounds = cls.bounds(key)
        return FACTORS.get(bounds.unit, 1.0) if bounds else 1.0

    @classmethod
    def si_name(cls, key: str) -> str:
        """The name of the field in `project.model`: its own, or the key without its unit."""
        extra = cls.model_fields[key].json_schema_extra
        own = extra.get("si_name") if isinstance(extra, dict) else None
        return own if isinstance(own, str) else UNIT.sub("", key)

    @field_validator("*", mode="after")
    @classmethod
    def _inside_bounds(cls, value: Any, info: ValidationInfo) -> Any:
        bounds = cls.bounds(info.field_name or "")
        for inner, number in numbers_in(value) if bounds else ():
            if bounds and not bounds.low <= number <= bounds.high:
                raise wrong(inner, f"a number {bounds}{bounds.hint(number)}")
        return value


class Span(Table):
    """Both ends of a range, without steps."""

    from_: float = Field(alias="from", description="a number, the lower end")
    to: float = Field(description="a number, the upper end")

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.from_ > self.to:
            raise wrong(("to",), "a number not below `from`")
        return self


class Steps(Span):
    """A range that is walked in steps."""

    step: float = Field(gt=0, description="a step above 0")

    @model_validator(mode="after")
    def _walkable(self) -> Self:
        width = self.to - self.from_
        if width > 0 and self.step > width * (1 + 1e-9):
            raise wrong(("step",), "a step no larger than the range")
        if width > MOST_STEPS * (1 + 1e-9) * self.step:
            raise wrong(
                ("step",), f"a step that makes at most {MOST_STEPS + 1} values"
            )
        return self


def parts_of(value: object) -> Iterator[tuple[Loc, Any]]:
    """The parts of a list or of a table by name, each with its location inside; anything else is one part."""
    if isinstance(value, list):
        yield from (((index,), part) for index, part in enumerate(value))
    elif isinstance(value, dict):
        yield from (((name,), part) for name, part in value.items())
    else:
        yield (), value


def numbers_in(value: object) -> Iterator[tuple[Loc, float]]:
    """The numbers of an entry, a number itself, a range or several, each with its location inside."""
    if isinstance(value, Span):
        value = {"from": value.from_, "to": value.to}
    return (
        (loc, part) for loc, part in parts_of(value) if isinstance(part, float)
    )


# The tags of a union show up in the location of a mistake; no name in a file can hold a control character
_STEPS = "\x01steps"
_LIST = "\x01list"
UNION_TAGS = (_STEPS, _LIST)

StepsOrList = Annotated[
    Annotated[Steps, Tag(_STEPS)]
    | Annotated[list[float], Field(min_length=1), Tag(_LIST)],
    Discriminator(
        lambda value: _STEPS if isinstance(value, dict | Steps) else _LIST
    ),
]


def not_a_share(value: float | None) -> float | None:
    """Refuses 0.6 where 60 % is meant."""
    if value is not None and 0 < value < 1:
        raise wrong((), "")
    return value


def unique_names(tables: list[Any], loc: Loc) -> None:
    """Refuses a second table of the same name in the list at `loc`."""
    seen: set[str] = set()
    for index, table in enumerate(tables):
        if table.name in seen:
            raise wrong((*loc, index, "name"), "a name that is not used twice")
        seen.add(table.name)


def is_plain(name: str) -> bool:
    """Whether a name is neither empty nor overlong, and every letter of it is to be seen in its order.

    Refused are control characters, line ends, marks of the writing direction and letters without a width:
    two names that differ by them look the same.
    """
    kinds = (
        set()
        if name.isprintable()
        else {unicodedata.category(letter) for letter in name}
    )
    is_short = bool(name.strip()) and len(name) <= LONGEST_NAME
    return is_short and kinds.isdisjoint(HIDDEN) and _BLANKS.isdisjoint(name)


def _plain_name(name: str) -> str:
    if not is_plain(name):
        raise wrong((), NAME)
    return name


NAME = f"a name of 1 to {LONGEST_NAME} characters without control or invisible characters"
Name = Annotated[str, Field(description=NAME), AfterValidator(_plain_name)]
Percent = Annotated[float, AfterValidator(not_a_share)]
OptionalPercent = Annotated[float | None, AfterValidator(not_a_share)]
