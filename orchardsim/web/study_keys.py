"""Keys of a plan of which the page tries several values: all that have a field in its form."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any, Final

from orchardsim.core.errors import InputError
from orchardsim.web.draft import FILES, Draft, Place, read_entry
from orchardsim.web.forms import Field, Group, PlanForm, parts

NOT_TRIED: Final = frozenset({"title", "note", "units", "currency", "calendar_year", "name", "like"})
"""Keys whose change changes no future."""
PLAIN: Final = re.compile(r"[A-Za-z0-9_-]+")
"""Names that stand in a dotted key without quotes."""
MOST_LEVELS: Final = 8
ALONE: Final = (("idle_land",), ("replacement", "group"))
"""Tables that no dotted key reaches."""
OF_ALL: Final = {"All blocks": ("block",), "Thinning": ("block", "thinning"), "All crews": ("crews",)}
"""Tables that stand several times and can be changed together, by their titles."""


def study_keys(draft: Draft) -> dict[str, dict[str, Field]]:
    """Every key that a study of the plan can change, dotted, with its field; by title of the table it stands in."""
    form = PlanForm(draft)
    together = [form.group(title, place) for title, place in OF_ALL.items() if draft.raw.get(place[0])]
    alone = [group for part in parts(draft) for group in part.groups]
    found: dict[str, dict[str, Field]] = {}
    seen: set[str] = set()
    for title, group in _named([*together, *alone]):
        keys = {}
        for one in (*group.fields, *group.more):
            place: Place = tuple(json.loads(one.place))
            key = _dotted(draft.raw, place)
            if not (place[-1] in NOT_TRIED or key in seen or any(place[: len(start)] == start for start in ALONE)):
                keys[key] = one
        seen |= keys.keys()
        if keys:
            found[title] = keys
    return found


def read_levels(draft: Draft, key: str, text: str) -> list[object]:
    """Values to try of a key.

    Raises
    ------
    InputError
        If the key is none of the plan's, or there are too few values, too many, or twice the same.
    """
    kinds = {name: one.kind for keys in study_keys(draft).values() for name, one in keys.items()}
    if key not in kinds:
        raise InputError("key", f"found {key!r}; allowed: a key of the plan, chosen from the list")
    texts = _parts(text)
    if not 2 <= len(texts) <= MOST_LEVELS or len(set(texts)) < len(texts):
        raise InputError("levels", f"found {len(texts)} values; allowed 2 to {MOST_LEVELS} different ones, with commas")
    if tuple(key.split(".")) in FILES:
        for one in texts:
            draft.folder.check_named(key, one)
    return [read_entry(one, kinds[key]) for one in texts]


def _parts(text: str) -> list[str]:
    """Texts between commas that stand in no bracket.

    Examples
    --------
    >>> _parts("1 m, 2 m,"), _parts("[1, 2], [3]")
    (['1 m', '2 m'], ['[1, 2]', '[3]'])
    """
    parts, depth = [""], 0
    for letter in text:
        depth += (letter in "[{") - (letter in "]}")
        if letter == "," and depth <= 0:
            parts.append("")
        else:
            parts[-1] += letter
    return [part.strip() for part in parts if part.strip()]


def _named(groups: Sequence[Group], outer: str = "") -> Iterator[tuple[str, Group]]:
    """Groups and those within them, each under its own title behind that of the group it stands in."""
    for group in groups:
        title = f"{outer}{group.title}"
        yield title, group
        yield from _named(group.inner, f"{title}: ")


def _dotted(raw: Any, place: Place) -> str:
    """Dotted key of a place; a table of a list goes by its name, and one without a name stands for all.

    Examples
    --------
    >>> _dotted({"block": [{"name": "low end", "pollinizer": [{}]}]}, ("block", 0, "pollinizer", 0, "every_tree"))
    'block."low end".pollinizer.every_tree'
    """
    path, here = [], raw
    for part in place:
        if isinstance(part, int):
            here = here[part]
            path += [here["name"]] if "name" in here else []
        else:
            here = here.get(part, {}) if isinstance(here, dict) else {}
            path.append(part)
    return ".".join(name if PLAIN.fullmatch(name) else json.dumps(name, ensure_ascii=False) for name in path)
