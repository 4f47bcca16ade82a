"""What a caller asks of a run: refused here, whether it comes from Python or from the command line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from numbers import Integral
from typing import Any, Final

from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.streams import PROCESSES
from orchardsim.core.text import quoted

BOUNDS: Final = {
    "trials": (1, 1_000_000),
    "years": (1, 80),
    "seed": (0, 2**63 - 1),
    "jobs": (1, 1024),
}
"""Smallest and largest value of each number of a run; our own choice but for the seed (63 bits)."""
SEASONS: Final = ("sampled", "record")


def check_arguments(
    *,
    seasons: str = "sampled",
    process_seeds: Mapping[str, int] | None = None,
    single_trees: Iterable[int] = (),
    **numbers: Any,
) -> None:
    """Refuse numbers, words and names that no run takes.

    Parameters
    ----------
    process_seeds : mapping, optional
    single_trees : iterable of int
    **numbers
        Those of :data:`BOUNDS` that the caller has.

    Raises
    ------
    InputError
        Naming the argument, what was found and what is allowed.
    """
    for name, value in numbers.items():
        _check_number(name, value, *BOUNDS[name])
    if not isinstance(seasons, str) or seasons not in SEASONS:
        raise InputError("seasons", f"found {quoted(seasons)}, allowed: {', '.join(map(repr, SEASONS))}")
    for process, seed in (process_seeds or {}).items():
        if process not in PROCESSES:
            raise InputError("process_seeds", f"found {quoted(process)}, {nearest_names(str(process), PROCESSES)}")
        _check_number(f"process_seeds[{process!r}]", seed, *BOUNDS["seed"])
    for trial in single_trees:
        _check_number("single_trees", trial, 0, BOUNDS["trials"][1] - 1)


def _check_number(name: str, value: Any, low: int, high: int) -> None:
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise InputError(name, f"found {quoted(value)}, expected a whole number from {low:,} to {high:,}")
    if not low <= int(value) <= high:
        raise InputError(name, f"found {quoted(int(value))}, allowed {low:,} to {high:,}")
