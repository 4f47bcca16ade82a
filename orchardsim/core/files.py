"""Reading files that a user names: plain files only, and never more than a limit."""

from __future__ import annotations

import os
import stat
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

from orchardsim.core.errors import InputError
from orchardsim.core.shipped import shipped_as

CHUNK: Final = 1 << 20
"""Bytes read at a time."""
GZIP: Final = b"\x1f\x8b"
"""First bytes of a gzip file (RFC 1952)."""


def check_file(path: Path | str, expected: str) -> int:
    """Size [byte] of a plain file; whatever else a name may stand for is refused without being opened.

    ``expected``: what should stand there, for the message. Raises InputError if there is nothing, a folder, a device, a
    pipe, or something that may not be looked at.
    """
    where = str(path)
    if not where or "\x00" in where:
        raise InputError(where or "''", f"is no file name; expected {expected}")
    try:
        found = os.stat(path)
    except FileNotFoundError:
        ships = shipped_as(Path(path).name)
        beside = f"; the one that ships with the program is {ships}" if ships is not None else ""
        raise InputError(where, f"no such file; expected {expected}{beside}") from None
    except (OSError, ValueError) as error:
        raise InputError(where, f"cannot be read: {reason(error)}; expected {expected}") from None
    if stat.S_ISDIR(found.st_mode):
        raise InputError(where, f"found a folder, expected {expected}")
    if not stat.S_ISREG(found.st_mode):
        raise InputError(where, f"found a device or a pipe, expected {expected} in a plain file")
    return found.st_size


@contextmanager
def plain_file(path: Path | str, expected: str, largest: int) -> Iterator[BinaryIO]:
    """A plain file of at most ``largest`` bytes, open for reading.

    Raises InputError as :func:`check_file`, and if the file is larger or fails while it is read.
    """
    size = check_file(path, expected)
    if size > largest:
        raise InputError(str(path), f"found a file of {size:,} bytes, allowed at most {largest:,}; expected {expected}")
    try:
        # A pipe that takes the file's place after the check must not make us wait.
        with open(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)), "rb") as stream:
            yield stream
    except OSError as error:
        raise InputError(str(path), f"cannot be read: {reason(error)}; expected {expected}") from None


def read_bytes(path: Path | str, expected: str, largest: int) -> bytes:
    """Content of a plain file of at most ``largest`` bytes; raises as :func:`plain_file`."""
    with plain_file(path, expected, largest) as stream:
        content = stream.read(largest + 1)
    if len(content) > largest:
        raise InputError(str(path), f"found more than {largest:,} bytes; expected {expected}")
    return content


def unzipped(content: bytes, where: str, largest: int) -> bytes:
    """Plain bytes of a gzip file, its parts one after another; it is never unpacked beyond ``largest``.

    Raises InputError if it is broken, or holds more.
    """
    parts: list[bytes] = []
    total = 0
    rest = content
    try:
        while rest[:2] == GZIP:
            machine = zlib.decompressobj(wbits=31)
            while rest and not machine.eof:
                part = machine.decompress(rest, CHUNK)
                total += len(part)
                if total > largest:
                    raise InputError(where, f"holds more than {largest:,} bytes unpacked; allowed at most that")
                parts.append(part)
                rest = machine.unconsumed_tail or (b"" if not machine.eof else rest)
            if not machine.eof:
                raise InputError(where, "is a broken gzip file (it ends too early)")
            rest = machine.unused_data.lstrip(b"\x00")
    except zlib.error as error:
        raise InputError(where, f"is a broken gzip file ({error})") from None
    return b"".join(parts)


def reason(error: BaseException) -> str:
    """Why the system refused, in its own words."""
    return str(getattr(error, "strerror", None) or error)
