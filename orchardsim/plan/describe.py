"""A plan in words: what is planted, ordered, built and paid in each year, and every assumed number."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from typing import Final

from orchardsim.core.numbers import percent
from orchardsim.core.parameters import STATUSES
from orchardsim.core.units import ACRE, FOOT, HECTARE, Display
from orchardsim.economy.blocks import Outlay, establishment_schedule, support_cost
from orchardsim.economy.remarks import money_remarks
from orchardsim.operations.nursery import spares_to_buy, stock_policy
from orchardsim.plan.formats import METHODS
from orchardsim.plan.layout import trees_per_area
from orchardsim.plan.plan import Plan, ResolvedBlock
from orchardsim.plan.row_group import RowGroup
from orchardsim.weather.bundled import bundled_record_at
from orchardsim.weather.place import check_rain, climate_lines, climate_of

LEAST_YEARS: Final = 6
RUN_YEARS: Final = 20
"""Years for which remarks on money hold: those of a run without --years."""
TOLD_ABOVE: Final = frozenset(
    {
        "title",
        "units",
        "currency",
        "usd_rate",
        "price_year",
        "note",
        "name",
        "like",
        "latitude",
        "elevation",
        "record",
        "baseline_years",
        "training",
        "tree_grade",
        "cultivar",
        "rootstock",
        "row_spacing",
        "tree_spacing",
        "row_length",
        "headland",
        "gross_area",
        "net_area",
        "trees",
        "rows",
        "crop_load_target",
        "every_tree",
        "every_row",
    }
)
"""Keys that the description of place and blocks tells already."""


def plan_lines(plan: Plan) -> list[str]:
    """The description, line by line."""
    return [
        *head_lines(plan),
        *(line for block in plan.blocks for line in ["", *block_lines(block, plan.display)]),
        *idle_lines(plan),
        *area_lines(plan),
        "",
        *timetable_lines(plan),
        "",
        *payment_lines(plan),
        "",
        *stated_lines(plan),
        *warning_lines(remarks(plan)),
        "",
        *assumption_lines(plan),
    ]


def stated_lines(plan: Plan) -> list[str]:
    """What the plan states and is not told above, as it was read, in the user's units."""
    formats = plan.formats
    lines = ["What the plan states, as read (what stands above is not told again)"]
    for stated in plan.stated:
        if stated.key.rsplit(".", 1)[-1] in TOLD_ABOVE or stated.key.startswith("packing."):
            continue
        meaning = re.split(r";| \((?:read|derived|computed|memory|assumption|common practice)", stated.meaning)[0]
        text = formats.text(stated.key, stated.value, stated.unit)
        lines.append(f"  {stated.key} = {text}" + (f" | {meaning}" if meaning else ""))
        if falls := _falling(plan, stated.key):
            lines[-1] += f"; {falls}"
    return lines


def _falling(plan: Plan, key: str) -> str:
    """What becomes of a stated price of fresh fruit over the years."""
    table, _, rest = key.rpartition(".wholesale_")
    name = table.removeprefix("market.fruit.")
    if not rest or name not in plan.market.fruit:
        return ""
    price = f"wholesale_{rest}"
    fruit, common = plan.market.fruit[name], plan.market.commodity_price
    if not fruit.premium_erosion or getattr(fruit, price) <= common:
        return ""
    shown = plan.formats.text("", common, "money/kg").partition(" (")[0]
    return f"what is above {shown} falls {percent(fruit.premium_erosion)} a year (premium_erosion)"


def remarks(plan: Plan) -> list[str]:
    """What is legal but looks wrong, or is likely to surprise, what costs most first as far as can be told."""
    dry = tuple(block.name for block in plan.blocks if not block.site.irrigated)
    check_rain(plan.weather, dry, plan.where)
    told = list(plan.warnings)
    stated = {stated.key for stated in plan.stated}
    for key in sorted(one for one in stated if one.endswith(".wholesale_extra_fancy")):
        falls = _falling(plan, key)
        if falls and key.replace("wholesale_extra_fancy", "premium_erosion") not in stated:
            told.append(f"packed price of {key.split('.', 2)[2].rpartition('.')[0]}, as stated: {falls}")
    fence = math.fsum(outlay.amount for outlay in schedule(plan) if outlay.item == "fence")
    if fence:
        told.append(
            f'a deer fence is in the costs: {fence:,.0f} {plan.currency}. State fence = "stands" in the blocks that '
            'it is built for if it stands already, or "none" if there is to be none'
        )
    told += money_remarks(plan.money, plan.costs, plan.market, plan.finance, RUN_YEARS, plan.work_rates.picking)
    if plan.blocks and "hazards.blight_control" not in stated and plan.hazards.blight_control == 0:
        told.append(
            "nothing is sprayed against fire blight in bloom (hazards.blight_control = 0); where bloom is warm and wet "
            "growers do"
        )
    told += climate_lines(climate_of(plan.weather))
    return [in_feet(remark) for remark in told] if plan.units == "us" else told


