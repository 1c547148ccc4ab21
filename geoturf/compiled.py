"""Compiled functions: numba's compiler, and where it keeps what it made."""

from __future__ import annotations

import gc
from collections.abc import Callable
from typing import Any

import numba


def inlined(function: Callable[..., Any]) -> Any:
    """Made part of the compiled functions that call it. For what has one caller, and so is compiled once instead of on its own
    and again within that; and for small functions in hot loops, since arrays handed to a compiled function are counted there,
    which takes longer than their own work."""
    return numba.njit(inline="always")(function)


def jit(function: Callable[..., Any], fastmath: bool = False) -> Any:
    """Compiled when first called, and kept beside the file, or in the user's cache folder where that cannot be written. It lets
    go of the interpreter. ``fastmath``: for floats that are never NaN or infinite, whose sums may be taken in any order."""
    return _kept(function, fastmath=fastmath)


def inner(function: Callable[..., Any], fastmath: bool = False) -> Any:
    """The same for what compiled functions alone call, without a way in from Python: compiled in less time. Called from Python
    it takes the process down."""
    return _kept(function, fastmath=fastmath, no_cpython_wrapper=True, no_cfunc_wrapper=True)


def _kept(function: Callable[..., Any], **how: bool) -> Any:
    try:
        return numba.njit(cache=True, nogil=True, **how)(function)
    except RuntimeError:  # numba found nowhere to keep it
        return numba.njit(nogil=True, **how)(function)


def compiling(work: Callable[[], Any]) -> None:
    """Does work that compiles much. A compiler makes many objects and lets go of few: looking for those would take a fifth of its
    time. (A worker that starts with this loads little else.)"""
    gc.disable()
    try:
        work()
    finally:
        gc.enable()
