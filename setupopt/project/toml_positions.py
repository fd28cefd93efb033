"""Finds the line on which a TOML key stands, so that a refusal can point at it.

The reader of the language is tomllib; this scan only keeps track of places. It is tolerant, so that
it also names the key next to a mistake of syntax.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from typing import NamedTuple

Loc = tuple[
    str | int, ...
]  # ("attitude", 2, "bump_mm"): as in the parsed data, indices from 0

# A text that is not closed ends with its line or the file, lest every mark in it be tried as another's begin.
_TOKEN = re.compile(
    r'''
    (?P<comment>\#[^\n]*)
  | (?P<newline>\n)
  | (?P<quoted>"""(?:\\.|[^\\])*?(?:"{3,5}|\Z) | \'\'\'.*?(?:\'{3,5}|\Z)
      | "(?:\\[^\n]|[^"\\\n])*"? | '[^'\n]*'?)
  | (?P<mark>[\[\]{}=,.])
  | (?P<word>[^\s\#\[\]{}=,."']+)
    ''',
    re.VERBOSE | re.DOTALL,
)
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PART = r"""\s*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')\s*"""
_MOST_PARTS = 32  # of a key
_TOO_DEEP = re.compile(rf"(?:\.{_PART}){{{_MOST_PARTS}}}")


def deep_key(text: str) -> int | None:
    """The line of a dotted key of more parts than any file has: reading it takes their number squared."""
    found = _TOO_DEEP.search(text)
    return text.count("\n", 0, found.start()) + 1 if found else None


class _Token(NamedTuple):
    kind: str
    text: str
    line: int


_END = _Token("end", "", 0)


def key_lines(text: str) -> dict[Loc, int]:
    """The line (from 1) on which every key, table and list item of a TOML text first stands."""
    lines: dict[Loc, int] = {}
    for loc, line in _Scan(text).places():
        for length in range(1, len(loc) + 1):
            lines.setdefault(loc[:length], line)
    return lines


def nearest_line(lines: dict[Loc, int], loc: Loc) -> int:
    """The line of `loc`, or of the table it is missing from; 1 when that is missing too."""
    for length in range(len(loc), 0, -1):
        if loc[:length] in lines:
            return lines[loc[:length]]
    return 1


def key_at(text: str, line: int) -> Loc:
    """The key of a line, or of the last line above that has one: what a mistake of syntax belongs to."""
    last: Loc = ()
    last_line = 0
    for loc, at in _Scan(text).places():
        if at > line:
            break
        if (
            at > last_line
        ):  # the first of its line, not what an inline table or list holds
            last = loc
            last_line = at
    return last


def key_text(loc: Loc) -> str:
    """A key as people read it, indices from 1.

    >>> key_text(("attitude", 2, "bump_mm"))
    'attitude[3].bump_mm'
    """
    said = ""
    for part in loc:
        if isinstance(part, int):
            said += f"[{part + 1}]"
        else:
            said += ("." if said else "") + _name_text(part)
    return said


def quoted(text: str) -> str:
    """A text in quotes, short and without anything that could play with a terminal."""
    short = text if len(text) <= 60 else text[:57] + "..."
    plain = json.dumps(short, ensure_ascii=False)
    return plain if plain.isprintable() else ascii(short)


def _name_text(name: str) -> str:
    return name if _BARE.fullmatch(name) and len(name) <= 60 else quoted(name)


def _tokens(text: str) -> Iterator[_Token]:
    line = 1
    at = 0
    for match in _TOKEN.finditer(text):
        line += text.count("\n", at, match.start())
        at = match.start()
        yield _Token(match.lastgroup or "", match.group(), line)


class _Scan:
    """One pass over a text, one token ahead."""

    def __init__(self, text: str) -> None:
        self.rest = _tokens(text.replace("\r\n", "\n"))
        self.now = next(self.rest, _END)
        self.counts: dict[Loc, int] = {}  # tables seen of each [[list]]

    def places(self) -> Iterator[tuple[Loc, int]]:
        """Every key with its line, in the order of the text."""
        table: Loc = ()
        try:
            while self.now is not _END:
                if self.now.kind in ("newline", "comment"):
                    self.advance()
                elif self.now.text == "[":
                    line = self.now.line
                    table = self.header()
                    yield table, line
                else:
                    yield from self.pair(table)
                    self.skip_line()
        except (
            RecursionError
        ):  # nested too deep to follow; the lines above it are known
            return

    def advance(self) -> None:
        self.now = next(self.rest, _END)

    def skip_line(self) -> None:
        while self.now.kind not in ("newline", "end"):
            self.advance()

    def header(self) -> Loc:
        self.advance()
        listed = self.now.text == "["
        if listed:
            self.advance()
        path: Loc = ()
        for name in self.key("]"):
            path = (*self.inside(path), name)
        if listed:
            self.counts[path] = self.counts.get(path, -1) + 1
            path = self.inside(path)
        self.skip_line()
        return path

    def inside(self, path: Loc) -> Loc:
        """A list of tables stands for its latest table."""
        return (*path, self.counts[path]) if path in self.counts else path

    def key(self, stop: str) -> list[str]:
        names = []
        while self.now.text != stop and self.now.kind not in ("newline", "end"):
            if self.now.kind == "word":
                names.append(self.now.text)
            elif self.now.kind == "quoted":
                names.append(_unquoted(self.now.text))
            self.advance()
        return names[
            :_MOST_PARTS
        ]  # a list that goes on and on is a mistake of syntax, and no key

    def pair(self, table: Loc) -> Iterator[tuple[Loc, int]]:
        line = self.now.line
        path = (*table, *self.key("="))
        yield path, line
        if self.now.text == "=":
            self.advance()
            yield from self.value(path)

    def value(self, path: Loc) -> Iterator[tuple[Loc, int]]:
        if self.now.text == "[":
            yield from self.items(path)
        elif self.now.text == "{":
            yield from self.inline(path)
        elif self.now.kind != "newline":
            self.advance()
            while self.now.text not in (
                ",",
                "]",
                "}",
            ) and self.now.kind not in ("newline", "comment", "end"):
                self.advance()

    def items(self, path: Loc) -> Iterator[tuple[Loc, int]]:
        index = 0
        self.advance()
        while self.now.text != "]" and self.now is not _END:
            if self.now.kind in ("newline", "comment"):
                self.advance()
            elif self.now.text == ",":
                index += 1
                self.advance()
            else:
                yield (*path, index), self.now.line
                yield from self.value((*path, index))
        self.advance()

    def inline(self, path: Loc) -> Iterator[tuple[Loc, int]]:
        self.advance()
        while self.now.text != "}" and self.now is not _END:
            if self.now.kind in ("newline", "comment") or self.now.text == ",":
                self.advance()
            else:
                yield from self.pair(path)
        self.advance()


def _unquoted(token: str) -> str:
    try:
        return str(tomllib.loads(f"k = {token}")["k"])
    except ValueError:
        return token.strip("\"'")
