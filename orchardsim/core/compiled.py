"""Functions of single numbers and loops over trees, compiled.

``@compiled`` compiles a function with numba at its first call. All that it calls is compiled with it, so formulas are
written once, as functions of one tree's numbers, and loops only call them. The code keeps to the letter of the
floating-point standard: no sum is reordered and no product fused with a sum, so the same bytes come out on every
machine that follows the standard (as long as the formulas use :mod:`orchardsim.core.elementary` for their exponentials
and not a math library).

Inside a compiled function a number written with a point means float32: ``0.5 * x`` stays in single precision. A whole
number does not: numba makes float64 of ``1 - x``, so write ``1.0 - x``; and a constant of a module is float32 only if
it was made so (``HALF: Final = np.float32(0.5)``). :func:`in_single_precision` tells whether a function kept to it,
:func:`vectorised` whether its loops run on whole vectors.

Machine code is kept in the user's cache folder, under the name of the code it was made from; where that cannot be
written it is made anew in every process. The first compilation of a process is announced once.
"""

from __future__ import annotations

import functools
import hashlib
import logging
import os
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import llvmlite.binding
import numba
import numpy as np
import platformdirs
from numba.core.caching import CompileResultCacheImpl, FunctionCache, _CacheLocator

Function = TypeVar("Function", bound=Callable[..., Any])
Number = Any
"""Type of the numbers in a compiled function: float32 in a run, whatever a test gives."""
PACKAGE: Final = Path(__file__).parents[1]
ALIAS_CHECKS: Final = 256
"""Most pairs of arrays whose overlap a loop may test for before it runs on vectors (the compiler's own limit of 8
would leave a loop over the arrays of a tree's state unvectorised)."""
SIDE_BY_SIDE: Final = 2
"""Vectors of numbers that a loop works at in turn: a formula is a chain in which each step waits for the one before;
with two chains the processor waits less (a fifth to a third less time on long loops; results are the same)."""
OPTIONS: Final[dict[str, Any]] = {
    "error_model": "numpy",
    "nogil": True,
    "fastmath": False,
    "boundscheck": False,
    # a formula that stayed a call of its own would keep the loop that calls it from running on vectors
    "forceinline": True,
}
UNUSED: Final = 30 * 86_400
"""Seconds after which the code of a version that was not used is thrown out (our own choice: a month)."""
ANNOUNCEMENT: Final = "compiling once, up to half a minute; later runs start at once"
LAST_MADE: Final = "year.fall_leaf-*.nbi"
"""Code of the loop over trees that a year comes to last: where it is, all is. Seasons have loops of their own."""
_log: Final = logging.getLogger("orchardsim")

llvmlite.binding.set_option("orchardsim", f"-force-vector-interleave={SIDE_BY_SIDE}")
llvmlite.binding.set_option("orchardsim", f"-runtime-memory-check-threshold={ALIAS_CHECKS}")


def compiled(function: Function) -> Function:
    """Compile a function at its first call, for the types that it is called with.

    Division by zero gives inf or nan as the floating-point standard says, indices are not checked, and the
    interpreter's lock is released while it runs, so that threads share the work.

    Examples
    --------
    >>> @compiled
    ... def halved(x):
    ...     return 0.5 * x
    >>> float(halved(np.float32(3)))
    1.5
    """
    code = function.__code__
    single = tuple(np.float32(value) if type(value) is float else value for value in code.co_consts)
    function.__code__ = code.replace(co_consts=single)
    dispatcher: Any = numba.njit(**OPTIONS)(function)
    dispatcher._cache = _Announcing() if _cache_folder() is None else _KernelCache(function)
    return cast(Function, dispatcher)


def in_single_precision(function: Any) -> bool:
    """Whether no version of a compiled function made so far computes in double precision."""
    return not any(re.search(r"= f(add|sub|mul|div|pext|cmp \w+) (<\d+ x )?double", text) for text in _texts(function))


def vectorised(function: Any) -> bool:
    """Whether every version of a compiled function made so far holds arithmetic on vectors of float32."""
    return all(re.search(r"= f(add|mul|sub) <\d+ x float>", text) for text in _texts(function))


