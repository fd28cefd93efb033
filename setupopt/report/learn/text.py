"""Logs beside the model in words and plain tables; the words stand in learn.txt."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from setupopt.evaluation.result import Field
from setupopt.learn.study import Learned
from setupopt.report.learn.fields import as_dict
from setupopt.report.shared.tables import (
    Key,
    angle,
    keyed_table,
    margin_words,
    number,
    paragraph,
    significant,
)
from setupopt.report.shared.words import (
    CLOSING,
    assumed_text,
    cautions_text,
    verdict,
)

# How a column is shown, by the letter behind its key; more letters: so many decimals
_SHOWN: dict[str, Any] = {
    "w": str,
    "s": significant,
    "a": angle,
    "t": lambda told: "" if told else "the log cannot tell",
    "d": lambda driven: "driven" if driven else "",
    **{
        str(digits): lambda value, digits=digits: number(value, digits)
        for digits in range(4)
    },
}


def text(learned: Learned, width: int, short: bool = False) -> str:
    """The whole report, or with `short` without what the channels and values show."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    room = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    room.globals |= {
        "verdict": verdict,
        "angle": angle,
        "n": number,
        "margin": margin_words,
        "reach": _reach,
    }
    answer = as_dict(learned)
    whole = room.get_template("learn.txt").render(
        **answer,
        short=short,
        table=lambda rows, columns: _table(rows, columns, width),
        cautions_text=cautions_text(learned.project.cautions, width),
        assumed_text=assumed_text(answer["assumed"], width).replace(
            "car.toml", "limits.toml"
        ),
        worst=learned.worst,
        closing=CLOSING,
    )
    return "\n".join(_wrapped(line, width) for line in whole.split("\n")) + "\n"


def _reach(degrees: float | None) -> str:
    return "no run" if degrees is None else f"{angle(degrees)} deg"


def _wrapped(line: str, width: int) -> str:
    """A line of words in lines of at most `width`; those of tables stay."""
    if line.startswith("  ! "):
        return paragraph(line[4:], width, "  ! ")
    return line if line.startswith("  ") else paragraph(line, width)


def _table(rows: list[Field], columns: str, width: int) -> str:
    """Rows under heads; `columns`: HEAD=KEY:LETTER, a semicolon between; a dash where there is no value."""
    keys = []
    for column in columns.split(";"):
        head, _, rest = column.strip().partition("=")
        key, _, letter = rest.partition(":")
        is_text = letter in "wtd"
        keys.append(
            Key(
                head,
                key,
                _SHOWN[letter],
                numeric=not is_text,
                least=14 if letter == "w" else 0,
            )
        )
    return keyed_table(rows, keys, width)
