"""Keys of a plan of which the page tries several values: all that the plan model has."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.web.draft import FILES, OWN, Draft, read_entry
from orchardsim.web.forms import PlanForm, keys_of, label_of, sold

NOT_TRIED: Final = frozenset({"title", "note", "units", "currency", "calendar_year", "name", "like"})
"""Keys whose change changes no future."""
PLAIN: Final = re.compile(r"[A-Za-z0-9_-]+")
"""Names that stand in a dotted key without quotes."""
MOST_LEVELS: Final = 8
TABLES: Final = {
    "The place": "site",
    "Weather": "weather",
    "All fruit": "market",
    "Costs": "costs",
    "Money": "finance",
    "Crop insurance": "finance.insurance",
    "Income tax": "finance.tax",
    "Gaps and spare trees": "replacement",
    "Rates of work": "work_rates",
    "Losses of trees": "hazards",
    "Support": "support",
    "Work on the support": "support_rates",
    "Growth of all trees": "physiology",
}
"""Tables that every plan may hold, by their titles."""


@dataclass(frozen=True)
class StudyKey:
    """A key that can be tried: its dotted path, how its values are read, what it is called, and about it."""

    key: str
    kind: str
    label: str
    about: str


def study_keys(draft: Draft) -> dict[str, tuple[StudyKey, ...]]:
    """Every key that a study of the plan can change, by title of the table that it stands in."""
    form = PlanForm(draft)
    found = {}
    for title, path, table in _tables(draft):
        keys = []
        for key in keys_of(table):
            if key.name not in NOT_TRIED:
                words = [", ".join(form.choices(key)), form.about(key), key.meaning]
                about = ". ".join(word for word in words if word)
                keys.append(StudyKey(_dotted((*path, key.name)), key.kind, label_of(key.name), about))
        found[title] = tuple(keys)
    found["What is not known yet"] = tuple(
        StudyKey(f"futures.{name}", "level", label_of(name), f"such as known 1.2, known 0.8. {level.meaning}")
        for name, level in OPEN_LEVELS.items()
    )
    return found


def read_levels(draft: Draft, key: str, text: str) -> list[object]:
    """Values to try of a key.

    Raises
    ------
    InputError
        If the key is none of the plan's, or there are too few values, too many, or twice the same.
    """
    kinds = {one.key: one.kind for keys in study_keys(draft).values() for one in keys}
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


def _dotted(path: tuple[str, ...]) -> str:
    return ".".join(part if PLAIN.fullmatch(part) else json.dumps(part, ensure_ascii=False) for part in path)


def _tables(draft: Draft) -> Iterator[tuple[str, tuple[str, ...], str]]:
    """Title, path and model table of every table that can be changed."""
    blocks, raw = draft.raw.get("block", ()), draft.raw
    if blocks:
        yield "All blocks", ("block",), "block"
    for block in blocks:
        name = block["name"]
        if len(blocks) > 1:
            yield f"Block {name}", ("block", name), "block"
        for group in block.get("group", ()):
            yield f"Row group {name}/{group['name']}", ("block", name, "group", group["name"]), "block.group"
        if block.get("pollinizer"):
            yield f"Pollinizers of {name}", ("block", name, "pollinizer"), "block.pollinizer"
    if blocks:
        yield "Thinning", ("block", "thinning"), "block.thinning"
    if raw.get("crews"):
        yield "All crews", ("crews",), "crews"
    for name in sold(draft):
        yield f"Prices of {name}", ("market", "fruit", name), "market.fruit.NAME"
    for kind in OWN:
        for name in raw.get(kind, {}):
            yield f"Your {kind.replace('_', ' ')} {name}", (kind, name), f"{kind}.NAME"
    for title, table in TABLES.items():
        yield title, tuple(table.split(".")), table
