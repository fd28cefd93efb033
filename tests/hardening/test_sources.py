"""What the sources do not do, told from their syntax: no text is run, nothing is unpacked blindly."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = sorted(
    [*(ROOT / "setupopt").rglob("*.py"), *(ROOT / ".ci").glob("*.py")]
)
# Names that are called, alone or as a method, and run or unpack what they are given
RUNNING = {
    "eval", "exec", "__import__", "execfile", "system", "popen", "literal_eval", "query", "read_pickle",
    "to_pickle", "unpack_archive", "extractall",
}  # fmt: skip
UNPACKING = {
    "pickle",
    "cPickle",
    "dill",
    "cloudpickle",
    "marshal",
    "shelve",
    "joblib",
    "yaml",
    "xmlrpc",
}


def faults(tree: ast.AST) -> Iterator[str]:
    """Calls and imports that should not be."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = (
                node.func.attr
                if isinstance(node.func, ast.Attribute)
                else getattr(node.func, "id", "")
            )
            told = {
                word.arg: word.value
                for word in node.keywords
                if word.arg in ("shell", "allow_pickle")
            }
            is_on = any(
                not (isinstance(v, ast.Constant) and v.value is False)
                for v in told.values()
            )
            if (
                name in RUNNING
                or is_on
                or (name in ("load", "save") and _is_numpy(node) and not told)
            ):
                yield f"line {node.lineno}: {name}"
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names = [alias.name for alias in node.names] + [
                getattr(node, "module", None) or ""
            ]
            yield from (
                f"line {node.lineno}: {n}"
                for n in names
                if n.split(".")[0] in UNPACKING
            )


def _is_numpy(node: ast.Call) -> bool:
    """Whether it is numpy's own: without a word on it, loading refuses pickles, but saving makes them."""
    return isinstance(node.func, ast.Attribute) and getattr(
        node.func.value, "id", ""
    ) in ("np", "numpy")


@pytest.mark.parametrize(
    "source", SOURCES, ids=lambda path: str(path.relative_to(ROOT))
)
def test_nothing_is_run_or_unpacked(source: Path) -> None:
    """No eval, exec, pickle, shell, or array of objects."""
    assert list(faults(ast.parse(source.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    "line",
    ["eval('1')", "import pickle", "from pickle import loads", "frame.query('a')", "run('ls', shell=True)",
     "np.load(f, allow_pickle=True)", "np.save(f, a)", "os.system('ls')", "builtins.exec(a)"],
)  # fmt: skip
def test_what_should_not_be_is_seen(line: str) -> None:
    """Each way to run or unpack something, by itself."""
    assert list(faults(ast.parse(line)))
