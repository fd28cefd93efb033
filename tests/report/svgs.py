"""What stands in a picture."""

from __future__ import annotations

import re
from xml.etree import ElementTree


def words(svg: str) -> list[str]:
    """All texts, in their order; what matplotlib puts in for the eye's sake is no text."""
    return [
        "".join(node.itertext())
        for node in ElementTree.fromstring(svg).iter()
        if node.tag.endswith("text")
    ]


def lines(svg: str) -> str:
    """The same, a text a line."""
    return "\n".join(words(svg))


def hatches(svg: str) -> int:
    """Areas that are filled with a pattern."""
    return len(re.findall(r"fill: ?url\(#h", svg))