def in_feet(remark: str) -> str:
    """A remark with its metres in feet.

    Examples
    --------
    >>> in_feet("rows are closer than 4.3 m, in row groups of 12 machines")
    'rows are closer than 14.1 ft, in row groups of 12 machines'
    """
    return re.sub(r"(\d+(?:\.\d+)?) m\b", lambda found: f"{float(found[1]) / FOOT:.3g} ft", remark)


def warning_lines(warnings: list[str]) -> list[str]:
    """What is legal but looks wrong."""
    return ["", "Worth a second look", *(f"  - {warning}" for warning in warnings)] if warnings else []


def head_lines(plan: Plan) -> list[str]:
    """Title, place, weather and units."""
    weather = plan.weather
    latitude = f"{abs(weather.latitude):g} degrees {'north' if weather.latitude >= 0 else 'south'}"
    if weather.record is not None:
        years = (
            f"{weather.baseline_years[0]} to {weather.baseline_years[1]}"
            if weather.baseline_years
            else "the last 30 complete years"
        )
        bundled = bundled_record_at(weather.record)
        record = f"the bundled record of {bundled.place}" if bundled else f"record {weather.record.name}"
        source = f"{record}, years {years}; {METHODS[weather.method]}"
    else:
        source = "monthly normals of the plan with a stated year-to-year spread (no record)"
    display = plan.display
    return [
        plan.title,
        f"  place    {plan.site_name}, {latitude}, {display.length.text(weather.elevation, 0)} above the sea",
        f"  weather  {source}",
        f"  prices   {plan.currency} of {plan.price_year}, "
        + ("real: without inflation" if plan.finance.basis == "real" else "nominal: with inflation"),
        f"  bin      {display.mass.text(plan.bin_mass, 1)}; box {display.mass.text(plan.box_mass, 1)}",
        f"  plan     fingerprint {plan.hash[:16]}: another one as soon as any number differs",
        *_learned_lines(plan),
    ]


def _learned_lines(plan: Plan) -> list[str]:
    """Levels that measured trees narrowed."""
    if plan.futures.learned is None:
        return []
    levels = dict.fromkeys(level.replace("_", " ") for level, _ in plan.futures.learned.parts)
    return [f"  learned  from measured trees, in place of the plan's own spread: {', '.join(levels)}"]


def block_lines(block: ResolvedBlock, display: Display) -> list[str]:
    """Layout and row groups of one block."""
    geometry = block.geometry
    per_hectare = trees_per_area(geometry.row_spacing, geometry.tree_spacing, HECTARE)
    per_acre = trees_per_area(geometry.row_spacing, geometry.tree_spacing, ACRE)
    length = display.length
    shorter = geometry.rows * geometry.trees_per_row - geometry.trees
    lines = [
        f"Block {block.name}: {block.groups[0].training_name.replace('_', ' ')}",
        f"  spacing  {length.of(geometry.tree_spacing):.4g} x {length.of(geometry.row_spacing):.4g} {length.unit}: "
        f"{per_hectare:,.0f} trees/ha, {per_acre:,.1f} trees/acre",
        f"  layout   {geometry.rows} rows of {geometry.trees_per_row} trees"
        + (f", the last {shorter} shorter" if shorter else "")
        + f", {length.text(geometry.row_length, 0)} long, headlands {length.text(geometry.headland, 0)}: "
        f"{geometry.trees:,} trees",
        f"  area     {display.area.text(geometry.planted_area, 3)} planted (net), "
        f"{display.area.text(geometry.gross_area, 3)} with headlands (gross)",
    ]
    for group in block.groups:
        targets = group.crop_load_target
        shown = "unthinned" if math.isinf(targets[0]) else ", ".join(f"{target:g}" for target in targets)
        pollen = f"pollen at {length.text(group.pollen_distance, 0)}, bloom overlap {percent(group.pollen_overlap)}"
        lines += [
            f"  {group.label}: {group.cultivar_name} on {group.stock_name}, {group.grade_name}, "
            f"{counted(group.rows, 'row')}, {group.trees:,} trees",
            f"    fruit per cm2 of trunk by leaf: {shown}; {pollen}",
        ]
    for pollinizer in block.pollinizers:
        rows = "each row" if pollinizer.every_row == 1 else f"one row of {pollinizer.every_row}"
        lines.append(
            f"  pollinizer {pollinizer.cultivar}: {counted(pollinizer.trees, 'extra tree')}, one every "
            f"{pollinizer.every_tree} trees in {rows}; they take no planting position"
        )
    return lines


