"""Imports point down, as DEVELOPERS.md says: told from the source, whether a line ever runs or not."""

from __future__ import annotations

import ast
import functools
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from hardening.test_sources import UNPACKING

import setupopt

PACKAGE = Path(setupopt.__file__).parent
SOURCES = sorted(
    path for path in PACKAGE.rglob("*.py") if "setups" not in path.parts
)


def module_name(path: Path) -> str:
    """Dotted name of a source file."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in SOURCES}


def imported(tree: ast.AST) -> Iterator[str]:
    """Every module that a source names in an import, wherever it stands; `from a import b` as a and a.b."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written out in full"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@functools.cache
def tree_of(name: str) -> ast.AST:
    """Parsed source of a module."""
    return ast.parse(MODULES[name].read_text(encoding="utf-8"))


def of_all(
    names: Iterable[str],
) -> Callable[[Callable[[str], None]], Callable[[], None]]:
    """One test over many modules: a thousand tests of a millisecond each would cost more than they check."""

    def test_of(check: Callable[[str], None]) -> Callable[[], None]:
        def over_all() -> None:
            for name in names:
                try:
                    check(name)
                except AssertionError as wrong:
                    raise AssertionError(f"{name}: {wrong}") from wrong

        over_all.__doc__ = check.__doc__
        return over_all

    return test_of


@functools.cache
def imports_of(name: str) -> set[str]:
    """Modules that a module imports; of the package only those that exist under that name."""
    found = set(imported(tree_of(name)))
    return {n for n in found if n.split(".")[0] != "setupopt" or n in MODULES}


def room(name: str) -> str:
    """Room of the house that a module stands in: its package, or the module itself at the top."""
    return ".".join(name.split(".")[:2])


ROOMS = sorted({room(name) for name in MODULES} - {"setupopt"})
# Every room may import only these others. A room that is not listed fails: say here where it belongs.
BELOW: dict[str, set[str]] = {
    "errors": set(),
    "units": set(),
    "files": {"errors"},
    "physics": {"errors", "units", "files"},
    "project": {"errors", "units", "files"},
}
BASE = set(BELOW)
BELOW["jobs"] = {"errors", "files", "physics"}
BELOW["evaluation"] = BASE
for study in ("robust", "fit"):
    BELOW[study] = BASE | {"jobs", "evaluation"}
BELOW["search"] = BASE | {"jobs", "evaluation", "robust"}
BELOW["route"] = BASE | {"jobs", "evaluation", "robust", "search"}
BELOW["learn"] = BASE | {"jobs", "evaluation", "robust", "search", "route"}
ANSWERS = BASE | {
    "jobs",
    "evaluation",
    "robust",
    "fit",
    "search",
    "route",
    "learn",
}
BELOW["sheet"] = ANSWERS
BELOW["report"] = ANSWERS | {"sheet"}
BELOW["explore"] = ANSWERS | {"sheet", "report"}
BELOW["api"] = ANSWERS | {"sheet", "report"}
BELOW["cli"] = BELOW["api"] | {"api", "explore"}


@of_all(ROOMS)
def test_rooms_stand_where_they_should(name: str) -> None:
    """A room imports nothing from above or beside it."""
    short = name.removeprefix("setupopt.")
    assert short in BELOW, (
        f"{short}: say in tests/test_layers.py what it may import"
    )
    allowed = {f"setupopt.{other}" for other in BELOW[short]} | {name}
    for module in (m for m in MODULES if room(m) == name):
        used = {
            room(other)
            for other in imports_of(module)
            if other.startswith("setupopt.")
        }
        assert used <= allowed, f"{module} imports {sorted(used - allowed)}"


def test_no_room_above_is_imported_from_below() -> None:
    """The table itself goes one way: no two rooms may import each other, however long the way round."""
    left = dict(BELOW)
    while left:
        bottom = [
            short
            for short, below in left.items()
            if not below & left.keys() - {short}
        ]
        assert bottom, f"a circle among {sorted(left)}"
        for short in bottom:
            del left[short]


