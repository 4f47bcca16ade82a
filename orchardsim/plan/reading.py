"""Reads a plan file as text; whatever is wrong with it becomes one clear line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Final

from orchardsim.core.errors import InputError

LARGEST_FILE: Final = 5_000_000


def read_toml(path: Path) -> dict[str, Any]:
    """Tables of a TOML file.

    Raises
    ------
    InputError
        If the file is missing, a folder, unreadable, empty, too large, no text, or no TOML.
    """
    where = str(path)
    try:
        if path.is_dir():
            raise InputError(where, "found a folder, expected a plan file (TOML)")
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(where, f"found a file of {path.stat().st_size:,} bytes, allowed at most {LARGEST_FILE:,}")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError(where, "no such file; expected a plan file (TOML)") from None
    except (OSError, ValueError) as error:
        raise InputError(where, f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if not raw.strip():
        raise InputError(where, "the file is empty; expected a plan (TOML)")
    if b"\x00" in raw:
        raise InputError(where, "found a binary file, expected text (TOML)")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(where, f"line {line}: found bytes that are no UTF-8 text, expected TOML text") from None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(where, f"broken TOML: {error}") from None
    except RecursionError:
        raise InputError(where, "broken TOML: tables or lists nested too deeply") from None
