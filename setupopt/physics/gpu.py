"""The sweep on an NVIDIA card: the same kernels compiled for it by numba-cuda, one thread a case.

A kernel finds the kernels that it calls by name in its module. For the card every module is copied, with its
kernels compiled for the card in place of those for the processor.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module
from types import FunctionType, ModuleType
from typing import Any

import numpy as np
from numba import from_dtype

from setupopt.physics import sweep
from setupopt.physics.balance import WORK
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.inputs import ANSWER, CASE, Records
from setupopt.physics.kept_kernels import cache_folder

# Cases at a time: their answers are what the card's memory must hold.
AT_A_TIME = 1 << 18
_THREADS = 64
# A kernel of more bytecode is called where it is used. A copy there would take the compiler minutes.
_LONG = 400
_PACKAGE = "setupopt.physics."
# Set in the copy of this module: numba's module for the card, and the air elements of a car.
cuda: Any = None
ELEMENTS = 0
_PART, _STATE, _ROAD, _WORK = (
    from_dtype(layout) for layout in (CASE, CASE_STATE, ROADBED, WORK)
)


def missing() -> str:
    """Why no card can be used; empty where one can."""
    try:
        found: Any = import_module("numba.cuda")
        import_module("numba_cuda")
    except ImportError:
        return "the extra `gpu` is not installed"
    return (
        ""
        if found.is_available()
        else "there is no NVIDIA card, or no driver for one"
    )


class _Copies:
    """Modules whose kernels are compiled for the card."""

    def __init__(self, card: Any) -> None:
        self.card = card
        self.modules: dict[str, ModuleType] = {}

    def module(self, name: str) -> ModuleType:
        """The copy of a module of this package."""
        if name in self.modules:
            return self.modules[name]
        copied = self.modules[name] = ModuleType(name)
        own = dict(vars(sys.modules[name]))
        copied.__dict__.update(own)
        for word, value in own.items():
            copied.__dict__[word] = self.value(value, copied)
        return copied

    def value(self, value: Any, copied: ModuleType) -> Any:
        """What stands in a copy in place of a value: modules and kernels of the card for those here."""
        if isinstance(value, ModuleType) and value.__name__.startswith(
            _PACKAGE
        ):
            return self.module(value.__name__)
        function = getattr(value, "py_func", None)
        if function is None:
            return value
        if function.__module__ != copied.__name__:
            return vars(self.module(function.__module__))[function.__name__]
        compiled = self.card.jit(device=True)(_moved(function, copied))
        if len(function.__code__.co_code) > _LONG:
            compiled.compile_device = _called(compiled.compile_device)
        return compiled


def _moved(function: Any, module: ModuleType) -> Any:
    """A function that finds its names in another module."""
    return FunctionType(
        function.__code__,
        module.__dict__,
        function.__name__,
        function.__defaults__,
    )


def _called(compile_device: Callable[..., Any]) -> Callable[..., Any]:
    """Compiles a kernel such that it is never copied into another."""

    def compiled(*given: Any) -> Any:
        found = compile_device(*given)
        found.library.get_function(found.fndesc.llvm_func_name).attributes.add(
            "noinline"
        )
        return found

    return compiled


def _solve_thread(
    cars: Any, elements: Any, points: Any, setups: Any, cases: Any, first: int, answers: Any
) -> None:  # fmt: skip
    """Answer of one thread. Its scratch lies in memory of its own, which the card interleaves."""
    i = cuda.grid(1)
    if i >= answers.shape[0]:
        return
    part = cuda.local.array(1, _PART)
    state = cuda.local.array(1, _STATE)
    road = cuda.local.array(ELEMENTS, _ROAD)
    work = cuda.local.array(1, _WORK)
    answer = answers[i]
    sweep.solve_row(
        cars, elements, points, setups, cases, answer, False, False, False, first + i, part[0], state[0],
        road, work[0], answer,
    )  # fmt: skip


@cache
def _kernel(elements: int) -> Any:
    """The kernel of the card for cars of so many air elements, kept on disk."""
    card: Any = import_module("numba.cuda")
    config: Any = import_module("numba.cuda.core.config")
    copied: Any = _Copies(card).module(__name__)
    copied.cuda = card
    copied.ELEMENTS = elements
    entry = _moved(_solve_thread, copied)
    entry.__qualname__ = f"solve_{elements}"
    folder = cache_folder()
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder or "")
    try:
        return card.jit(cache=folder is not None)(entry)
    finally:
        config.CACHE_DIR = before


def run(
    car: tuple[Records, Records, Records],
    setups: Records,
    cases: Records,
    progress: Callable[[int], object],
) -> Records:
    """As `sweep.run`, every case by itself, on the card.

    Margins agree with the processor's to 1e-9; where the path of falling friction breaks off, to 1e-5. The
    answers come back in pieces: the card's memory does not limit how many there are.
    """
    card: Any = import_module("numba.cuda")
    answers = np.zeros(setups.size * cases.size, ANSWER)
    kernel = _kernel(car[1].shape[1])
    given = [card.to_device(array) for array in (*car, setups, cases)]
    for first in range(0, answers.size, AT_A_TIME):
        rows = answers[first : first + AT_A_TIME]
        piece = card.to_device(rows)
        kernel[-(-rows.size // _THREADS), _THREADS](*given, first, piece)
        piece.copy_to_host(rows)
        progress(rows.size)
    return answers
