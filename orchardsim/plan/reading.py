"""Reads a plan file as text; whatever is wrong with it becomes one clear line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import read_bytes
from orchardsim.core.text import quoted, steers, visible
from orchardsim.plan.raw import RawTable

EXPECTED: Final = "a plan file (TOML)"
LARGEST_FILE: Final = 500_000
"""Bytes; with the limits below, whatever stands in a plan is read or refused within a second. Our own choice: the plans
shipped hold some 3,000."""
LONGEST_LINE: Final = 4_000
LONGEST_TEXT: Final = 10_000
LONGEST_KEY: Final = 100
DEEPEST: Final = 12
MOST_VALUES: Final = 20_000
LARGEST_WHOLE: Final = 10**15
_PLACE: Final = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_toml(path: Path) -> dict[str, object]:
    """Tables of a TOML file.

    Raises InputError if the file is missing, a folder, unreadable, empty, too large, no text, or no TOML.
    """
    where = str(path)
    raw = read_bytes(path, EXPECTED, LARGEST_FILE)
    if not raw.strip():
        raise InputError(where, "the file is empty; expected a plan (TOML)")
    if b"\x00" in raw:
        raise InputError(where, "found a binary file, expected text (TOML)")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(where, f"line {line}: found bytes that are no UTF-8 text, expected TOML text") from None
    for number, each in enumerate(text.split("\n"), start=1):
        if len(each) > LONGEST_LINE:
            raise InputError(
                where, f"line {number}: found {len(each):,} characters, allowed at most {LONGEST_LINE:,} in a line"
            )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(where, f"broken TOML: {_plain(str(error), text)}") from None
    except RecursionError:
        raise InputError(where, "broken TOML: tables or lists nested too deeply") from None
    except ValueError:
        # The language itself refuses to read numbers of thousands of digits, and days that no calendar has.
        raise InputError(
            where, "broken TOML: found a number with too many digits, or a date that does not exist"
        ) from None


def check_content(raw: RawTable, where: str) -> None:
    """Stop on a plan that is deeper, longer or larger than any plan is, before anything else looks at it.

    Raises InputError, naming the key, what was found and what is allowed.
    """
    waiting: list[tuple[str, object, int]] = [("", raw, 0)]
    count = 0
    while waiting:
        path, value, depth = waiting.pop()
        count += 1
        problem = _oversize(value, depth)
        if problem is None and count > MOST_VALUES:
            problem = f"found more than {MOST_VALUES:,} values in the plan, allowed at most that"
        if problem is not None:
            raise InputError(where, f"{visible(path, LONGEST_KEY) or 'plan'}: {problem}")
        if isinstance(value, Mapping):
            for key, each in value.items():
                if not isinstance(key, str) or len(key) > LONGEST_KEY or any(map(steers, key)):
                    raise InputError(
                        where,
                        f"{visible(path, LONGEST_KEY) or 'plan'}: found the key {quoted(key)}, "
                        f"allowed: text of at most {LONGEST_KEY} signs that can be drawn",
                    )
                waiting.append((f"{path}.{key}" if path else key, each, depth + 1))
        elif isinstance(value, (list, tuple)):
            waiting += [(f"{path} {number}", each, depth + 1) for number, each in enumerate(value, start=1)]


def _oversize(value: object, depth: int) -> str | None:
    """What is too large about one value of a plan."""
    if depth > DEEPEST:
        return f"found tables or lists nested more than {DEEPEST} deep"
    if isinstance(value, str) and len(value) > LONGEST_TEXT:
        return f"found a text of {len(value):,} characters, allowed at most {LONGEST_TEXT:,}"
    if isinstance(value, int) and abs(value) > LARGEST_WHOLE:
        return f"found {quoted(value, 30)}, allowed whole numbers up to {LARGEST_WHOLE:.0e}"
    return None


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