def test_the_front_door_imports_only_on_first_use() -> None:
    """`import setupopt` runs no import of a room: names for type checkers alone, the rest by __getattr__."""
    tree = ast.parse(MODULES["setupopt"].read_text(encoding="utf-8"))
    run = [
        node
        for node in tree.body
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert not any(
        name.startswith("setupopt") for node in run for name in imported(node)
    )


@of_all([m for m in MODULES if not m.startswith("setupopt.cli")])
def test_nothing_imports_the_command_line(name: str) -> None:
    """Commands alone print and exit; nobody else knows click."""
    assert not any(
        other.startswith(("setupopt.cli", "click"))
        for other in imports_of(name)
    )


KERNELS = [m for m in MODULES if m.startswith("setupopt.physics")]
# Standard modules by which a file or another process could be reached.
REACHING = {
    "os",
    "io",
    "pathlib",
    "shutil",
    "tempfile",
    "subprocess",
    "socket",
    "json",
    "csv",
    "tomllib",
    "sqlite3",
}
# Compiled kernels are kept on disk, made by processes of their own; sweep asks whether a card is wanted.
MAY_REACH = {
    "setupopt.physics.jit": {"os", "pathlib", "subprocess"},
    "setupopt.physics.kept_kernels": {"shutil", "os", "pathlib"},
    "setupopt.physics.sweep": {"os"},
}


ENGINE = [m for m in MODULES if m.startswith("setupopt.search.engine")]


@of_all(ENGINE)
def test_the_engine_knows_arrays_and_functions_only(name: str) -> None:
    """The max-min engine solves any batch function: it knows no car, no project and no file."""
    used = imports_of(name)
    assert {n for n in used if n.startswith("setupopt")} <= {
        "setupopt.errors",
        *ENGINE,
    }
    assert {n.split(".")[0] for n in used} - set(sys.stdlib_module_names) <= {
        "numpy",
        "scipy",
        "clarabel",
        "cvxpy",
        "setupopt",
    }
    assert not {n.split(".")[0] for n in used} & REACHING


def test_the_engine_is_there() -> None:
    """The test above has modules to look at."""
    assert len(ENGINE) > 5


@of_all(KERNELS)
def test_physics_knows_numbers_only(name: str) -> None:
    """Outside the standard library numpy, scipy, numba and its llvmlite; of the package, errors, units."""
    used = {other.split(".")[0] for other in imports_of(name)}
    assert used - set(sys.stdlib_module_names) <= {
        "numpy",
        "scipy",
        "numba",
        "llvmlite",
        "setupopt",
    }
    assert used & REACHING <= MAY_REACH.get(name, set())


@of_all([m for m in KERNELS if m != "setupopt.physics.kept_kernels"])
def test_physics_opens_no_file(name: str) -> None:
    """No call of open, of a path's reading and writing, or of NumPy's; and nothing printed."""
    called = {
        node.func.id if isinstance(node.func, ast.Name) else node.func.attr
        for node in ast.walk(tree_of(name))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name | ast.Attribute)
    }
    files = {
        "open",
        "read_text",
        "write_text",
        "read_bytes",
        "write_bytes",
        "load",
        "save",
        "loadtxt",
        "savetxt",
    }
    assert not called & (files | {"print", "input"})


@of_all([m for m in MODULES if m.startswith("setupopt.report")])
def test_the_report_computes_nothing(name: str) -> None:
    """It formats and draws. Of the physics it knows the types of arrays; it starts no evaluation."""
    used = set(imported(tree_of(name)))
    physics = {other for other in used if other.startswith("setupopt.physics.")}
    assert all(
        other.startswith("setupopt.physics.inputs") for other in physics
    ), sorted(physics)
    assert not used & {
        "setupopt.evaluation.assessment.assess",
        "setupopt.evaluation.drawn_state.drawn_state",
        "setupopt.evaluation.model.Model",
        "setupopt.evaluation.model.evaluate",
        "setupopt.evaluation.report_data.report",
    }


@of_all(MODULES)
def test_nothing_is_run_or_unpacked_blindly(name: str) -> None:
    """No eval, exec or compile of text, and no pickle, which runs what it reads."""
    for node in ast.walk(tree_of(name)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"eval", "exec", "compile", "__import__"}
    packages = {other.split(".")[0] for other in imports_of(name)}
    assert not packages & UNPACKING


@of_all(
    [
        m
        for m in MODULES
        if not m.startswith(("setupopt.cli", "setupopt.report"))
    ],
)
def test_only_the_command_line_prints(name: str) -> None:
    """A library that prints cannot be used under `--json`."""
    calls = [
        n
        for n in ast.walk(tree_of(name))
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
    ]
    assert not [n.lineno for n in calls if n.func.id in {"print", "input"}]


def test_the_search_for_imports_sees_them() -> None:
    """Late imports, imports under `if`, and names taken from a package all count."""
    source = "def f():\n    from setupopt import evaluation\nif 1:\n    import click.testing as t\n"
    assert set(imported(ast.parse(source))) == {
        "setupopt",
        "setupopt.evaluation",
        "click.testing",
    }
    assert "setupopt.physics.tyre" in imports_of("setupopt.physics.pad")
    assert len(MODULES) > 30