@functools.cache
def _texts(function: Any) -> list[str]:
    """Intermediate code of each version; code from the cache has none, so it is made again."""
    again = numba.njit(**OPTIONS)(function.py_func)
    for signature in function.signatures:
        again.compile(signature)
    return list(again.inspect_llvm().values())


@functools.cache
def code_stamp() -> str:
    """Name of the code that kernels are made from: a hash of the modules that hold kernels and of all these import."""
    waiting = [path for path in PACKAGE.glob("*/*.py") if "\n@compiled\n" in path.read_text(encoding="utf-8")]
    known = {PACKAGE / "core" / "compiled.py"}
    while waiting:
        path = waiting.pop()
        if path in known or not path.is_file():
            continue
        known.add(path)
        names = re.findall(r"^\s*(?:from|import) orchardsim\.([\w.]+)", path.read_text(encoding="utf-8"), re.MULTILINE)
        waiting += [PACKAGE.joinpath(*name.split(".")).with_suffix(".py") for name in names]
    stamp = hashlib.blake2b(digest_size=8)
    for path in sorted(known):
        stamp.update(path.name.encode() + b"\0" + path.read_bytes())
    return stamp.hexdigest()


@functools.cache
def _cache_folder() -> str | None:
    """Writable folder for the machine code of this version in the user's cache, or None."""
    versions = Path(platformdirs.user_cache_dir("orchardsim", appauthor=False)) / "compiled"
    folder = versions / code_stamp()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".used"
        probe.write_bytes(b"")
        for other in versions.iterdir():
            if other.stat().st_mtime < probe.stat().st_mtime - UNUSED:
                shutil.rmtree(other, ignore_errors=True)
        os.utime(folder)
    except OSError:
        return None
    return str(folder)


def to_compile(in_memory: bool) -> bool:
    """Whether machine code has yet to be made that other processes of this run can have from this one.

    ``in_memory``: they are copies of this process; else they have it from the cache folder, if there is one.
    """
    folder = _cache_folder()
    return in_memory if folder is None else not any(Path(folder).glob(LAST_MADE))


@functools.cache
def _announce() -> None:
    # before a terminal it takes the place of a progress line, which is then drawn anew below
    _log.warning("%s%s", "\r\x1b[K" if sys.stderr.isatty() else "", ANNOUNCEMENT)


class _KernelLocator(_CacheLocator):
    """Tells numba where machine code is kept and what code it belongs to: that of the function and of all it calls."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.name = f"{Path(function.__code__.co_filename).stem}-{function.__code__.co_firstlineno}"

    def get_cache_path(self) -> str:
        folder = _cache_folder()
        assert folder is not None
        return folder

    def get_source_stamp(self) -> str:
        return code_stamp()

    def get_disambiguator(self) -> str:
        return self.name

    @classmethod
    def from_function(cls, function: Callable[..., Any], file: str) -> _KernelLocator:
        return cls(function)


class _KernelCacheImpl(CompileResultCacheImpl):
    _locator_classes: list[Any] = [_KernelLocator]  # noqa: RUF012 (as numba declares it)


class _KernelCache(FunctionCache):
    """Machine code on disk; a full or broken disk costs a compilation, never a run."""

    _impl_class = _KernelCacheImpl

    def load_overload(self, signature: Any, target: Any) -> Any:
        try:
            found = super().load_overload(signature, target)
        except Exception:  # an unreadable file of whatever kind is made anew
            found = None
        if found is None:
            _announce()
        return found

    def save_overload(self, signature: Any, data: Any) -> None:
        try:
            super().save_overload(signature, data)
        except OSError:
            _log.debug("compiled code could not be kept", exc_info=True)


class _Announcing:
    """Stands in for a cache where nothing can be kept."""

    cache_path = None

    def load_overload(self, signature: Any, target: Any) -> None:
        _announce()

    def save_overload(self, signature: Any, data: Any) -> None:
        return None

    def flush(self) -> None:
        return None
