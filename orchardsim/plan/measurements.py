"""Measurements of trees in the ground, read from CSV and checked against the plan that they belong to."""

from __future__ import annotations

import csv
import datetime
import io
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from orchardsim.core.calendar import first_month
from orchardsim.core.errors import InputError, nearest_names
from orchardsim.core.files import read_bytes
from orchardsim.core.labels import CAUSES
from orchardsim.core.text import quoted
from orchardsim.core.units import convert
from orchardsim.plan.field_table import measured_columns, readings
from orchardsim.plan.plan import Plan, ResolvedBlock

EXPECTED: Final = "measurements (CSV)"
LARGEST_FILE: Final = 5_000_000
"""Bytes; about 60,000 rows. Our own choice."""
COLUMNS: Final = ("date", "block", "row", "tree", "measure", "value", "unit", "tool", "trees", "cause", "note")
KEPT: Final = COLUMNS[:-1]
"""Columns that are kept with what was learned."""
NEEDED: Final = ("date", "block", "measure", "value")
FEWEST_TREES: Final = 3
"""Trees below which a mean tells next to nothing of a row (assumption)."""
SHRINKAGE: Final = 4.0
"""Errors of reading, of both readings together, beyond which a smaller trunk is a mistake and no reading error."""
FRUIT_DENSITY: Final = 0.80
"""g/cm3 of an apple taken as a ball of its largest diameter (common practice; its error stands with the tool)."""


@dataclass(frozen=True)
class Tool:
    """How far off a reading is: by itself (absolute and relative), and all readings of a tool together (relative)."""

    absolute: float
    relative: float
    bias: float


@dataclass(frozen=True)
class MeasureKind:
    """One thing to measure: unit inside, bounds of one tree's value, tools (the usual one first), meaning, and the
    days of the season's window on which it can be seen.
    """

    unit: str
    low: float
    high: float
    tools: Mapping[str, Tool]
    meaning: str
    days: tuple[int, int] = (0, 10**4)


_TAPE, _COUNT, _GUESS = Tool(0.2, 0.0, 0.01), Tool(0.0, 0.05, 0.02), Tool(0.0, 0.25, 0.10)
_BLOOM, _DROP, _HARVEST = (92, 303), (120, 364), (150, 457)
"""Days on which flowers, set fruit and ripe or stored fruit can be seen, wide enough for every climate (assumption)."""
_TWIN_CALIPER, _SCALE, _BIN = Tool(0.03, 0.02, 0.01), Tool(0.0, 0.01, 0.005), Tool(0.0, 0.05, 0.03)
KINDS: Final[dict[str, MeasureKind]] = {
    "trunk_girth": MeasureKind("cm", 1.5, 400, {"tape": _TAPE}, "girth of the trunk, always at the same mark"),
    "trunk_diameter": MeasureKind("cm", 0.4, 130, {"caliper": _TWIN_CALIPER, "tape": Tool(0.07, 0.0, 0.01)},
                                  "diameter of the trunk, mean of two readings across each other"),
    "trunk_area": MeasureKind("cm2", 0.1, 12_000, {"caliper": Tool(0.0, 0.04, 0.02), "tape": Tool(0.0, 0.04, 0.02)},
                              "cross-sectional area of the trunk"),
    "height": MeasureKind("m", 0.3, 15, {"pole": Tool(0.05, 0.02, 0.01)}, "height of the tree"),
    "flower_clusters": MeasureKind("1", 0, 20_000, {"count": _COUNT, "estimate": _GUESS},
                                   "flower clusters of a tree, before frost and stripping", _BLOOM),
    "fruit_set": MeasureKind("1", 0, 20_000, {"count": _COUNT, "estimate": _GUESS},
                             "fruit on a tree after the natural drop, before thinning by hand", _DROP),
    "fruit_count": MeasureKind("1", 0, 20_000, {"count": _COUNT, "estimate": _GUESS},
                               "fruit on a tree at harvest", _HARVEST),
    "fruit_mass": MeasureKind("g", 10, 800, {"scale": _SCALE}, "mean mass of a fruit at harvest", _HARVEST),
    "fruit_diameter": MeasureKind("mm", 20, 130, {"sizer": Tool(0.0, 0.03, 0.015), "caliper": Tool(0.0, 0.02, 0.015)},
                                  "mean largest diameter of a fruit at harvest", _HARVEST),
    "yield": MeasureKind("kg", 0, 2_000, {"scale": _SCALE, "bin": _BIN, "estimate": _GUESS},
                         "fruit picked: of a tree, or all of a row or block", _HARVEST),
    "dead_trees": MeasureKind("1", 0, 1, {"count": Tool(0.0, 0.0, 0.0)},
                              "trees that died, with their cause; 0 for a row or block where none died"),
    "bloom_date": MeasureKind("day", 0, 0, {"eye": Tool(2.0, 0.0, 0.0)}, "day of full bloom; the date itself", _BLOOM),
}  # fmt: skip
"""Measures by name. Errors of tools are assumptions: ask two people to measure the same ten trees for your own."""
ALSO_CALLED: Final = {
    "girth": "trunk_girth", "circumference": "trunk_girth", "perimeter": "trunk_girth", "caliper": "trunk_diameter",
    "cross_section": "trunk_area", "weight": "fruit_mass", "harvest": "yield", "blossom": "flower_clusters",
}  # fmt: skip
"""Words in a measure's name that say another way what is meant."""
DECIMAL_COMMA: Final = re.compile(r"[+-]?\d+,\d+")
TRUNK: Final = ("trunk_girth", "trunk_diameter", "trunk_area")
TREES_OF_BLOCK: Final = ("yield", "dead_trees")
"""Of a row or block these are totals, not means of trees."""
_AFTER_HARVEST: Final = ("fruit_count", "fruit_mass", "fruit_diameter", "yield")


