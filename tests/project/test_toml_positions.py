"""Places of keys in a TOML text, against lines counted by hand."""

from __future__ import annotations

import pytest

from setupopt.project.toml_positions import (
    Loc,
    key_at,
    key_lines,
    key_text,
    nearest_line,
)

TEXT = '''\
top = 1
# [not.a.table]
[car]
name = "a [b] # c = 1"
"quoted key" = 'x = 2'
size.length = 3

text = """
[fake]
k = 1
"""
[[attitude]]
name = "one"
[[attitude]]
  bump_mm = [
    1, 2,  # front
    3,
    4]
wind = { head = 1, cross = [5, 6] }
[attitude.more]
deep = 1
[air]
  [[air.element]]
  chord = 1
  [[air.element]]
  chord = 2
'''
HAND_COUNTED: dict[Loc, int] = {
    ("top",): 1,
    ("car",): 3,
    ("car", "name"): 4,
    ("car", "quoted key"): 5,
    ("car", "size"): 6,
    ("car", "size", "length"): 6,
    ("car", "text"): 8,
    ("attitude",): 12,
    ("attitude", 0): 12,
    ("attitude", 0, "name"): 13,
    ("attitude", 1): 14,
    ("attitude", 1, "bump_mm"): 15,
    ("attitude", 1, "bump_mm", 0): 16,
    ("attitude", 1, "bump_mm", 1): 16,
    ("attitude", 1, "bump_mm", 2): 17,
    ("attitude", 1, "bump_mm", 3): 18,
    ("attitude", 1, "wind", "head"): 19,
    ("attitude", 1, "wind", "cross", 1): 19,
    ("attitude", 1, "more"): 20,
    ("attitude", 1, "more", "deep"): 21,
    ("air",): 22,
    ("air", "element", 0, "chord"): 24,
    ("air", "element", 1): 25,
    ("air", "element", 1, "chord"): 26,
}


@pytest.mark.parametrize(
    ("loc", "line"), HAND_COUNTED.items(), ids=lambda value: str(value)
)
def test_key_is_found_on_its_line(loc: Loc, line: int) -> None:
    """Tables, lists of tables, dotted keys, inline tables and lists over several lines are followed."""
    assert key_lines(TEXT)[loc] == line


def test_nothing_is_found_in_strings_and_comments() -> None:
    """What looks like a table inside a string is none."""
    assert ("fake",) not in key_lines(TEXT)
    assert ("not", "a", "table") not in key_lines(TEXT)


def test_windows_line_ends_count_the_same() -> None:
    """A file from another system has the same lines."""
    assert key_lines(TEXT.replace("\n", "\r\n")) == key_lines(TEXT)


def test_missing_key_is_placed_at_its_table() -> None:
    """Where a key is missing, the header of its table is the place to add it."""
    assert nearest_line(key_lines(TEXT), ("attitude", 1, "heading_deg")) == 14
    assert nearest_line(key_lines(TEXT), ("venue",)) == 1


@pytest.mark.parametrize(
    ("line", "key"),
    [(4, "car.name"), (9, "car.text"), (17, "attitude[2].bump_mm[3]")],
)
def test_key_at_a_line(line: int, key: str) -> None:
    """A mistake of syntax is named by the key it stands at."""
    assert key_text(key_at(TEXT, line)) == key


@pytest.mark.parametrize(
    "text",
    [
        "[[[[",
        "a = [[[{",
        "]",
        "= = =",
        '"',
        "a = '''",
        "a.b.",
        "[a",
        "{{,,}}",
        "[]" * 9999,
    ],
)
def test_nonsense_ends(text: str) -> None:
    """The scan comes to an end on text that is no TOML."""
    assert isinstance(key_lines(text), dict)


def test_deep_nesting_is_given_up() -> None:
    """Nesting beyond Python's stack is not followed, and not fatal."""
    assert key_lines("a = 1\nb = " + "[" * 100_000)[("a",)] == 1


def test_odd_keys_are_quoted() -> None:
    """A control character in a key does not reach the terminal."""
    assert (
        key_text(("tyre", "soft compound", "radius_mm"))
        == 'tyre."soft compound".radius_mm'
    )
    assert "\x1b" not in key_text(("\x1b[2J",))
