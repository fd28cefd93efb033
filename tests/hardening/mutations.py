"""Ways to spoil a file: byte by byte, and by what its lines mean. Seeded; the same seed spoils alike."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from random import Random

Spoil = Callable[[bytes, Random], bytes]

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_WORDS = (
    b"nan", b"inf", b"-inf", b"1e308", b"-1e308", b"1e-320", b"1e999", b"9" * 400, b"0", b"-0.0", b"3,2",
    b"1_000", b"0x10", b"true", b'""', b'"text"', b"[]", b"{}", b"[[1]]", b"2020-01-01", b"=1+1",
    b"\xc2\xb2", b"\xd9\xa3", b'"\\u0000"', b'"\\ud800"',
)  # fmt: skip
_NOISE = (
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\x1b[2J", b'"', b"'", b'"""', b"'''", b"[", b"]]",
    b"{", b"}", b"=", b",", b";", b"\t", b"#", b".", b"\\", b"\xe2\x80\xa8", b"\xf0\x9f\x9a\x97",
)  # fmt: skip


def _cut(raw: bytes, random: Random) -> bytes:
    return raw[: random.randrange(len(raw) + 1)]


def _flip(raw: bytes, random: Random) -> bytes:
    spoilt = bytearray(raw or b" ")
    for _ in range(random.choice((1, 1, 2, 8))):
        spoilt[random.randrange(len(spoilt))] = random.randrange(256)
    return bytes(spoilt)


def _noise(raw: bytes, random: Random) -> bytes:
    place = random.randrange(len(raw) + 1)
    return (
        raw[:place]
        + random.choice(_NOISE) * random.choice((1, 1, 2, 50))
        + raw[place:]
    )


def _drop_part(raw: bytes, random: Random) -> bytes:
    first, last = sorted(random.randrange(len(raw) + 1) for _ in range(2))
    return raw[:first] + raw[last:]


def _crlf(raw: bytes, random: Random) -> bytes:
    return random.choice((b"", b"\xef\xbb\xbf")) + raw.replace(
        b"\n", random.choice((b"\r\n", b"\r", b"\n\n"))
    )


def _recode(raw: bytes, random: Random) -> bytes:
    text = raw.decode("utf-8", "replace")
    return text.encode(
        random.choice(("utf-16", "utf-32", "latin-1")), "replace"
    )


def _long_line(raw: bytes, random: Random) -> bytes:
    piece = random.choice(
        (
            b"a",
            b"a.",
            b"1,",
            b"[",
            b"{a=",
            b'"',
            b'\\"""',
            b"[[a]]\n",
            b" ",
            b"#",
            b"9",
        )
    )
    place = random.randrange(len(raw) + 1)
    return (
        raw[:place] + piece * random.choice((200, 3000, 30_000)) + raw[place:]
    )


def _number(raw: bytes, random: Random) -> bytes:
    """One number is another, or another word: slips of unit and sign among them."""
    found = list(_NUMBER.finditer(raw))
    if not found:
        return _noise(raw, random)
    one = random.choice(found)
    value = float(one[0])
    slips = [
        f"{value * factor:.10g}".encode()
        for factor in (1e3, 1e-3, -1.0, 10.0, 0.1, 0.0, 1.05, 0.95)
    ]
    return (
        raw[: one.start()]
        + random.choice((*slips, *slips, *_WORDS))
        + raw[one.end() :]
    )


def _lines(change: Callable[[list[bytes], Random], None]) -> Spoil:
    """Changes a file as the list of its lines."""

    def spoil(raw: bytes, random: Random) -> bytes:
        lines = raw.split(b"\n")
        change(lines, random)
        return b"\n".join(lines)

    return spoil


def _drop_line(lines: list[bytes], random: Random) -> None:
    del lines[random.randrange(len(lines))]


def _double_line(lines: list[bytes], random: Random) -> None:
    lines.insert(random.randrange(len(lines) + 1), random.choice(lines))


def _move_line(lines: list[bytes], random: Random) -> None:
    line = lines.pop(random.randrange(len(lines)))
    lines.insert(random.randrange(len(lines) + 1), line)


def _rename(lines: list[bytes], random: Random) -> None:
    place = random.randrange(len(lines))
    words = re.findall(rb"\w+", lines[place]) or [b""]
    word = random.choice(words)
    other = random.choice(
        (
            word + b"x",
            word[:-1],
            word.upper(),
            b"",
            b"a" * 300,
            b"\xc3\xa4",
            word * 2,
        )
    )
    lines[place] = lines[place].replace(word, other, 1) if word else other


def _pieces(line: bytes) -> tuple[bytes, list[bytes]]:
    """Mark between a line's pieces, and the pieces: key and value of TOML, cells of CSV."""
    mark = b" = " if b" = " in line else b","
    return mark, line.split(mark)


def _swap_values(lines: list[bytes], random: Random) -> None:
    """The last pieces of two lines change places."""
    a, b = random.randrange(len(lines)), random.randrange(len(lines))
    (mark_a, one), (mark_b, two) = _pieces(lines[a]), _pieces(lines[b])
    one[-1], two[-1] = two[-1], one[-1]
    lines[a], lines[b] = mark_a.join(one), mark_b.join(two)


def _other_value(lines: list[bytes], random: Random) -> None:
    """One piece of a line is another word."""
    place = random.randrange(len(lines))
    mark, pieces = _pieces(lines[place])
    pieces[random.randrange(len(pieces))] = random.choice(_WORDS)
    lines[place] = mark.join(pieces)


def _column(lines: list[bytes], random: Random) -> None:
    """A piece of every line goes, or comes twice."""
    place, twice = random.randrange(8), random.random() < 0.5
    for row, line in enumerate(lines):
        mark, pieces = _pieces(line)
        if place < len(pieces) > 1:
            pieces[place : place + 1] = (
                pieces[place : place + 1] * 2 if twice else []
            )
        lines[row] = mark.join(pieces)


def _semicolons(lines: list[bytes], random: Random) -> None:
    """As spreadsheets of half of Europe write it."""
    for row, line in enumerate(lines):
        lines[row] = line.replace(b",", b";").replace(b".", b",")


BYTES: tuple[Spoil, ...] = (
    _cut,
    _flip,
    _noise,
    _drop_part,
    _crlf,
    _recode,
    _long_line,
)
MEANING: tuple[Spoil, ...] = (
    _number, _number, _number,
    *map(_lines, (
        _drop_line, _double_line, _move_line, _rename, _swap_values, _other_value, _column, _semicolons,
    )),
)  # fmt: skip


def spoilt(raw: bytes, others: Sequence[bytes], random: Random) -> bytes:
    """A file spoilt once or a few times; now and then it is another file altogether."""
    if random.random() < 0.02:
        return random.choice(others)
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        raw = random.choice(random.choice((BYTES, MEANING, MEANING)))(
            raw, random
        )
    return raw
