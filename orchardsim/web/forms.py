"""Forms made from the plan model: a field for every key that a plan may hold, in parts that follow the work."""

from __future__ import annotations

import dataclasses
import functools
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from orchardsim.core.futures import OPEN_LEVELS
from orchardsim.core.labels import OUTLETS
from orchardsim.core.numbers import inner_bound
from orchardsim.plan.catalogue import CRAB, entries
from orchardsim.plan.filling import DEFAULT_SOURCE
from orchardsim.plan.formats import value_text
from orchardsim.plan.key_table import PlanKey, plan_keys
from orchardsim.web.draft import OWN, Draft, Place, entry_text

NAMES_FROM: Final = {
    "cultivar": "cultivar",
    "rootstock": "rootstock",
    "training": "training_system",
    "tree_grade": "tree_grade",
}
"""Keys that name an entry of the catalogue -> its kind."""
FIRST: Final = {
    "": ("title", "units", "currency", "usd_rate", "price_year", "note"),
    "site": ("name", "latitude", "elevation", "row_direction", "irrigated", "night_offset", "drainage", "site_growth",
             "replant_site", "protection"),
    "block": ("name", "cultivar", "rootstock", "training", "tree_grade", "row_spacing", "tree_spacing", "row_length",
              "headland", "net_area", "gross_area", "trees", "year_planted", "crop_load_target"),
    "block.group": ("name", "rows", "cultivar", "rootstock", "tree_grade", "crop_load_target"),
    "block.pollinizer": ("cultivar", "every_tree", "every_row"),
    "weather": ("record", "baseline_years", "method", "warming"),
    "market.fruit.NAME": ("wholesale_extra_fancy", "wholesale_fancy", "juice"),
    "costs": ("wage", "wage_picking", "packing", "storage", "land_price", "land_charge", "overhead_farm"),
    "finance": ("discount_rate", "opening_cash", "credit_line", "loan_amount", "loan_rate", "household_draw", "basis"),
    "crews": ("name", "tasks", "workers", "hours_per_day"),
    "replacement": ("spares_at_planting", "place", "last_refill_leaf", "lead_time", "reorder_point", "order_up_to"),
}  # fmt: skip
"""Keys that stand open; all others of their table are folded beneath."""
WIDE: Final = 1e5
"""Bounds so far apart say nothing to a person; a value beyond them is told all the same."""
UNNAMED_ALLOWED: Final = {"cultivar": (CRAB,)}


