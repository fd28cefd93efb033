"""How kernels are compiled: by numba, without the interpreter lock, kept on disk.

The folder of the compiled code carries a fingerprint of every kernel's source. Numba itself looks
only at the file a function stands in; a changed helper in another file would go unseen, and an
old number would come back from a new program.
"""

from __future__ import annotations

import hashlib
import platform
import shutil
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from pathlib import Path
from typing import Any, ClassVar, TypeVar, cast

import llvmlite.binding
import numba
import numpy as np
from numba.core import cgutils as code_tools
from numba.core import types
from numba.extending import intrinsic, overload

from setupopt.files import cache_home

# Versions whose compiled kernels are kept besides the present one.
_KEPT = 3
# Beside them in the cache: unfinished studies, which are no old kernels.
UNFINISHED = "unfinished"

F = TypeVar("F", bound=Callable[..., Any])


@cache
def fingerprint() -> str:
    """Hash of all kernel sources, of numba and of the processor's kind."""
    digest = hashlib.sha256(
        f"{numba.__version__} {platform.machine()}".encode()
    )
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _forget_old(home: Path) -> None:
    """Remove compiled kernels of other versions, but for the three used last."""
    kept = (fingerprint(), UNFINISHED)
    others = [
        folder
        for folder in home.iterdir()
        if folder.is_dir() and folder.name not in kept
    ]
    for folder in sorted(others, key=lambda f: f.stat().st_mtime, reverse=True)[
        _KEPT:
    ]:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def cache_folder() -> Path | None:
    """Folder of the compiled kernels, the user's alone; None where there is none, so that nothing is kept."""
    home = cache_home("NUMBA_CACHE_DIR", "XDG_CACHE_HOME")
    if home is None:
        return None
    folder = home / fingerprint()
    try:
        is_new = not folder.exists()
        folder.mkdir(exist_ok=True)
        if is_new:
            _forget_old(home)
    except OSError:
        return None
    return folder


def kernel(function: F) -> F:
    """Compile `function` at its first call, and keep the result for later runs."""
    compiled = _compiler(function, cache_folder())
    cache = getattr(compiled, "_cache", None)  # not where nothing is compiled
    if cache is not None:
        load = _forgiving(cache.load_overload, cache.flush)
        cache.load_overload = lambda *args: (
            load(*args) if _SharedKernel.are_loaded() else None
        )
        cache.save_overload = _forgiving(cache.save_overload)
    return cast(F, compiled)


def shared_kernel(*arguments: Any) -> Callable[[F], F]:
    """A kernel that is compiled once, and called by all that use it.

    Numba puts a copy of a kernel into each kernel that calls it, and optimises it there again. For a large
    one with many callers that is most of the time of compiling.

    `arguments`: by parameter the layout of a record, a list of one layout for an array of records, or a
    NumPy dtype's name: of a number, or in a list of an array of one dimension.
    """

    def share(function: F) -> F:
        compiled = kernel(function)
        if compiled is function:
            return compiled
        return cast(
            F, _SharedKernel(compiled, tuple(map(_type, arguments))).callable()
        )

    return share


def _type(argument: Any) -> Any:
    """Numba's type of an argument of `shared_kernel`."""
    if isinstance(argument, list):
        return types.Array(_type(argument[0]), 1, "C")
    return numba.from_dtype(np.dtype(argument))


class _SharedKernel:
    """A compiled kernel behind a symbol of a fixed name, so that its callers may be kept on disk."""

    # All of them; each stands after those that it calls.
    known: ClassVar[list[_SharedKernel]] = []
    is_loading = False

    def __init__(self, compiled: Any, arguments: tuple[Any, ...]) -> None:
        self.compiled = compiled
        self.arguments = arguments
        self.symbol = (
            f"{compiled.py_func.__module__}.{compiled.py_func.__name__}"
        )
        self.result: Any = None
        self.known.append(self)

    @classmethod
    def are_loaded(cls) -> bool:
        """See to it that every kept kernel finds the shared ones that it may call: a missing symbol ends the
        program.

        A shared kernel that is not kept yet is compiled here. Without it no kept kernel could be taken, and
        a command that only imports it would compile all the others anew in every run.
        """
        if not cls.is_loading:
            cls.is_loading = True
            try:
                for shared in cls.known:
                    if not shared._load():
                        shared.returns()
            finally:
                cls.is_loading = False
        return True

    def _load(self) -> bool:
        """Take the kernel from disk, unless it is there already; whether it is."""
        if self.result is None:
            self._publish(
                self.compiled._cache.load_overload(
                    self.arguments, self.compiled.targetctx
                )
            )
        return self.result is not None

    def _publish(self, result: Any) -> None:
        """Tell the linker where the compiled kernel stands."""
        if result is not None:
            self.result = result
            address = result.library.get_pointer_to_function(
                result.fndesc.llvm_func_name
            )
            llvmlite.binding.add_symbol(self.symbol, address)

    def returns(self) -> Any:
        """Numba's type of what the kernel returns; it is compiled by then."""
        if self.result is None:
            self.compiled.compile(self.arguments)
            self._publish(self.compiled.overloads[self.arguments])
        return self.result.signature.return_type

    def callable(self) -> Any:
        """What Python and other kernels call."""

        def typed(_: Any, given: Any) -> Any:
            return self.returns()(given), self._lower

        call: Any = intrinsic(typed)

        def called(*given: Any) -> Any:
            return self.compiled(*given)

        overload(called)(lambda *given: lambda *given: call(given))
        called.py_func = self.compiled.py_func  # type: ignore[attr-defined]
        return called

    def _lower(
        self, context: Any, builder: Any, signature: Any, arguments: Any
    ) -> Any:
        """The call: numba's own convention, by symbol."""
        tools: Any = code_tools
        given = tools.unpack_tuple(builder, arguments[0])
        values = [
            context.cast(builder, value, have, need)
            if isinstance(need, types.Number)
            else value
            for value, have, need in zip(
                given, signature.args[0], self.arguments, strict=True
            )
        ]
        convention = context.call_conv
        kind = convention.get_function_type(
            signature.return_type, self.arguments
        )
        target = tools.get_or_insert_function(builder.module, kind, self.symbol)
        status, result = convention.call_function(
            builder, target, signature.return_type, self.arguments, values
        )
        with tools.if_unlikely(builder, status.is_error):
            convention.return_status_propagate(builder, status)
        return result


def _compiler(function: Callable[..., Any], folder: Path | None) -> Any:
    """The function as numba compiles it, kept in a folder."""
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = "" if folder is None else str(folder)
    compiler = partial(
        numba.njit, nogil=True, error_model="numpy", no_cfunc_wrapper=True
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


def is_compiled_already() -> bool:
    """Whether an earlier run left compiled kernels, so that the first sweep need not wait."""
    folder = cache_folder()
    return folder is not None and any(folder.rglob("*.nbi"))
