"""Compiled functions: numba's compiler, and where it keeps what it made.

What is kept is named by all compiled sources, not by the one file a function stands in: compiled
code holds what it calls, from whatever file. With ``NUMBA_DISABLE_JIT=1`` set nothing is compiled,
so that a debugger and coverage see the kernels.
"""

from __future__ import annotations

import gc
import hashlib
import re
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, cast

import numba
import numpy as np
from numba.core.caching import CompileResultCacheImpl, FunctionCache
from numpy.typing import NDArray

# what kernels work on
Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]
# a whole number of 64 bits to the compiler, whatever is added to it; a plain one to the type
# checker
int64 = cast("Callable[[int], int]", np.int64)
# the same for an index that is never below 0: nobody need ask whether it counts from the end, and
# only so do loops over sums of indices run in vectors
uint64 = cast("Callable[[int], int]", np.uint64)
_Kernel = TypeVar("_Kernel", bound=Callable[..., Any])  # a decorated function keeps its type

_config: Any = numba.config  # its names are made as it is loaded
_PACKAGE = Path(__file__).parent
# a file with such a line holds compiled functions
_USE = re.compile(rb"^from geoturf\.compiled import .*\b(inlined|inner|jit)\b", re.MULTILINE)
# a record that such functions may take is known by its name alone, not by its fields
_RECORD = re.compile(rb"^class \w+\(NamedTuple\):", re.MULTILINE)
_unkept: list[
    Callable[..., Any]
] = []  # functions for which numba found nowhere to keep what it makes


def inlined(function: _Kernel) -> _Kernel:
    """Made part of the compiled functions that call it. For what has one caller, and so is compiled
    once instead of on its own and again within that; and for small functions in hot loops, since
    arrays handed to a compiled function are counted there, which takes longer than their own
    work."""
    return cast("_Kernel", numba.njit(inline="always")(function))


def jit(function: _Kernel, fastmath: bool = False) -> _Kernel:
    """Compiled when first called, and kept beside the file, or in the user's cache folder where
    that cannot be written (``NUMBA_CACHE_DIR`` names another). It lets go of the interpreter.
    ``fastmath``: for floats that are never NaN or infinite, whose sums may be taken in any
    order."""
    return _kept(function, fastmath=fastmath)


def inner(function: _Kernel, fastmath: bool = False) -> _Kernel:
    """The same for what compiled functions alone call, without a way in from Python: compiled in
    less time. Called from Python it takes the process down."""
    return _kept(
        function,
        fastmath=fastmath,
        no_cpython_wrapper=True,
        no_cfunc_wrapper=True,
    )


def fast(function: _Kernel) -> _Kernel:
    """`jit` for floats that are never NaN or infinite: loops run in vectors."""
    return jit(function, fastmath=True)


def fast_inner(function: _Kernel) -> _Kernel:
    """`inner` for such floats."""
    return inner(function, fastmath=True)


def _kept(function: _Kernel, **how: Any) -> _Kernel:
    made = numba.njit(nogil=True, **how)(function)
    if not _config.DISABLE_JIT:
        try:
            made._cache = _Cache(function)
        except RuntimeError:
            _unkept.append(function)
    return cast("_Kernel", made)


def kept() -> bool:
    """Whether what is compiled serves later runs (or nothing is compiled at all)."""
    return not _unkept


def compiled_now(function: Any, *args: Any) -> bool:
    """Calls a compiled function; tells whether it had to be compiled for that, and is kept."""
    if _config.DISABLE_JIT or not kept():
        function(*args)
        return False
    missed: int = sum(function.stats.cache_misses.values())
    function(*args)
    now: int = sum(function.stats.cache_misses.values())
    return now > missed


def compiling(work: Callable[[], Any]) -> None:
    """Does work that compiles much. A compiler makes many objects and lets go of few: looking for
    those would take a fifth of its time. (A worker that starts with this loads little else.)"""
    gc.disable()
    try:
        work()
    finally:
        gc.enable()


@cache
def sources() -> str:
    """A digest of every file with compiled functions, 12 hex digits. Some milliseconds, once a
    process."""
    digest = hashlib.sha256()
    for path in files():
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def files() -> list[Path]:
    """Every file with compiled functions, and those beside them with records."""
    texts = {path: path.read_bytes() for path in sorted(_PACKAGE.rglob("*.py"))}
    compiled = {path for path, text in texts.items() if _USE.search(text)}
    rooms = {path.parent for path in compiled} - {_PACKAGE}
    records = {path for path in texts if path.parent in rooms and _RECORD.search(texts[path])}
    return sorted(compiled | records)


class _Names(CompileResultCacheImpl):
    """Numba's way to keep a function, under names that tell all compiled sources."""

    def get_filename_base(self, fullname: str, abiflags: str) -> str:
        return f"{super().get_filename_base(fullname, abiflags)}.{sources()}"


class _Cache(FunctionCache):
    """Numba's, but a file cut short or a full disk costs the time to compile anew, not the run."""

    _impl_class = _Names

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        try:
            return super().load_overload(sig, target_context)
        except Exception:  # whatever a damaged pickle raises
            with suppress(OSError):
                self.flush()
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        with suppress(OSError):
            super().save_overload(sig, data)
            self._drop_others()

    def _drop_others(self) -> None:
        """Removes what was kept of this function for other sources, by this version of Python."""
        own = self._impl.filename_base
        name, place = own.rsplit("-", 1)
        python = place.split(".")[1]
        for path in Path(self.cache_path).glob(f"{name}-*.{python}*.nb[ic]"):
            if not path.name.startswith(f"{own}."):
                path.unlink(missing_ok=True)
