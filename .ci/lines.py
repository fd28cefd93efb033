#!/usr/bin/env python3
"""How dense the lines of setupopt/ are: fails where they hold more than one statement each.

Two figures: AST nodes in a non-blank line, and assignments that pack several values into one line
(`a, b = x, y`) in a thousand non-blank lines. With --report it prints them and never fails.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable
from pathlib import Path

MOST_NODES = 7.5
MOST_PACKED = 4.0


def is_packed(node: ast.AST) -> bool:
    """Whether a node assigns several written-out values to several names at once."""
    if not isinstance(node, ast.Assign) or not isinstance(
        node.value, ast.Tuple
    ):
        return False
    return any(isinstance(target, ast.Tuple) for target in node.targets)


def density(files: Iterable[Path]) -> tuple[float, float]:
    """AST nodes in a non-blank line, and packed assignments in a thousand of them."""
    nodes = 0
    packed = 0
    lines = 0
    for file in files:
        text = file.read_text(encoding="utf-8")
        lines += sum(1 for line in text.splitlines() if line.strip())
        for node in ast.walk(ast.parse(text)):
            nodes += 1
            packed += is_packed(node)
    return nodes / lines, 1000.0 * packed / lines


def main(only_report: bool) -> int:
    """Prints both figures; 1 where one is beyond its limit."""
    nodes, packed = density(
        sorted((Path(__file__).parents[1] / "setupopt").rglob("*.py"))
    )
    print(f"AST nodes in a non-blank line: {nodes:.2f}, at most {MOST_NODES:g}")
    print(
        f"packed assignments in a thousand lines: {packed:.2f}, at most {MOST_PACKED:g}"
    )
    is_dense = nodes > MOST_NODES or packed > MOST_PACKED
    return int(is_dense and not only_report)


if __name__ == "__main__":
    sys.exit(main("--report" in sys.argv[1:]))
