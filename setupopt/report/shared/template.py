"""Texts from templates: the words of a screen stand in report/COMMAND/NAME.txt, in the language of jinja.

A blank line of a template separates two parts. Lines and parts that come out empty are left out. Every line is
broken at the width; what follows its indent, "- ", "! " or a number stays under its beginning. Tables come from
`table(rows, columns)`. A template knows what `rendered` is given, and all of `words`, `tables`
and `units`, as functions and as filters, and the macros of shared/macros.txt. Its own macros put the cells of its
tables into words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setupopt import units
from setupopt.evaluation.result import IN_AIR
from setupopt.evaluation.summary import wheels_in_air
from setupopt.evaluation.would_hold import COURSES, FASTER, SLOWER
from setupopt.project.bodies import body_words, worn_words
from setupopt.report.shared import tables, words
from setupopt.report.shared.tables import keyed_table, paragraph

if TYPE_CHECKING:
    from jinja2 import Environment
    from jinja2.runtime import Context

_PART = "\x01"  # between two parts
_WHOLE = "\x02"  # before a line that is not broken
_ENDLESS = 100_000  # letters
_LEAD = re.compile(r"(?: +(?:[-!] |\d+  )?)?")


def rendered(
    template: str, width: int, /, short: bool = False, **given: Any
) -> str:
    """The text of report/TEMPLATE.txt, with the names `given`, in lines of at most `width`."""
    from jinja2 import pass_context

    @pass_context
    def table(context: Context, rows: Iterable[Any], spec: str) -> str:
        return _verbatim(keyed_table(rows, spec, width, context.get_all()))

    room = text_room()
    text = room.get_template(f"{template}.txt").render(
        given, table=table, width=width, short=short
    )
    lines = [_line(line, width) for line in text.split("\n") if line.strip()]
    parts = "\n".join(lines).split(_PART)
    return (
        "\n\n".join(filter(None, (part.strip("\n") for part in parts))) + "\n"
    )


def whole_lines(template: str, **given: Any) -> str:
    """The same in lines that are not broken, for files and for what is broken where it is printed."""
    return rendered(template, _ENDLESS, **given)


@cache
def text_room() -> Environment:
    """Where templates of texts are found; its `globals` are the helpers and macros that all templates have."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    class Parts(FileSystemLoader):
        """Marks the blank lines of a template: those that come out of empty lines mean nothing."""

        def get_source(self, *args: Any) -> Any:
            source, *rest = super().get_source(*args)
            return source.replace("\n\n", f"\n{_PART}\n"), *rest

    room = Environment(
        loader=Parts(Path(__file__).parents[1]),
        undefined=StrictUndefined,
        autoescape=False,
    )
    room.globals |= HELPERS
    room.filters |= HELPERS
    shared = room.get_template("shared/macros.txt").module
    room.globals |= {
        name: made for name, made in vars(shared).items() if name[0] != "_"
    }
    return room


def _verbatim(text: str) -> str:
    return "\n".join(f"{_WHOLE}{line}" for line in text.split("\n"))


HELPERS: dict[str, Any] = {
    **vars(tables),
    **vars(words),
    "wheels_in_air": wheels_in_air,
    "IN_AIR": IN_AIR,
    "COURSES": COURSES,
    "FASTER": FASTER,
    "SLOWER": SLOWER,
    **vars(units),
    "body_words": body_words,
    "worn_words": worn_words,
    "asdict": asdict,
    "g": "{:g}".format,
    "verbatim": _verbatim,
}


def _line(line: str, width: int) -> str:
    if line.startswith((_WHOLE, _PART)):
        return line.removeprefix(_WHOLE)
    found = _LEAD.match(line)
    lead = found[0] if found else ""
    return paragraph(line[len(lead) :], width, lead)
