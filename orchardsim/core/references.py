"""The published sources that the catalogues point to with a key in square brackets."""

from __future__ import annotations

import functools
import re
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Final

_KEY: Final = re.compile(r"\[([a-z][a-z0-9_]*)\]")


@dataclass(frozen=True)
class Reference:
    """A source: its citation, how much of it was read, and its address where it has one."""

    key: str
    citation: str
    seen: str
    address: str = ""


@functools.cache
def references() -> dict[str, Reference]:
    """All sources by key.

    Examples
    --------
    >>> references()["root_hardiness_2011"].seen.startswith("abstract")
    True
    """
    path = resources.files("orchardsim") / "catalogue" / "references.toml"
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return {key: Reference(key, **entry) for key, entry in table.items()}


def reference_keys(source: str) -> list[str]:
    """Keys named in a source's text, in order.

    Examples
    --------
    >>> reference_keys("[root_hardiness_2011] root LT50, see [winter_hardiness]")
    ['root_hardiness_2011', 'winter_hardiness']
    """
    return _KEY.findall(source)
