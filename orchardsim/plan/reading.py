"""Reads a plan file as text; whatever is wrong with it becomes one clear line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from orchardsim.core.errors import InputError

LARGEST_FILE: Final = 5_000_000
_PLACE: Final = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


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
        raise InputError(where, f"broken TOML: {_plain(str(error), text)}") from None
    except RecursionError:
        raise InputError(where, "broken TOML: tables or lists nested too deeply") from None


def _plain(message: str, text: str) -> str:
    """What is wrong with a TOML text, in the words of somebody who has never read of TOML.

    Examples
    --------
    >>> _plain("Invalid value (at line 1, column 9)", "title = My farm")
    "line 1: found title = My farm; text needs quotes, such as title = 'My farm'"
    >>> _plain("Cannot overwrite a value (at line 2, column 10)", "title = 'a'\\ntitle = 'b'")
    "line 2: the key 'title' stands twice in its table; allowed: once"
    """
    place = _PLACE.search(message)
    if place is None:
        return message
    lines = text.rstrip("\n").split("\n")
    number, column = (int(place[1]), int(place[2])) if place[1] else (len(lines), 0)
    # A fault found at the end of a line is told of the line after it.
    if message.startswith("Cannot overwrite") and number > 1 and column == 1:
        number -= 1
    line = lines[number - 1].strip() if number <= len(lines) else ""
    key, equals, value = (part.strip() for part in line.partition("="))
    if message.startswith("Cannot overwrite") and equals:
        return f"line {number}: the key {key!r} stands twice in its table; allowed: once"
    if message.startswith("Cannot declare"):
        return f"line {number}: the table {line} stands twice; allowed: once, with all its keys below it"
    if message.startswith("Invalid value") and equals:
        value = value.split("#")[0].strip()
        if not value:
            return f"line {number}: {key} has no value after the equals sign"
        if value.casefold() in ("yes", "no", "true", "false", "on", "off"):
            return f"line {number}: found {key} = {value}; allowed: true or false, in small letters without quotes"
        if re.match(r"[A-Za-z_]", value):
            return f"line {number}: found {key} = {value}; text needs quotes, such as {key} = {value!r}"
    if re.match(r"(Unclosed|Expected newline|Illegal character|Unterminated)", message) and equals:
        if re.match(r"[+-]?[\d.]+\s*[A-Za-z°%/]", value):
            value = value.split("#")[0].strip()
            return f"line {number}: found {key} = {value}; a number with a unit needs quotes, such as {key} = {value!r}"
        if value[:1] in "\"'" and value.count(value[0]) == 1:
            return f"line {number}: found {line}; the closing quote is missing"
    return message[: place.start()] + f" (line {number}: {line})" if line else message
