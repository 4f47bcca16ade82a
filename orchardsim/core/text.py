"""Text of unknown origin, made safe to show: one line, no signs that steer a terminal, a limit on its length."""

from __future__ import annotations

import dataclasses
import unicodedata
from collections.abc import Sized
from typing import Any, Final

LONGEST_SHOWN: Final = 60
"""Characters of a found value that a message shows; our own choice."""
STEERING: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""General categories of the Unicode Standard whose signs are not drawn but act: control, format (among them those that
turn the direction of writing), surrogate, private and unassigned signs, line and paragraph separators."""
JOINERS: Final = frozenset("\u200c\u200d\ufe0f")
"""Format signs that spelling needs: the joiners of some scripts and of composed pictographs."""


def steers(sign: str) -> bool:
    """Whether a sign acts on what shows it instead of being drawn."""
    return unicodedata.category(sign) in STEERING and sign not in JOINERS


def visible(text: str, limit: int | None = None) -> str:
    """Text with its steering signs written out, and its middle left out beyond ``limit`` characters.

    Examples
    --------
    >>> visible("a\\x1b[2Jb"), visible("abcdefghijkl", 9)
    ('a\\\\x1b[2Jb', 'ab ... kl')
    """
    if limit is not None and len(text) > limit:
        # Signs written out make a text longer, never shorter: what stands further in is not needed.
        text = text[:limit] + text[-limit:]
    text = "".join(sign.encode("unicode_escape").decode() if steers(sign) else sign for sign in text)
    if limit is None or len(text) <= limit:
        return text
    head = (limit - 5) // 2
    return f"{text[:head]} ... {text[len(text) - (limit - 5 - head) :]}"


def quoted(value: Any, limit: int = LONGEST_SHOWN) -> str:
    """A found value as a message shows it; however long it is, the work is short.

    Examples
    --------
    >>> quoted("3 m"), quoted([1, 2]), quoted("x" * 300, 15), quoted(10**5000)
    ("'3 m'", '[1, 2]', "'xxxx ... xxxx'", 'a whole number of more than 300 digits')
    """
    if isinstance(value, str):
        return visible(repr(value[:limit] + value[-limit:] if len(value) > 2 * limit else value), limit)
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**300:
        return "a whole number of more than 300 digits"
    if isinstance(value, (dict, list, tuple)):
        if len(value) > limit or any(isinstance(each, (dict, list, tuple)) for each in _members(value)):
            kind = "table" if isinstance(value, dict) else "list"
            return f"a {kind} of {len(value)} {'key' if kind == 'table' else 'value'}{'' if len(value) == 1 else 's'}"
        if isinstance(value, dict):
            return visible("{" + ", ".join(f"{quoted(k)}: {quoted(v)}" for k, v in value.items()) + "}", limit)
        return visible("[" + ", ".join(quoted(each) for each in value) + "]", limit)
    return visible(repr(value), limit)


def _members(value: Any) -> Any:
    return value.values() if isinstance(value, dict) else value


class Brief:
    """A dataclass with much in it: it shows its words and numbers, and of the rest how many entries there are.

    Examples
    --------
    >>> @dataclasses.dataclass(frozen=True, repr=False)
    ... class Found(Brief):
    ...     trials: int
    ...     pairs: tuple[float, ...]
    >>> Found(8, (0.5,) * 1000)
    <Found: trials 8, pairs (1,000)>
    """

    def __repr__(self) -> str:
        shown = []
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            if isinstance(value, str | int | float | Brief):
                shown.append(f"{field.name} {value if isinstance(value, Brief) else quoted(value)}")
            elif isinstance(value, Sized):
                shown.append(f"{field.name} ({len(value):,})")
        return f"<{type(self).__name__}: {', '.join(shown)}>"
