"""How kernels are compiled: by numba, without the interpreter lock, kept on disk."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import cache, cached_property, partial, update_wrapper
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, ClassVar, TypeVar, cast

import numba
import numpy as np
from llvmlite.binding import add_symbol
from numba.core import cgutils as code_tools
from numba.core import types
from numba.core.compiler_lock import global_compiler_lock
from numba.core.typing.templates import AbstractTemplate
from numba.extending import lower_builtin

from setupopt.physics.kept_kernels import cache_folder
from setupopt.physics.one_piece import (
    ANY_ORDER,
    PartCompiler,
    WholeCompiler,
    options,
)

F = TypeVar("F", bound=Callable[..., Any])


def workers() -> int:
    """Threads a sweep uses: all cores this process may use, or SETUPOPT_THREADS."""
    wanted = os.environ.get("SETUPOPT_THREADS", "")
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    return (
        len(os.sched_getaffinity(0))
        if hasattr(os, "sched_getaffinity")
        else os.cpu_count() or 1
    )


def kernel(function: F) -> F:
    """Compile `function` at its first call, and keep the result for later runs."""
    config: Any = numba.config
    return function if config.DISABLE_JIT else cast(F, Kernel(function))


def any_order(function: F) -> F:
    """Let the sums of a kernel be taken in any order: the processor then takes several terms at a time."""
    vars(function)[ANY_ORDER] = True
    return function


def shared_kernel(
    *arguments: Any, returns: tuple[str, ...] = (), first: bool = False
) -> Callable[[F], F]:
    """A kernel that is compiled by itself, and called by all that use it.

    What a kernel calls is compiled together with it. A large one with several callers would be compiled in
    each of them. Several of these are compiled at a time, on all cores.

    `arguments`: by parameter the layout of a record, a list of one layout for an array of records, or a
    NumPy dtype's name: of a number, or in a list of an array; a list in a list for two dimensions. `returns`:
    dtypes' names. `first`: the first answer of a new user needs it.
    """

    def share(function: F) -> F:
        config: Any = numba.config
        if config.DISABLE_JIT:
            return function
        return cast(F, SharedKernel(function, arguments, returns, first))

    return share


class Kernel:
    """A function that is compiled in one piece with all that it calls, when Python calls it first."""

    def __init__(self, function: Callable[..., Any]) -> None:
        update_wrapper(self, function)
        self.py_func = function

    def __call__(self, *given: Any) -> Any:
        """Run the compiled kernel."""
        return self.whole(*given)

    def __reduce__(self) -> str:
        """By name: every process has its own."""
        return self.py_func.__qualname__

    @cached_property
    def _numba_type_(self) -> Any:
        """What another kernel takes this one for, while it is compiled."""
        return types.Dispatcher(self._part)

    @cached_property
    def _part(self) -> Any:
        """Numba's object for what goes into callers."""
        compiler = partial(
            numba.njit, pipeline_class=PartCompiler, **options(self.py_func)
        )
        return compiler(no_cpython_wrapper=True)(self.py_func)

    @cached_property
    def whole(self) -> Any:
        """Numba's object for this kernel; the shared ones that it may call are where the linker finds them."""
        with global_compiler_lock:
            find(self.shared)
            return self.dispatcher

    @cached_property
    def dispatcher(self) -> Any:
        """Numba's object for this kernel, with what is kept of it on disk."""
        compiled = _dispatcher(self.py_func, cache_folder())
        kept = compiled._cache
        load = getattr(kept, "_load_overload", kept.load_overload)
        if compiled.targetoptions["_nrt"]:
            load = kept.load_overload  # numba's own makes ready all of numba
        kept.load_overload = _forgiving(load, kept.flush)
        kept.save_overload = _forgiving(kept.save_overload)
        return compiled

    @cached_property
    def callees(self) -> tuple[Kernel, ...]:
        """All kernels that are compiled with this one, and the shared ones that it may call."""
        found = dict.fromkeys(_named(self.py_func))
        left = list(found)
        while left:
            one = left.pop()
            if not isinstance(one, SharedKernel):
                new = [k for k in _named(one.py_func) if k not in found]
                found |= dict.fromkeys(new)
                left += new
        return tuple(found)

    @cached_property
    def shared(self) -> tuple[SharedKernel, ...]:
        """The shared kernels that this one may call, after those that they call."""
        direct = [k for k in self.callees if isinstance(k, SharedKernel)]
        return tuple(dict.fromkeys(c for k in direct for c in (*k.shared, k)))

    @property
    def size(self) -> int:
        """About how long it takes to compile, in bytes of Python's code."""
        own = [k for k in self.callees if not isinstance(k, SharedKernel)]
        return sum(len(k.py_func.__code__.co_code) for k in (self, *own))


