"""Memory that is free, and whether what is asked for fits into it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError

SHARE: Final = 0.8
"""Of the free memory that a command may take; the rest is left to the machine. Our own choice."""
MEMORY_FILE: Final = Path("/proc/meminfo")
UNKNOWN: Final = 4e9
"""Bytes taken as free where the system does not tell (assumption: half of a small computer's)."""


def free_memory() -> float:
    """Memory [byte] that programs may still take, as the system tells it."""
    try:
        for line in MEMORY_FILE.read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return float(line.split()[1]) * 1024
    except (OSError, ValueError, IndexError):
        pass
    try:
        return 0.5 * float(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, OSError, ValueError):
        return UNKNOWN


def room() -> float:
    """Memory [byte] that a command may take."""
    return SHARE * free_memory()


def check_memory(needed: float, where: str, what: str) -> None:
    """Stop before something is made that does not fit.

    Raises InputError.

    Parameters
    ----------
    needed : float [byte]
    where, what : str
        For the message.
    """
    if needed > room():
        raise InputError(
            where, f"{what} would take {needed / 1e9:,.1f} GB of memory, allowed here {room() / 1e9:,.1f} GB"
        )