@dataclass(frozen=True)
class Measurement:
    """One row of the file.

    Attributes
    ----------
    line : int
        In its file.
    date : datetime.date
    year : int
        Year of the plan whose season it tells of.
    day : int
        Day of that season's window (0 = 1 October, or 1 April in the south); 365 and more in the autumn after it.
    label : str or None
        Row group; None where the whole block of several was measured.
    row, tree : int or None
        Counted from 1; None for a whole row or block.
    value : float
        In the measure's unit; trunks as area [cm2], fruit diameters as mass [g].
    error, bias : float
        Of a reading, in the value's unit, and relative of all readings with that tool.
    trees : int or None
        Trees behind a mean, where they are not named.
    cells : tuple of str
        The row as it was written, in the order of :data:`KEPT`.
    """

    line: int
    date: datetime.date
    year: int
    day: int
    block: str
    label: str | None
    row: int | None
    tree: int | None
    measure: str
    value: float
    error: float
    bias: float
    tool: str
    trees: int | None = None
    cause: str = ""
    cells: tuple[str, ...] = ()

    @property
    def what(self) -> tuple[object, ...]:
        """Names what was measured, without the value."""
        return self.date, self.block, self.label, self.row, self.tree, self.measure, self.cause


@dataclass(frozen=True)
class Measurements:
    """All rows that can be used, in the order of time and place, and what was left aside and why."""

    rows: tuple[Measurement, ...]
    remarks: tuple[str, ...] = ()

    def of(self, *measures: str) -> tuple[Measurement, ...]:
        """Rows of some measures."""
        return tuple(row for row in self.rows if row.measure in measures)


def read_measurements(path: str | Path, plan: Plan) -> Measurements:
    """Read and check a file of measurements.

    Raises InputError, naming file, line, what was found and what is allowed.

    Parameters
    ----------
    path : path
        CSV with the columns of :data:`COLUMNS`, in any order, one reading a line; or a filled-in field sheet, one tree
        a line and a column a measure (:mod:`orchardsim.plan.field_table`).
    plan : Plan
        Must state ``calendar_year``.
    """
    where = str(path)
    content = read_bytes(path, EXPECTED, LARGEST_FILE)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(where, "found bytes that are no UTF-8 text, expected CSV text") from None
    return parse_measurements(text, plan, where)