class SharedKernel(Kernel):
    """A kernel behind a symbol of a fixed name, so that its callers may be kept on disk."""

    # Those that a first answer needs.
    first: ClassVar[list[SharedKernel]] = []

    def __init__(
        self,
        function: Callable[..., Any],
        arguments: tuple[Any, ...],
        returns: tuple[str, ...],
        first: bool,
    ) -> None:
        super().__init__(function)
        self.symbol = f"{function.__module__}.{function.__name__}"
        self._arguments = arguments
        self._returns = returns
        if first:
            self.first.append(self)

    @cached_property
    def signature(self) -> Any:
        """Types of the arguments and of what it returns."""
        results = [_type(name) for name in self._returns] or [types.none]
        result = types.Tuple(results) if results[1:] else results[0]
        return result(*map(_type, self._arguments))

    @cached_property
    def whole(self) -> Any:
        """Numba's object for this kernel. The linker finds it then."""
        with global_compiler_lock:
            find(self.shared, self)
            self.dispatcher.compile(self.signature)
            compiled = self.dispatcher.overloads[self.signature.args]
            name = compiled.fndesc.llvm_func_name
            address = compiled.library.get_pointer_to_function(name)
            add_symbol(self.symbol, address)
            return self.dispatcher

    @property
    def is_kept(self) -> bool:
        """Whether it seems to be on disk; a damaged file is found out when it is read."""
        kept = getattr(self.dispatcher._cache, "_cache_file", None)
        return kept is not None and Path(kept._index_path).exists()

    def compile_alone(self) -> None:
        """Compile it for the disk. It can not be run here: it calls others that are compiled elsewhere."""
        anywhere = ctypes.cast(
            ctypes.pythonapi.Py_IsInitialized, ctypes.c_void_p
        )
        for called in self.shared:
            add_symbol(called.symbol, anywhere.value)
        self.dispatcher.compile(self.signature)

    @cached_property
    def _numba_type_(self) -> Any:
        """A function that is called by symbol."""

        def generic(_: Any, given: Any, __: Any) -> Any:
            return self.signature.return_type(*given)

        members = {"key": self, "generic": generic}
        lower_builtin(self, types.VarArg(types.Any))(self._lower)
        return types.Function(type(self.symbol, (AbstractTemplate,), members))

    def _lower(
        self, context: Any, builder: Any, given: Any, arguments: Any
    ) -> Any:
        """The call: numba's own convention, by symbol."""
        tools: Any = code_tools
        wanted = self.signature.args
        values = [
            context.cast(builder, value, have, need)
            if isinstance(need, types.Number | types.Boolean)
            else value
            for value, have, need in zip(
                arguments, given.args, wanted, strict=True
            )
        ]
        convention = context.call_conv
        result = given.return_type
        kind = convention.get_function_type(result, wanted)
        target = tools.get_or_insert_function(builder.module, kind, self.symbol)
        status, answer = convention.call_function(
            builder, target, result, wanted, values
        )
        with tools.if_unlikely(builder, status.is_error):
            convention.return_status_propagate(builder, status)
        return answer


def _named(function: Any) -> list[Kernel]:
    """Kernels that a function's text names, by themselves or in a module."""
    names = function.__code__.co_names
    own = function.__globals__
    values = [own.get(name) for name in names]
    spaces = [vars(one) for one in values if isinstance(one, ModuleType)]
    values += [space.get(name) for space in spaces for name in names]
    return [value for value in values if isinstance(value, Kernel)]


@cache
def _of_dtype(layout: Any) -> Any:
    return numba.from_dtype(layout)


def _type(argument: Any) -> Any:
    """Numba's type of an argument of `shared_kernel`."""
    dimensions = 0
    while isinstance(argument, list):
        dimensions += 1
        argument = argument[0]
    one = _of_dtype(np.dtype(argument))
    return types.Array(one, dimensions, "C") if dimensions else one


def find(shared: Iterable[SharedKernel], *more: SharedKernel) -> list[Any]:
    """Take shared kernels from disk, or compile them; several are compiled at a time, with `more`."""
    wanted = [*shared, *more]
    if any(one in SharedKernel.first and not one.is_kept for one in wanted):
        wanted += SharedKernel.first
    wanted = [called for one in wanted for called in (*one.shared, one)]
    missing = {one for one in wanted if not one.is_kept}
    if len(missing) > 1 and workers() > 1 and cache_folder() is not None:
        _compile_beside(missing)
    return [one.whole for one in shared]


def _compile_beside(kernels: set[SharedKernel]) -> None:
    """Compile kernels in processes of their own, which leave them on disk. What fails is compiled here later.

    Each process takes the next one's number from a pipe, the largest first.
    """
    ordered = sorted(kernels, key=lambda one: (-one.size, one.symbol))
    names = [
        one.symbol for one in ordered if one.symbol.startswith(__package__)
    ]
    program = "from setupopt.physics.jit import compile_named; compile_named()"
    paths = os.pathsep.join(path or str(Path.cwd()) for path in sys.path)
    numbers, fed = os.pipe()
    os.write(fed, bytes(range(len(names))))
    os.close(fed)
    running = list[Any]()
    try:
        for _ in range(min(workers(), len(names))):
            running.append(
                subprocess.Popen(
                    [sys.executable, "-c", program, *names],
                    stdin=numbers,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    env=os.environ | {"PYTHONPATH": paths},
                )
            )
        for process in running:
            process.wait()
    except OSError:
        return
    finally:
        os.close(numbers)
        for process in running:
            process.kill()


def compile_named() -> None:
    """A process that compiles kernels for another: names on its command line, whose turn it is from a pipe."""
    while number := os.read(0, 1):
        module, name = sys.argv[1 + number[0]].rsplit(".", 1)
        vars(import_module(module))[name].compile_alone()


def _dispatcher(function: Callable[..., Any], folder: Path | None) -> Any:
    """The function as numba compiles it, kept in a folder."""
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = "" if folder is None else str(folder)
    compiler = partial(
        numba.njit, pipeline_class=WholeCompiler, **options(function)
    )
    try:
        return compiler(cache=folder is not None)(function)
    except (
        OSError,
        RuntimeError,
    ):  # the folder takes no file: the disk is full
        return compiler()(function)
    finally:
        config.CACHE_DIR = before


def _forgiving(
    action: Callable[..., Any], after: Callable[[], object] = lambda: None
) -> Callable[..., Any]:
    """Does something with what is kept on disk. Where that fails nothing is kept: `after` clears up.

    Reading a damaged file may raise anything; writing to a full disk raises OSError.
    """

    def tried(*args: Any) -> Any:
        try:
            return action(*args)
        except Exception:
            with suppress(OSError):
                after()
            return None

    return tried