@dataclass(frozen=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    place : str
        Where its value stands in the plan, as JSON.
    kind : str
        As of :class:`orchardsim.plan.key_table.PlanKey`.
    value : str
        What the plan states; empty where it states nothing.
    choices : tuple of str
        Words that it may be; any text where there are none.
    about : str
        Unit and bounds.
    otherwise : str
        Value where the plan states none, with its status.
    error : str
        Why its text was refused.
    """

    place: str
    label: str
    kind: str
    value: str
    choices: tuple[str, ...] = ()
    about: str = ""
    meaning: str = ""
    otherwise: str = ""
    source: str = ""
    required: bool = False
    error: str = ""

    @property
    def id(self) -> str:
        """Name of the field within the page."""
        return "f-" + "-".join(str(part) for part in json.loads(self.place)).replace(" ", "_")

    @property
    def words(self) -> str:
        """What may be written, and what it means."""
        such = "such as known 1.2" if self.kind == "level" else ""
        return ". ".join(filter(None, [", ".join(self.choices), such, self.about, self.meaning]))


@dataclass(frozen=True)
class Group:
    """Fields of one table: those that stand open, and the rest.

    Attributes
    ----------
    removes : str
        Place of the table, where it can be removed.
    adds : tuple
        Words and places of the lists that can grow.
    own : tuple
        Kind and possible likes of own entries that can be added.
    """

    title: str
    fields: tuple[Field, ...]
    more: tuple[Field, ...] = ()
    inner: tuple[Group, ...] = ()
    removes: str = ""
    adds: tuple[tuple[str, str], ...] = ()
    own: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True)
class Part:
    """One part of the form."""

    name: str
    title: str
    groups: tuple[Group, ...]
    says: str = ""
    opened: bool = False


@functools.cache
def _keys() -> dict[str, tuple[PlanKey, ...]]:
    """Keys of the plan model by table."""
    found: dict[str, tuple[PlanKey, ...]] = {}
    for key in plan_keys():
        found[key.table] = (*found.get(key.table, ()), key)
    return found


def keys_of(table: str) -> tuple[PlanKey, ...]:
    """Keys of a table of the plan model."""
    return _keys().get(table, ())


@functools.cache
def _built_in(kind: str) -> tuple[str, ...]:
    return tuple(entries(kind))


def model_table(place: Place) -> str:
    """Name of the model's table at a place of a plan.

    Examples
    --------
    >>> model_table(("block", 0, "group", 1)), model_table(("market", "fruit", "Gala")), model_table(())
    ('block.group', 'market.fruit.NAME', '')
    """
    parts = [part for part in place if isinstance(part, str)]
    for number in range(len(parts) + 1):
        named = [*parts[: len(parts) - number], *["NAME"] * number]
        if ".".join(named) in _keys():
            return ".".join(named)
    return ".".join(parts)


def key_at(place: Place) -> PlanKey | None:
    """The model's key at a place of a plan; None where a plan has none."""
    if not place or not isinstance(place[-1], str):
        return None
    return next((key for key in keys_of(model_table(place[:-1])) if key.name == place[-1]), None)


def kind_at(place: Place) -> str | None:
    """How the text of a place is read; None where a plan has no such key."""
    if len(place) in (2, 3) and place[0] == "futures" and place[1] in OPEN_LEVELS:
        return "level"
    key = key_at(place)
    return key.kind if key is not None else None


def parts(draft: Draft) -> tuple[Part, ...]:
    """The whole form of a plan."""
    form = PlanForm(draft)
    raw = draft.raw
    return (
        Part(
            "blocks",
            "Blocks, rows and trees",
            (*(form.block(number) for number in range(len(raw.get("block", ())))), *form.idle_land()),
            "Write lengths with their unit, such as 12 ft or 3.5 m. An empty field leaves the value to the program.",
            opened=True,
        ),
        Part("farm", "Farm and place", (form.group("The plan", ()), form.group("The place", ("site",)))),
        Part("climate", "Weather", (form.group("Record", ("weather",)), form.group("Months", ("weather", "normals")))),
        Part("prices", "Prices and costs", form.prices()),
        Part(
            "finance",
            "Loans, insurance, tax",
            (
                form.group("Money", ("finance",)),
                form.group("Crop insurance", ("finance", "insurance")),
                form.group("Income tax", ("finance", "tax")),
            ),
        ),
        Part("work", "Crews and work", (*form.crews(), form.group("Rates of work", ("work_rates",)))),
        Part("gaps", "Gaps and spare trees", form.replacement()),
        Part(
            "own",
            "Cultivars and stocks of your own",
            form.own_entries(),
            "Each takes over the values of an entry that it is like; state what differs. Prices stand with the prices.",
        ),
        Part("doubts", "What is not known yet", (form.levels(),), LEVELS_SAY),
        Part(
            "model",
            "Losses, support, growth",
            (
                form.group("Losses of trees", ("hazards",)),
                form.group("Support", ("support",)),
                form.group("Work on the support", ("support_rates",)),
                form.group("Growth of all trees", ("physiology",)),
            ),
            "Change these where you have measured or know better.",
        ),
    )


LEVELS_SAY: Final = (
    "Each is drawn anew for every future. State what you know: known 1.2, or { middle = 1.1, spread = 0.15 }."
)


class PlanForm:
    """Makes the fields of one plan."""

    def __init__(self, draft: Draft) -> None:
        self.draft, self.plan, self.raw = draft, draft.plan, draft.raw
        self.assumed = {one.key: one for one in draft.plan.assumptions}

    def group(self, title: str, place: Place, *, removable: bool = False, **arguments: Any) -> Group:
        """Fields of one table."""
        table = model_table(place)
        first = FIRST.get(table, ())
        found = {key.name: self.field(place, key) for key in keys_of(table) if key.name != "futures"}
        opened = tuple(found.pop(name) for name in first if name in found)
        stated = tuple(name for name, one in found.items() if one.value or one.error)
        opened += tuple(found.pop(name) for name in stated)
        removes = json.dumps(place) if removable else ""
        return Group(title, opened, tuple(found.values()), removes=removes, **arguments)

    def block(self, number: int) -> Group:
        """Fields of a block, its row groups and its pollinizers."""
        place: Place = ("block", number)
        raw, blocks = self.raw["block"][number], len(self.raw["block"])
        name = raw.get("name", number + 1)
        inner = [
            self.group(f"{title} {held.get('name', one + 1)}", (*place, kind, one), removable=True)
            for kind, title in (("group", "Row group"), ("pollinizer", "Pollinizer"))
            for one, held in enumerate(raw.get(kind, ()))
        ]
        inner.append(self.group(f"Thinning of {name}", (*place, "thinning")))
        adds = [
            ("Add a row group", json.dumps([*place, "group"])),
            ("Add a pollinizer", json.dumps([*place, "pollinizer"])),
        ]
        if number == blocks - 1:
            adds.append(("Add a block like this", json.dumps(["block"])))
        return self.group(f"Block {name}", place, removable=blocks > 1, inner=tuple(inner), adds=tuple(adds))

    def idle_land(self) -> Iterator[Group]:
        """Land on which nothing is planted, and what can be added to the farm."""
        held = self.raw.get("idle_land", ())
        for number in range(len(held)):
            yield self.group(f"Idle land {number + 1}", ("idle_land", number), removable=True)
        adds = [] if self.raw.get("block") else [("Add a block", json.dumps(["block"]))]
        yield Group("More land", (), adds=(*adds, ("Add idle land", json.dumps(["idle_land"]))))

    def crews(self) -> Iterator[Group]:
        """Crews that the plan states; without any the program sets one."""
        held = self.raw.get("crews", ())
        if isinstance(held, Mapping):
            yield dataclasses.replace(self.group("Crew", ("crews",)), removes=json.dumps(["crews", 0]))
        else:
            for number, crew in enumerate(held):
                yield self.group(f"Crew {crew.get('name', number + 1)}", ("crews", number), removable=True)
        yield Group("More hands", (), adds=(("Add a crew", json.dumps(["crews"])),))

    def prices(self) -> tuple[Group, ...]:
        """Prices of fruit, outlets, costs, and prices of trees."""
        grades = _sorted([*_built_in("tree_grade"), *self.raw.get("tree_grade", {})])
        return (
            *(self.group(f"Prices of {name}", ("market", "fruit", name)) for name in self.sold()),
            self.group("All fruit", ("market",)),
            *(self.group(f"Outlet {label_of(name)}", ("market", "outlets", name)) for name in OUTLETS),
            self.group("Costs", ("costs",)),
            *(self.group(f"Tree price, {label_of(name)}", ("tree_price", name)) for name in grades),
            self.group("Bins and boxes", ("packing",)),
        )

    def sold(self) -> list[str]:
        """Cultivars that the plan grows or brings of its own."""
        return _sorted([*(group.cultivar_name for group in self.plan.groups), *self.raw.get("cultivar", {})])

    def replacement(self) -> tuple[Group, ...]:
        """Rules of the farm for gaps, and those of single row groups."""
        own = (
            self.group(f"Rules of {one.label}", ("replacement", "group", one.label)) for one in self.draft.plan.groups
        )
        return (self.group("Rules of the farm", ("replacement",)), *own)

    def own_entries(self) -> tuple[Group, ...]:
        """Entries of the plan's own, and a way to add one."""
        groups = [
            self.group(f"Your {kind.replace('_', ' ')} {name}", (kind, name), removable=True)
            for kind in OWN
            for name in self.raw.get(kind, {})
        ]
        likes = tuple((kind, tuple(_sorted([*_built_in(kind), *self.raw.get(kind, {})]))) for kind in OWN)
        return (*groups, Group("Something new", (), own=likes))

    def levels(self) -> Group:
        """Fields of the open levels."""
        fields = []
        for name, level in OPEN_LEVELS.items():
            place: Place = ("futures", name)
            spread = f"spread {level.spread:g}" + (f" {level.unit}" if level.unit != "1" else "")
            fields.append(
                Field(
                    json.dumps(place),
                    label_of(name),
                    "level",
                    *self._text(place, "level")[:1],
                    about=f"middle {level.low:g} to {level.high:g}",
                    meaning=f"{level.meaning}; known better by {level.narrowed_by}",
                    otherwise=f"middle {level.middle:g}, {spread} ({level.status})",
                    source=level.source,
                    error=self._text(place, "level")[1],
                )
            )
        return Group("Open levels", tuple(fields))

    def field(self, table: Place, key: PlanKey) -> Field:
        """One field."""
        place = (*table, key.name)
        text, error = self._text(place, key.kind)
        otherwise, source = self._otherwise(place, key)
        return Field(
            json.dumps(place),
            label_of(key.name),
            key.kind,
            text,
            choices=self.choices(key),
            about=self.about(key),
            meaning=key.meaning,
            otherwise=otherwise,
            source=source,
            required=key.required,
            error=error,
        )

    def _text(self, place: Place, kind: str) -> tuple[str, str]:
        if place in self.draft.waiting:
            return self.draft.waiting[place][0], "not taken over yet: it does not fit the rest of the plan"
        return entry_text(self.draft.value(place)), ""

    def choices(self, key: PlanKey) -> tuple[str, ...]:
        """Words that a key may be; none where any text is allowed."""
        if key.kind == "true or false":
            return ("yes", "no")
        kind = NAMES_FROM.get(key.name) if key.table.startswith("block") else None
        if key.name == "like":
            return tuple(_sorted([*_built_in(key.table.removesuffix(".NAME"))]))
        if kind is not None:
            more = UNNAMED_ALLOWED.get(key.name, ()) if key.table.endswith("pollinizer") else ()
            return (*more, *_sorted([*_built_in(kind), *self.raw.get(kind, {})]))
        return key.allowed

    def about(self, key: PlanKey) -> str:
        """Unit and bounds of a key."""
        if key.kind in ("text", "true or false"):
            return ""
        unit = self.plan.formats.converted(1.0, key.unit)[1]
        bounds = [self._bound(key, one, low=is_low) for one, is_low in ((key.low, True), (key.high, False))]
        if key.low and key.high and key.high / key.low >= WIDE:
            text = ""
        elif all(bounds):
            text = f"{bounds[0]} to {bounds[1]}"
        else:
            text = f"at least {bounds[0]}" if bounds[0] else (f"at most {bounds[1]}" if bounds[1] else "")
        return " ".join(part for part in (text, unit) if part)

    def _bound(self, key: PlanKey, value: float | None, *, low: bool) -> str:
        """A bound in the shown unit; empty where there is none."""
        if value is None or not math.isfinite(value):
            return ""
        number, _ = self.plan.formats.converted(value, key.unit)
        text = value_text(inner_bound(number, low=low) if isinstance(number, float) and number != value else number)
        return text.replace(",", "") if "year" in key.name else text

    def _otherwise(self, place: Place, key: PlanKey) -> tuple[str, str]:
        """Value where the plan states none, and its source."""
        known = self.assumed.get(_dotted(place))
        if known is not None:
            shown = self.plan.formats.text(known.key, known.value, known.unit)
            return f"{shown} ({known.status})", _plain_source(known.source)
        if key.default is None:
            return "", ""
        shown = self.plan.formats.text(key.key, key.default.value, key.default.unit)
        return f"{shown} ({key.default.status})", _plain_source(key.default.source)


def _dotted(place: Place) -> str:
    """A place as the plan's own lists of values name it: blocks are counted from one."""
    words = ""
    for part in place:
        words += f" {part + 1}" if isinstance(part, int) else ("." if words else "") + part
    return words


def _plain_source(source: str) -> str:
    """A source without the meaning, which stands beside it anyway."""
    return DEFAULT_SOURCE if source.startswith(DEFAULT_SOURCE) else source


def label_of(name: str) -> str:
    """What a key is called on the page."""
    return name.replace("_", " ").capitalize()


def _sorted(names: Sequence[str]) -> list[str]:
    return sorted(dict.fromkeys(names), key=str.casefold)