def idle_lines(plan: Plan) -> list[str]:
    """Land on which nothing is planted, with what it brings and costs in a year."""
    lines = []
    for land in plan.idle_land:
        margin = (land.yearly_margin - plan.costs.land_charge) * land.gross_area
        lines += [
            "",
            f"Idle land: {plan.display.area.text(land.gross_area, 3)}, {margin:,.0f} {plan.currency} a year with its "
            "land charge; the farm's overhead is paid besides",
        ]
    return lines


def area_lines(plan: Plan) -> list[str]:
    """Both areas of the farm."""
    area = plan.display.area
    return [
        "",
        f"Farm: {sum(block.geometry.trees for block in plan.blocks):,} trees on "
        f"{area.text(plan.planted_area, 3)} planted (net), {area.text(plan.gross_area, 3)} with headlands (gross)",
    ]


def _events(plan: Plan) -> Iterator[tuple[int, str]]:
    """What is ordered, planted, built and removed: (year, words)."""
    for block in plan.blocks:
        for group in block.groups:
            label, trees, money, extra = group.label, group.trees, group.money, group.money.extra_trees
            what = f"{group.cultivar_name} on {group.stock_name} ({group.grade_name})"
            if money.year_planted < 0:
                yield 0, f"{label}: {trees:,} trees of {what} stand in leaf {block.leaf(0)}"
            else:
                spares = spares_to_buy(group.refill, trees)
                added = (f", {counted(spares, 'spare')}" if spares else "") + (
                    f", {counted(extra, 'pollinizer')}" if extra else ""
                )
                yield max(money.order_year, 0), f"order {trees:,} trees of {what} for {label}{added}"
                hours = f"about {money.planting_hours:,.0f} labour hours"
                yield money.year_planted, f"plant {label}: {trees + extra:,} trees, {hours}"
                bill = support_cost(money.support, money.support_height, plan.costs)
                if bill:
                    pieces = ", ".join(
                        f"{part} {plan.display.length.text(number, 0)}" if part == "wire" else f"{number:,.0f} {part}"
                        for part, (number, _) in bill.items()
                        if part != "post driving"
                    )
                    hours = f"about {money.support_hours:,.0f} labour hours"
                    yield money.support_year, f"build the support of {label}: {pieces}; {hours}"
            if money.removal_year is not None:
                yield money.removal_year, f"pull {label} after harvest"


def timetable_lines(plan: Plan) -> list[str]:
    """What is ordered, planted, built and removed, by year."""
    lines = ["What happens when (year 0 is the first outlay; leaf 1 is a tree's first season)"]
    lines += [f"  year {year:>2}  {text}" for year, text in sorted(_events(plan), key=lambda event: event[0])]
    policy = plan.replacement
    lines.append(
        f"  later    replacement trees are ordered in lots of {policy.order_multiple}, at least {policy.minimum_order},"
        f" {counted(policy.lead_time, 'year')} ahead"
    )
    rules = _by_text(plan, lambda group: rule_text(plan, group))
    return [*lines, *(f"           {labels}: {text}" for text, labels in rules.items())]


def _by_text(plan: Plan, tell: Callable[[RowGroup], str]) -> dict[str, str]:
    """What is told of row groups -> their labels."""
    labels: dict[str, list[str]] = {}
    for group in plan.groups:
        labels.setdefault(tell(group), []).append(group.label)
    return {text: ", ".join(own) for text, own in labels.items()}


def rule_text(plan: Plan, group: RowGroup) -> str:
    """Replacement rules of a row group: last leaf and where that comes from, place of the spares, levels of orders."""
    policy, label = group.refill, group.label
    if policy.last_refill_leaf < 2:
        return f"no gap is filled ({refill_source(plan, label)})"
    text = f"gaps are filled to leaf {policy.last_refill_leaf} ({refill_source(plan, label)}); "
    text += "no spares are kept" if policy.place == "none" else f"spares are kept in: {policy.place.replace('_', ' ')}"
    if not policy.reorder:
        return f"{text}; none are ordered after planting"
    levels = stock_policy(policy, group.trees)
    expected = " and the losses expected till delivery" if any(policy.expected_loss) else ""
    return (
        f"{text}; orders when spares less open gaps{expected} are {levels.reorder_point} or fewer, back up to "
        f"{levels.order_up_to}"
    )


