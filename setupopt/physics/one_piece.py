"""How numba compiles a kernel in one piece with all that it calls.

Numba by itself compiles every callee to the end, copies it into each caller, and optimises it there again.
Here callees are kept as they are written until the kernel that Python calls is compiled, and all of it is
optimised once. That halves the time of the compiler.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import BuiltinFunctionType, SimpleNamespace
from typing import Any

from llvmlite.binding import Linkage, parse_assembly
from numba.core import untyped_passes as untyped
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, Flags
from numba.core.compiler_machinery import PassManager
from numba.core.typed_passes import (
    NativeLowering,
    NoPythonBackend,
    NopythonTypeInference,
    PreLowerStripPhis,
)

# Numba's passes, less those for what no kernel has: closures, contexts, expressions of whole arrays.
_PASSES = (
    untyped.TranslateByteCode,
    untyped.FixupArgs,
    untyped.IRProcessing,
    untyped.RewriteSemanticConstants,
    untyped.DeadBranchPrune,
    untyped.GenericRewrites,
    untyped.ReconstructSSA,
    NopythonTypeInference,
    PreLowerStripPhis,
    NativeLowering,
    NoPythonBackend,
)
# What operators give, by their arguments.
_SIGNATURES: dict[Any, Any] = {}
# A kernel that names one of these makes arrays, for which references must be counted.
# A kernel with this attribute may add up in any order.
ANY_ORDER = "any_order"
_MAKERS = {"array", "ascontiguousarray", "empty", "full", "zeros"}


def options(function: Callable[..., Any]) -> dict[str, Any]:
    """How a kernel is compiled."""
    return {
        "nogil": True,
        "error_model": "numpy",
        "no_cfunc_wrapper": True,
        "fastmath": {"contract", "reassoc"}
        if hasattr(function, ANY_ORDER)
        else {"contract"},
        "_nrt": not _MAKERS.isdisjoint(function.__code__.co_names),
    }


class Part(JITCodeLibrary):  # type: ignore[misc]
    """Code of a kernel that others call: nothing is done with it until one of them is compiled."""

    codegen = SimpleNamespace(set_env=lambda *_: None)

    def finalize(self) -> None:
        """Leave it as it is."""
        self._finalized = True

    def get_pointer_to_function(self, name: str) -> int:
        """It stands nowhere."""
        return 0


class Whole(JITCodeLibrary):  # type: ignore[misc]
    """Code of a kernel that Python calls, or others by symbol, with the code of all that it calls."""

    def finalize(self) -> None:
        """Put the parts in, make them its own, and optimise all of it."""
        parts = dict.fromkeys(self._linking_libraries)
        left = list(parts)
        while left:
            for called in getattr(left.pop(), "_linking_libraries", ()):
                if called not in parts:
                    parts[called] = None
                    left.append(called)
        self._linking_libraries = list(parts)
        super().finalize()

    def _optimize_final_module(self) -> None:
        for function in self._final_module.functions:
            if function.linkage == Linkage.linkonce_odr:
                function.linkage = Linkage.internal
        super()._optimize_final_module()

    def serialize_using_object_code(self) -> Any:
        """Machine code alone: nobody copies this kernel. Of its functions numba must know that they exist."""
        self._ensure_finalized()
        stubs = [
            f'define void @"{function.name}"() {{ ret void }}'
            for function in self._final_module.functions
            if not function.is_declaration
            and function.linkage == Linkage.external
        ]
        names = parse_assembly("\n".join(stubs)).as_bitcode()
        return self.name, "object", (self._get_compiled_object(), names)


class _Flags(Flags):  # type: ignore[misc]
    """Options of a compilation. Numba compares them at every operation, and asks for all each time."""

    def values(self) -> Any:
        """Asked for once: they do not change while a kernel is compiled."""
        if not hasattr(self, "_all"):
            self._all = super().values()
            self._hash = super().__hash__()
        return self._all

    def __hash__(self) -> int:
        self.values()
        return self._hash

    __eq__ = Flags.__eq__


@contextmanager
def _quickly(context: Any) -> Iterator[None]:
    """Collect garbage afterwards: there is little of it. Ask numba once what an operator gives."""
    if "resolve_function_type" in vars(context):  # a callee of what is compiled
        yield
        return
    ask = context.resolve_function_type

    def known(function: Any, given: Any, named: Any) -> Any:
        if not isinstance(function, BuiltinFunctionType) or named:
            return ask(function, given, named)
        key = function, given
        if key not in _SIGNATURES:
            _SIGNATURES[key] = ask(function, given, named)
        return _SIGNATURES[key]

    is_collecting = gc.isenabled()
    gc.disable()
    context.resolve_function_type = known
    try:
        yield
    finally:
        del context.resolve_function_type
        if is_collecting:
            gc.enable()


class PartCompiler(CompilerBase):  # type: ignore[misc]
    """Compiles a kernel for its callers."""

    library: Any = Part

    def define_pipelines(self) -> list[Any]:
        """The passes."""
        passes = PassManager("kernel")
        for number, one in enumerate(_PASSES):
            passes.add_pass(one, f"step {number}")
        passes.finalize()
        return [passes]

    def compile_extra(self, func: Any) -> Any:
        """As numba does, but into a library of our own."""
        codegen = self.state.targetctx.codegen()
        self.state.library = self.library(codegen, func.__qualname__)
        self.state.library.enable_object_caching()
        self.state.flags = _Flags(self.state.flags)
        with _quickly(self.state.typingctx):
            return super().compile_extra(func)


class WholeCompiler(PartCompiler):
    """Compiles a kernel for Python, or behind a symbol."""

    library = Whole