def parse_measurements(text: str, plan: Plan, where: str) -> Measurements:
    """Check measurements that stand in a text; see :func:`read_measurements`."""
    if plan.calendar_year is None:
        raise InputError(
            plan.where,
            "calendar_year: missing; measurements have dates, so state the calendar year whose harvest year 0 of the "
            "plan has, such as calendar_year = 2024",
        )
    rows: list[Measurement] = []
    empty = 0
    for line, given in _readings(text, where):
        if not given.get("date") or (not given.get("value") and given.get("measure") != "bloom_date"):
            empty += 1
            continue
        rows.append(_measurement(given, plan, f"{where}: line {line}", line))
    remarks = [f"{empty} rows without a value or date were passed over"] if empty else []
    if not rows:
        raise InputError(where, "found no measurement; expected at least one row with a date and a value")
    _check_twice(rows, where)
    _check_single_trees(rows, where)
    used, few = _enough(rows)
    remarks += few
    if not used:
        raise InputError(
            where,
            f"too few: no measure has {FEWEST_TREES} trees of a row or block at one date",
        )
    return Measurements(tuple(sorted(used, key=lambda row: (*map(str, row.what), row.value))), tuple(remarks))


def _readings(text: str, where: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Lines of a list of readings, or the readings of a table with a column a measure: (line, cells by name)."""
    reader = csv.reader(io.StringIO(text))
    lines: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                lines.append((reader.line_num, cells))
    except csv.Error as error:
        raise InputError(where, f"line {reader.line_num}: broken CSV ({error})") from None
    if not lines:
        raise InputError(where, f"the file is empty; expected a header with {', '.join(NEEDED)}")
    header = [cell.strip().lower() for cell in lines.pop(0)[1]]
    _check_header(header, where)
    for line, cells in lines:
        if len(cells) > len(header):
            raise InputError(where, f"line {line}: {_too_many(header, cells)}")
    columns = measured_columns(header, KINDS)
    if columns:
        yield from readings(header, lines, columns, where)
        return
    for name in header:
        if name not in COLUMNS:
            raise InputError(where, f"line 1: unknown column {quoted(name)}, {nearest_names(name, COLUMNS)}")
    for name in NEEDED:
        if name not in header:
            raise InputError(where, f"line 1: missing column {name!r}; needed: {', '.join(NEEDED)}")
    for line, cells in lines:
        yield line, {name: cell.strip() for name, cell in zip(header, cells, strict=False)}


def _too_many(header: list[str], cells: list[str]) -> str:
    """What is wrong with a line of too many cells: a number with a decimal comma falls into two."""
    at = header.index("value") if "value" in header else 0
    pair = ",".join(cell.strip() for cell in cells[at : at + 2])
    comma = len(cells) == len(header) + 1 and "value" in header and DECIMAL_COMMA.fullmatch(pair)
    hint = f"; {quoted(pair)} looks like a decimal comma: write {pair.replace(',', '.')}" if comma else ""
    return f"found {len(cells)} cells, allowed {len(header)} as in the header{hint}"


def _check_header(header: list[str], where: str) -> None:
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if len(header) == 1 and mark in header[0]:
            raise InputError(where, f"line 1: found cells parted by {name}, expected commas (CSV)")
    for name in header:
        if header.count(name) > 1:
            raise InputError(where, f"line 1: column {quoted(name)} stands twice; allowed: once")


def _measurement(given: Mapping[str, str], plan: Plan, where: str, line: int) -> Measurement:
    measure = given["measure"].lower().replace(" ", "_")
    if measure not in KINDS:
        meant = next((name for word, name in ALSO_CALLED.items() if word in measure), None)
        hint = nearest_names(measure, KINDS) if meant is None else f"did you mean {meant!r}?"
        raise InputError(where, f"measure: unknown {quoted(given['measure'])}, {hint}")
    kind = KINDS[measure]
    try:
        date = datetime.date.fromisoformat(given["date"])
    except ValueError:
        raise InputError(where, f"date: found {quoted(given['date'])}, expected year-month-day as 2024-11-05") from None
    if date > datetime.date.today():
        raise InputError(where, f"date: found {date.isoformat()}, a day to come; allowed up to today")
    block, label = _place(given.get("block", ""), plan, where)
    row, tree = (_whole(given.get(name, ""), name, where) for name in ("row", "tree"))
    label = _check_tree(block, label, row, tree, where)
    trees = _whole(given.get("trees", ""), "trees", where)
    most = len(block.positions(label, row))
    if trees is not None and (tree is not None or trees > most):
        allowed = (
            "none beside a tree's own number"
            if tree is not None
            else f"1 to {most}, the trees of {label or block.name}"
        )
        raise InputError(where, f"trees: found {trees}, allowed {allowed}")
    tool = given.get("tool", "").lower() or next(iter(kind.tools))
    if tool not in kind.tools:
        raise InputError(where, f"tool: found {quoted(tool)} for {measure}, allowed: {', '.join(kind.tools)}")
    cause = given.get("cause", "").lower().replace(" ", "_")
    if cause and measure != "dead_trees":
        raise InputError(where, f"cause: found {quoted(cause)} beside {measure}; allowed beside dead_trees only")
    if cause and cause not in (*CAUSES, "unknown"):
        raise InputError(where, f"cause: unknown {quoted(cause)}, {nearest_names(cause, [*CAUSES, 'unknown'])}")
    value, error, bias = _value(measure, given, tool, tree, most, plan, where)
    year, day = season_of(date, measure, plan.harvest_year(0), plan.weather.latitude)
    if not kind.days[0] <= day <= kind.days[1]:
        first, last = ((date + datetime.timedelta(days=edge - day)).isoformat() for edge in kind.days)
        raise InputError(where, f"date: found {date.isoformat()} for {measure}, allowed {first} to {last}")
    year, day = _after_planting(block, year, day, date, plan, where)
    return Measurement(
        line, date, year, day, block.name, label, row, tree, measure, value, error, bias, tool, trees, cause,
        tuple(given.get(name, "") for name in KEPT),
    )  # fmt: skip


def _place(written: str, plan: Plan, where: str) -> tuple[ResolvedBlock, str | None]:
    for block in plan.blocks:
        if written == block.name:
            return block, block.labels[0] if len(block.labels) == 1 else None
        if written in block.labels:
            return block, written
    names = dict.fromkeys(name for block in plan.blocks for name in (block.name, *block.labels))
    raise InputError(where, f"block: unknown {quoted(written)}, {nearest_names(written, names)}")


def _whole(text: str, name: str, where: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= 10**6 and len(text) <= 7):
        raise InputError(where, f"{name}: found {quoted(text)}, expected a whole number from 1")
    return int(text)


def _check_tree(block: ResolvedBlock, label: str | None, row: int | None, tree: int | None, where: str) -> str | None:
    """The label that row and tree belong to; stops where there is no such tree."""
    layout = block.plan.layout
    if tree is not None and row is None:
        if layout.rows > 1:
            raise InputError(where, f"row: missing; block {block.name} has {layout.rows} rows, so a tree needs its row")
        row = 1
    if row is None:
        return label
    if row > layout.rows:
        raise InputError(where, f"row: found {row}, but block {block.name} has rows 1 to {layout.rows}")
    own = block.labels[layout.group[row - 1]]
    if label is not None and own != label:
        raise InputError(where, f"row: row {row} of block {block.name} belongs to {own}, not to {label}")
    if tree is not None:
        last = min(layout.trees_per_row, layout.trees - (row - 1) * layout.trees_per_row)
        if tree > last:
            raise InputError(where, f"tree: found {tree}, but row {row} of block {block.name} has trees 1 to {last}")
    return own


def _value(
    measure: str, given: Mapping[str, str], tool: str, tree: int | None, most: int, plan: Plan, where: str
) -> tuple[float, float, float]:
    """Value in the unit inside, error of one reading in it, relative bias of the tool."""
    kind = KINDS[measure]
    error = kind.tools[tool]
    if measure == "bloom_date":
        if given.get("value"):
            raise InputError(where, f"value: found {quoted(given['value'])}; the date is the value of bloom_date")
        return 0.0, error.absolute, 0.0
    written, unit = given["value"], given.get("unit", "")
    try:
        number = float(written)
    except ValueError:
        if DECIMAL_COMMA.fullmatch(written):
            point = written.replace(",", ".")
            raise InputError(
                where, f"value: found {quoted(written)}, a decimal comma; write a point: {point}"
            ) from None
        raise InputError(
            where, f"value: found {quoted(written)}, expected a number; units go into the column unit"
        ) from None
    if kind.unit == "1":
        if unit not in ("", "1", "fruit", "tree", "trees"):
            raise InputError(where, f"unit: found {quoted(unit)} for {measure}, which is a count; allowed: none")
    elif not unit:
        raise InputError(where, f"unit: missing for {measure}; expected one such as {kind.unit!r}")
    else:
        try:
            number = convert(number, unit, kind.unit, masses={"bin": plan.bin_mass, "box": plan.box_mass})
        except ValueError as problem:
            raise InputError(where, f"unit: {problem}") from None
    total = measure in TREES_OF_BLOCK and tree is None
    high = kind.high * most if total else kind.high
    if not (math.isfinite(number) and kind.low <= number <= high):
        shown = "" if kind.unit == "1" else f" {kind.unit}"
        raise InputError(
            where, f"value: found {number:g}{shown} for {measure}, allowed {kind.low:g} to {high:g}{shown}"
        )
    if tool == "count" and (tree is not None or total) and number != round(number):
        raise InputError(
            where, f"value: found {number:g} for {measure}, a count; allowed: whole numbers; a mean goes with trees"
        )
    own = math.hypot(error.absolute, error.relative * number)
    if measure in ("trunk_girth", "trunk_diameter"):
        area = number**2 / (4 * math.pi) if measure == "trunk_girth" else math.pi * number**2 / 4
        return area, 2 * own / number * area, 2 * error.bias
    if measure == "fruit_diameter":
        mass = FRUIT_DENSITY * math.pi / 6 * (number / 10) ** 3
        return mass, 3 * own / number * mass, 3 * error.bias
    return number, own, error.bias


def season_of(date: datetime.date, measure: str, calendar_year: int, latitude: float) -> tuple[int, int]:
    """Year of the plan whose season a measurement tells of, and the day of that season's window.

    A trunk measured in the leafless months is that of the autumn before; so are fruit weighed from the store.

    Examples
    --------
    >>> season_of(datetime.date(2024, 11, 20), "trunk_girth", 2024, 45.0)
    (0, 415)
    >>> season_of(datetime.date(2024, 4, 20), "flower_clusters", 2024, 45.0)
    (0, 202)
    """
    month = first_month(latitude)
    first = datetime.date(date.year if date.month >= month else date.year - 1, month, 1)
    year, day = first.year + 1 - calendar_year, min((date - first).days, 364)
    # leafless: up to the end of the fourth month trunks, losses and fruit are those of the season before
    dormant = (
        165 if measure in TRUNK or measure == "height" else 92 if measure in (*_AFTER_HARVEST, "dead_trees") else 0
    )
    return (year - 1, day + 365) if day < dormant else (year, day)


def _after_planting(
    block: ResolvedBlock, year: int, day: int, date: datetime.date, plan: Plan, where: str
) -> tuple[int, int]:
    """Year and day, where the trees were planted by then; in the winter before planting they are as they came."""
    planted = block.year_planted
    if year == planted - 1 and day >= 365 + 92:
        return planted, 0
    if year < planted:
        raise InputError(
            where,
            f"date: found {date.isoformat()}, before block {block.name} was planted (spring of "
            f"{plan.harvest_year(planted)})",
        )
    removed = block.plan.year_removed
    if removed is not None and year > removed:
        raise InputError(where, f"date: found {date.isoformat()}, after block {block.name} was pulled out")
    return year, day


def _check_twice(rows: Iterable[Measurement], where: str) -> None:
    seen: dict[tuple[object, ...], Measurement] = {}
    for row in rows:
        before = seen.setdefault(row.what, row)
        if before is not row and row.value != before.value:
            raise InputError(
                where,
                f"line {row.line}: {row.measure} of the same trees on {row.date.isoformat()} stands in line "
                f"{before.line} with another value; allowed: one value a day",
            )


def _check_single_trees(rows: Iterable[Measurement], where: str) -> None:
    """Trunks do not shrink, fruit does not come after the drop, and the dead do not grow."""
    trunks: dict[tuple[object, ...], list[Measurement]] = {}
    for row in rows:
        if row.tree is not None:
            trunks.setdefault((row.block, row.row, row.tree), []).append(row)
    for (block, row_number, tree), own in trunks.items():
        own.sort(key=lambda row: row.date)
        name = f"tree {tree} of row {row_number} in block {block}"
        _check_fruit(name, own, where)
        last: Measurement | None = None
        for row in own:
            if row.measure not in TRUNK:
                continue
            if last is not None:
                fall = last.value - row.value
                if fall > SHRINKAGE * math.hypot(last.error, row.error) + (last.bias + row.bias) * last.value:
                    raise InputError(
                        where,
                        f"line {row.line}: the trunk of {name} is {row.value:.3g} cm2, but {last.value:.3g} cm2 in "
                        f"line {last.line}, {last.date.isoformat()}; trunks do not shrink: check value, unit and tree",
                    )
            last = row
        dead = [row for row in own if row.measure == "dead_trees" and row.value > 0]
        later = [row for row in own if dead and row.date > dead[0].date and row.measure != "dead_trees"]
        if later:
            raise InputError(
                where,
                f"line {later[0].line}: {name} is dead since {dead[0].date.isoformat()} (line {dead[0].line}); leave a "
                "tree planted in its place out",
            )


def _check_fruit(name: str, own: Sequence[Measurement], where: str) -> None:
    """A tree bears no more fruit at harvest than it held after the drop."""
    held = {row.year: row for row in own if row.measure == "fruit_set"}
    for row in own:
        before = held.get(row.year)
        if row.measure != "fruit_count" or before is None:
            continue
        if row.value - before.value > 1 + SHRINKAGE * math.hypot(row.error, before.error):
            raise InputError(
                where,
                f"line {row.line}: {name} bears {row.value:g} fruit, but had {before.value:g} after the drop (line "
                f"{before.line}); fruit does not come later: check values and tree",
            )


def _enough(rows: list[Measurement]) -> tuple[list[Measurement], list[str]]:
    """Rows with enough trees behind them, each once, and what was left aside."""
    unique = list({(row.what, row.value): row for row in rows}.values())
    trees: dict[tuple[object, ...], int] = {}
    for row in unique:
        key = (row.measure, row.date, row.block, row.label)
        trees[key] = trees.get(key, 0) + (1 if row.tree is not None else row.trees or FEWEST_TREES)
    kept, few = [], {}
    for row in unique:
        key = (row.measure, row.date, row.block, row.label)
        if row.measure in ("dead_trees", "bloom_date") or trees[key] >= FEWEST_TREES:
            kept.append(row)
        else:
            few[key] = trees[key]
    return kept, [
        f"{measure.replace('_', ' ')} of {label or block} on {date}: {count} {'tree' if count == 1 else 'trees'}, too "
        "few to tell of the row; set aside"
        for (measure, date, block, label), count in few.items()
    ]


def together(kept: Iterable[Measurement], new: Measurements, where: str) -> Measurements:
    """Measurements used before and new ones, each once.

    Raises InputError if a new one says otherwise of what was measured already.
    """
    before = {row.what: row for row in kept}
    for row in new.rows:
        known = before.get(row.what)
        if known is not None and known.value != row.value:
            raise InputError(
                where,
                f"line {row.line}: {row.measure} of the same trees on {row.date.isoformat()} was learned from already, "
                "with another value; allowed: one value a day",
            )
    rows = list(before.values()) + [row for row in new.rows if row.what not in before]
    _check_single_trees(rows, where)
    return Measurements(tuple(sorted(rows, key=lambda row: (*map(str, row.what), row.value))), new.remarks)


def as_csv(rows: Iterable[Iterable[str]]) -> str:
    """Kept rows as a file of measurements."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(KEPT)
    writer.writerows(rows)
    return stream.getvalue()