def refill_source(plan: Plan, label: str) -> str:
    """Where the last leaf in which a row group's gaps are filled comes from."""
    keys = {stated.key for stated in plan.stated}
    block = next(block.name for block in plan.blocks if label in block.labels)
    for name in (label, block):
        if f"replacement.group.{name}.last_refill_leaf" in keys:
            return f"stated for {name}"
    if "replacement.last_refill_leaf" in keys:
        return "stated for the farm"
    return "the program's default; orchardsim spares finds the leaf to which it pays"


def refill_notes(plan: Plan) -> list[str]:
    """To which leaf gaps are filled in a run and where that comes from, one line for each rule."""

    def told(group: RowGroup) -> str:
        last = group.refill.last_refill_leaf
        text = f"are filled to leaf {last} of the block" if last > 1 else "are not filled"
        return f"{text} ({refill_source(plan, group.label)})"

    return [f"Gaps of {labels} {text}." for text, labels in _by_text(plan, told).items()]


def counted(number: int, thing: str) -> str:
    """A number of things.

    Examples
    --------
    >>> counted(1, "row"), counted(1200, "tree")
    ('1 row', '1,200 trees')
    """
    return f"{number:,} {thing}" + ("" if number == 1 else "s")


def schedule(plan: Plan) -> list[Outlay]:
    """Establishment outlays of the plan, with expected labour, over the years in which it plants and builds."""
    last = max((money.support_year for money in plan.money if money.year_planted >= 0), default=0)
    return establishment_schedule(plan.money, plan.costs, plan.finance, max(last + 2, LEAST_YEARS))


def payment_lines(plan: Plan) -> list[str]:
    """Establishment payments by year and item."""
    outlays = schedule(plan)
    lines = [
        f"What the establishment costs, {plan.currency} of {plan.price_year} (without yearly work, spares, interest "
        "and sales)"
    ]
    if not outlays:
        return [*lines, "  nothing: no block is planted"]
    items = sorted({outlay.item for outlay in outlays}, key=[outlay.item for outlay in outlays].index)
    years = sorted({outlay.year for outlay in outlays})
    width = max(len(item) for item in items) + 2
    heads = [*(f"year {year}" for year in years), "total"]
    lines.append("  " + "item".ljust(width) + "".join(f"{head:>12}" for head in heads))

    def row(name: str, found: Iterable[Outlay]) -> str:
        chosen = list(found)
        sums = [math.fsum(each.amount for each in chosen if each.year == year) for year in years]
        return "  " + name.ljust(width) + "".join(f"{value:12,.0f}" for value in [*sums, math.fsum(sums)])

    lines += [row(item.replace("_", " "), [each for each in outlays if each.item == item]) for item in items]
    lines.append(row("total", outlays))
    total = math.fsum(each.amount for each in outlays)
    area = plan.display.area
    new = [money.geometry for money in plan.money if money.year_planted >= 0]
    net, gross = (math.fsum(getattr(each, name) for each in new) for name in ("planted_area", "gross_area"))
    standing = " of the new planting" if len(new) < len(plan.money) else ""
    lines.append(
        f"  {total / area.of(net):,.0f} {plan.currency} per {area.unit} planted{standing}, "
        f"{total / area.of(gross):,.0f} per {area.unit} gross"
    )
    lines.append("  Estimates, no offers: ask suppliers; supports need a design to local codes.")
    return lines


def assumption_lines(plan: Plan) -> list[str]:
    """Every number that the plan does not state, by status, worst known first, in the user's units."""
    assumed, formats = plan.assumptions, plan.formats
    order = list(reversed(STATUSES))
    counts = ", ".join(
        f"{sum(each.status == status for each in assumed)} {status}"
        for status in order
        if any(each.status == status for each in assumed)
    )
    lines = [
        f"What the plan does not state: {len(assumed)} values ({counts}). A plan may state any but the fixed ones."
    ]
    for status in order:
        chosen = [each for each in assumed if each.status == status]
        if chosen:
            lines.append(f"  {status}")
            lines += [
                f"    {each.key} = {formats.text(each.key, each.value, each.unit)} | {each.source}" for each in chosen
            ]
    return lines
