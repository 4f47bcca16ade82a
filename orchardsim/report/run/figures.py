"""Pictures of a saved run."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.glossary import term
from orchardsim.core.labels import FARM
from orchardsim.core.ledger_items import items_by_group
from orchardsim.report.run.bad_years import bad_years_figure
from orchardsim.report.run.map_figure import land_figure
from orchardsim.report.run.saved import SavedRun, bands
from orchardsim.report.run.sheet import draw_payback
from orchardsim.report.run_formats import RunFormats, footer
from orchardsim.report.style import (
    BRICK,
    FILLS,
    HATCHES,
    INK,
    LEAF,
    LINES,
    MARKERS,
    OCHRE,
    QUIET,
    SERIES,
    SKY,
    WIDTH,
    add_footer,
    date_axis,
    draw_band,
    draw_doubts,
    draw_outcomes,
    draw_single,
    draw_steps,
    legend_above,
    new_figure,
    thousands,
    whole_ticks,
)
from orchardsim.results import block_labels, of_farm, of_label, yield_by_leaf
from orchardsim.results.block_results import lowest_balance
from orchardsim.results.doubts import OpenLevelsOfRun
from orchardsim.results.farm import by_trial, farm_mean

if TYPE_CHECKING:
    import xarray
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_PANELS: Final = 4
MOST_LEVELS: Final = 8
MOST_CAUSES: Final = 5
OUNCE: Final = 28.349523
"""Grams in an avoirdupois ounce (read: international yard and pound agreement, 1959)."""
SINGLE_NOTE: Final = "Worst, usual and best future: those of the lowest, middle and highest"
REMOVED: Final = -999
"""Leaf of a block that has been taken out (core.handover.FarmQuantities)."""


def yield_figure(run: SavedRun) -> Figure:
    """Yield by leaf with both bands and single futures, a panel for each label (the farm where there are many)."""
    dataset, formats = run.dataset, run.formats
    labels = block_labels(dataset)
    if len(labels) > MOST_PANELS:
        labels = [FARM]
    columns = 1 if len(labels) == 1 else 2
    rows = -(-len(labels) // columns)
    figure, axes = new_figure(rows, columns, height=1.3 + 2.7 * rows, sharey=True, squeeze=False)
    panels = list(axes.flat)
    for panel, label in zip(panels, labels, strict=False):
        _leaf_panel(panel, run, label)
        name = "whole farm" if label == FARM else label
        planted = formats.area(float(of_label(dataset, "planted_area", label)))
        panel.set_title(f"{name}, {planted}")
        panel.set_xlabel("leaf (growing season since planting)")
    for panel in panels[len(labels) :]:
        panel.set_visible(False)
    for row in axes:
        row[0].set_ylabel(f"picked, {formats.yield_unit}")
    legend_above(figure, panels[: len(labels)])
    panels[0].set_ylim(0, panels[0].get_ylim()[1])
    _second_scale(panels[columns - 1], formats)
    containers = f"{formats.bin_text}, {formats.box_text}"
    picked = f"Picked fruit per planted {formats.area_name}; {containers}."
    add_footer(figure, f"{picked} {SINGLE_NOTE} crop of all years. {footer(dataset)}")
    return figure


def _leaf_panel(axes: Axes, run: SavedRun, label: str) -> None:
    found, table = run.yields(label), yield_by_leaf(run.dataset, label)
    if found.at.size == 0:
        axes.text(0.5, 0.5, "no tree comes into leaf\nwithin this run", ha="center", transform=axes.transAxes)
        return
    values = run.formats.yield_value(table.values)
    # A label may miss leaves (blocks of different age under one label): each run of leaves is drawn by itself.
    for part in np.split(np.arange(found.at.size), np.flatnonzero(np.diff(found.at) > 1) + 1):
        outer = [one[part] for one in (found.low, found.middle, found.high)]
        draw_doubts(axes, found.at[part], outer, [found.known_low[part], found.known_high[part]], labels=part[0] == 0)
        draw_single(
            axes, found.at[part], {name: values[trial, part] for name, trial in run.single_by_fruit.items()},
            labels=part[0] == 0,
        )  # fmt: skip
    whole_ticks(axes)


def _second_scale(axes: Axes, formats: RunFormats) -> None:
    per_bin = formats.bin_mass / formats.box_mass if formats.us else 1000.0 / formats.bin_mass
    second = axes.secondary_yaxis(
        "right", functions=(lambda y: np.asarray(y) * per_bin, lambda y: np.asarray(y) / per_bin)
    )
    second.set_ylabel(f"{'boxes' if formats.us else 'bins'}/{formats.area_name}")
    second.spines["right"].set_visible(True)
    second.spines["right"].set_color(QUIET)
    thousands(second.yaxis)


def cash_figure(run: SavedRun) -> Figure:
    """Summed cash with both bands, single futures and the lowest point within each year, over the yearly cash flow."""
    dataset, formats = run.dataset, run.formats
    year = dataset["year"].values
    flow = of_farm(dataset, "net_cash_flow").values / 1000.0
    trough = lowest_balance(dataset) / 1000.0
    figure, (upper, lower) = new_figure(2, 1, height=6.0, sharex=True, height_ratios=(3, 2))
    found = run.cash
    outer = [one / 1000 for one in (found.low, found.middle, found.high)]
    draw_doubts(upper, year, outer, [found.known_low / 1000, found.known_high / 1000])
    summed = flow.cumsum(axis=1)
    draw_single(upper, year, {name: summed[trial] for name, trial in run.single.items()})
    upper.plot(
        year, np.quantile(trough, 0.05, axis=0), color=BRICK, marker="v", markersize=3, linewidth=0.8,
        label="lowest in the year, 1 in 20",
    )  # fmt: skip
    upper.axhline(0, color=INK, linewidth=0.9)
    upper.set_title("Cash since year 0, all years summed")
    upper.set_ylabel(f"thousand {formats.currency}")
    legend_above(figure, [upper])
    rows = bands(run.summary["headline"]["net_cash_flow_by_year"], float)
    low, middle, high = (one / 1000 for one in (rows.low, rows.middle, rows.high))
    for minus, colour, hatch, name in ((True, BRICK, "//", "out"), (False, LEAF, "", "in")):
        here = (middle < 0) == minus
        lower.bar(
            year[here], middle[here], color=colour, hatch=hatch, edgecolor="white", linewidth=0, width=0.65,
            label=f"_{name}",
        )  # fmt: skip
    lower.errorbar(
        year, middle, yerr=[middle - low, high - middle], fmt="none", ecolor=QUIET, elinewidth=1.2, capsize=2
    )
    lower.axhline(0, color=INK, linewidth=0.9)
    lower.set_title("Cash in or out in each year (bar: middle; line: 18 futures in 20)")
    lower.set_ylabel(f"thousand {formats.currency}")
    lower.set_xlabel("year of the plan")
    whole_ticks(lower)
    lower.set_xlim(year[0] - 0.6, year[-1] + 0.6)
    thousands(upper.yaxis)
    thousands(lower.yaxis)
    add_footer(figure, f"{formats.currency}: {formats.money_basis}. {SINGLE_NOTE} NPV. {footer(dataset)}")
    return figure


def trees_figure(dataset: xarray.Dataset) -> Figure:
    """Trees alive and spare, and trees lost by cause beside trees replanted."""
    year = dataset["year"].values
    figure, (upper, lower) = new_figure(2, 1, height=5.8, sharex=True, height_ratios=(2, 3))
    share = _share_alive(dataset)
    planted = np.isfinite(share).all(axis=0)
    if planted.any():
        draw_band(upper, year[planted], share[:, planted])
        upper.legend(loc="lower left", ncols=3)
        upper.set_ylim(max(0.0, min(95.0, np.floor(np.quantile(share[:, planted], 0.05, axis=0).min()) - 1)), 100.5)
    upper.set_title("Living trees at leaf fall, share of the places planted")
    upper.set_ylabel("% of places")

    lost = farm_mean(dataset, "trees_lost").transpose("year", "cause").values
    all_lost = by_trial(dataset, ["trees_lost"], lambda some: of_farm(some, "trees_lost").sum("cause"))
    order = np.argsort(-lost.sum(axis=0), kind="stable")
    shown = [cause for cause in order[:MOST_CAUSES] if lost[:, cause].sum() > 0]
    bottom = np.zeros(len(year))
    for number, cause in enumerate(shown):
        name = term(str(dataset["cause"].values[cause]))
        draw_steps(lower, year, lost[:, cause], bottom, number, name, name)
        bottom = bottom + lost[:, cause]
    rest = lost.sum(axis=1) - bottom
    if rest.max() > 1e-9:
        draw_steps(lower, year, rest, bottom, len(SERIES) - 1, "other causes", "other causes")
    high = np.quantile(all_lost, 0.95, axis=0)
    lower.plot(year, high, linestyle="none", marker="_", color=INK, markersize=9, label="lost, 1 future in 20 above")
    lower.plot(
        year,
        of_farm(dataset, "trees_replanted").values.mean(axis=0),
        color=INK,
        linewidth=1.3,
        linestyle=(0, (4, 2)),
        label="replanted, mean",
    )
    spares = np.median(of_farm(dataset, "spares_on_hand").values, axis=0)
    if spares.max() > 0:
        lower.plot(year, spares, color=INK, linewidth=1.3, linestyle=(0, (1, 1.5)), label="spare trees held, middle")
    lower.set_title("Trees lost in each year, mean of all futures, by cause")
    lower.set_ylabel("trees")
    lower.set_xlabel("year of the plan")
    lower.legend(loc="upper right", ncols=2)
    whole_ticks(lower)
    lower.set_xlim(year[0] - 0.6, year[-1] + 0.6)
    lower.set_ylim(0, 1.35 * lower.get_ylim()[1])
    thousands(lower.yaxis)
    add_footer(figure, f"Whole farm. {footer(dataset)}")
    return figure


def _share_alive(dataset: xarray.Dataset) -> NDArray[np.float64]:
    # Places: trees standing before year 0 and all planted since, until a block is removed; percent, (trial, year).
    places = np.zeros((dataset.sizes["trial"], dataset.sizes["year"]))
    for label in block_labels(dataset):
        block = dataset.sel(block=label).isel(year=0)
        change = block["trees_planted"] + block["trees_replanted"] - block["trees_lost"].sum("cause")
        change = change - block["trees_removed"]
        standing = (block["trees_alive"] - change).values[:, None]
        planted = dataset["trees_planted"].sel(block=label).values.cumsum(axis=1)
        places += (standing + planted) * (dataset["leaf"].sel(block=label).values != REMOVED)
    alive = of_farm(dataset, "trees_alive").values
    return np.where(places > 0, 100.0 * alive / np.maximum(places, 1.0), np.nan)


def season_figure(dataset: xarray.Dataset) -> Figure:
    """Bloom and frost kill: by the record's years where seasons come from it, else by year of the plan."""
    record_year = dataset["harvest_year"].values
    labels = _distinct_blocks(dataset)
    figure, (upper, lower) = new_figure(2, 1, height=5.2, sharex=True)
    latitude = float(dataset.attrs["latitude"])
    from_record = bool((record_year > 0).all()) and np.unique(record_year).size <= 150
    for number, label in enumerate(labels):
        colour, hatch = (LEAF, OCHRE, SKY)[number], HATCHES[number]
        look: dict[str, Any] = {"color": colour, "linestyle": LINES[number], "marker": MARKERS[number]}
        bloom = dataset["bloom_day"].sel(block=label).values
        kill = dataset["frost_kill"].sel(block=label).values * 100
        if from_record:
            seasons = np.unique(record_year)
            # Years that the record lacks break the line.
            span = np.arange(seasons[0], seasons[-1] + 1)
            bloom_mean = np.full(span.size, np.nan)
            bloom_mean[seasons - seasons[0]] = [bloom[record_year == season].mean() for season in seasons]
            kill_mean = np.array([kill[record_year == season].mean() for season in seasons])
            upper.plot(span, bloom_mean, markersize=3.5, linewidth=1, label=label, **look)
            width = 0.8 / len(labels)
            lower.bar(
                seasons + (number - (len(labels) - 1) / 2) * width, kill_mean, width, color=colour, hatch=hatch,
                edgecolor="white", linewidth=0, label=f"_{label}",
            )  # fmt: skip
        else:
            draw_band(upper, dataset["year"].values, bloom, colour=colour, labels=number == 0)
            draw_band(lower, dataset["year"].values, kill, colour=colour, labels=False)
    whole_ticks(lower, steps=(1, 2, 5, 10))
    date_axis(upper, latitude)
    upper.set_title("Full bloom")
    lower.set_title("Flowers killed by frost" + ("" if from_record else " (band: 18 and 10 futures in 20)"))
    lower.set_ylabel("% of flowers")
    lower.set_ylim(0, 100)
    lower.set_xlabel("harvest year of the weather record" if from_record else "year of the plan")
    if len(labels) > 1 or not from_record:
        legend_above(figure, [upper])
    share = " · ".join(
        f"{label}: {100 * float((dataset['frost_kill'].sel(block=label) > 0.9).mean()):.1f} %" for label in labels
    )
    add_footer(figure, f"Seasons in which frost kills more than 90 % of flowers: {share}. {footer(dataset)}")
    return figure


def _distinct_blocks(dataset: xarray.Dataset) -> list[str]:
    # Blocks of the same cultivar and place meet the same bloom and frost; one line is enough for them.
    kept: list[str] = []
    for label in block_labels(dataset):
        same = any(
            np.array_equal(dataset["bloom_day"].sel(block=label), dataset["bloom_day"].sel(block=other))
            and np.array_equal(dataset["frost_kill"].sel(block=label), dataset["frost_kill"].sel(block=other))
            for other in kept
        )
        if not same:
            kept.append(label)
    return kept[:3]


def ledger_figure(dataset: xarray.Dataset) -> Figure:
    """Where the money goes and comes from in each year, mean of all trials."""
    formats = RunFormats.of(dataset.attrs)
    year = dataset["year"].values
    ledger = farm_mean(dataset, "ledger").transpose("year", "ledger_item").values / 1000.0
    items = [str(item) for item in dataset["ledger_item"].values]
    figure, axes = new_figure(height=4.0)
    above, below = np.zeros(len(year)), np.zeros(len(year))
    for number, (group, names) in enumerate(items_by_group().items()):
        columns = [items.index(name) for name in names if name in items]
        amount = ledger[:, columns].sum(axis=1)
        if not np.abs(amount).max(initial=0.0) > 0:
            continue
        # Money in is stacked upward and money out downward, also within a group that changes its sign.
        gain, cost = np.maximum(amount, 0), np.minimum(amount, 0)
        draw_steps(axes, year, gain, above, number, f"{group}, in", group)
        draw_steps(axes, year, cost, below, number, f"{group}, out")
        above, below = above + gain, below + cost
    axes.plot(year, above + below, color=INK, linewidth=1.4, marker="o", markersize=3, label="net")
    axes.axhline(0, color=INK, linewidth=0.9)
    axes.set_title("Money in (up) and out (down) in each year, mean of all futures")
    axes.set_ylabel(f"thousand {formats.currency}")
    axes.set_xlabel("year of the plan")
    axes.set_xlim(year[0] - 0.6, year[-1] + 0.6)
    legend_above(figure, [axes])
    whole_ticks(axes)
    thousands(axes.yaxis)
    add_footer(figure, f"Whole farm. {formats.currency}: {formats.money_basis}. {footer(dataset)}")
    return figure


def size_figure(run: SavedRun) -> Figure:
    """Shares of picked fruit by grade, a panel for each label, over the mean fruit by leaf."""
    from matplotlib.figure import Figure

    labels = block_labels(run.dataset)[:MOST_PANELS]
    columns = min(2, len(labels))
    rows = -(-len(labels) // columns)
    figure = Figure(figsize=(WIDTH, 3.2 + 2.0 * rows), layout="constrained")
    grid = figure.add_gridspec(rows + 1, columns)
    panels = [figure.add_subplot(grid[place // columns, place % columns]) for place in range(len(labels))]
    below = figure.add_subplot(grid[rows, :])
    for place, (panel, label) in enumerate(zip(panels, labels, strict=True)):
        _grade_panel(panel, run, label)
        _mean_fruit(below, run, label, place)
        if place % columns == 0:
            panel.set_ylabel("% of the fruit picked")
    handles, names = panels[0].get_legend_handles_labels()
    if handles:
        figure.legend(handles, names, loc="outside upper left", ncols=4, handlelength=1.6)
    below.set_title(f"Mean fruit at harvest, {'ounces' if run.formats.us else 'grams'}")
    below.set_xlabel("leaf (growing season since planting)")
    whole_ticks(below)
    if below.get_legend_handles_labels()[0]:
        low, high = below.get_ylim()
        below.set_ylim(low, high + 0.3 * (high - low))  # room for the key
        below.legend(loc="upper right", ncols=2, handlelength=2.6)
    add_footer(figure, f"Mass of fruit by grade over all futures; the rest is culled. {footer(run.dataset)}")
    return figure


def _grade_panel(axes: Axes, run: SavedRun, label: str) -> None:
    found = run.dataset.sel(block=label)
    picked = found["harvested_mass"].transpose("trial", "year").values.sum(axis=0)
    bears = (found["leaf"].values >= 1) & (picked > 0)
    leaf = found["leaf"].values[bears]
    axes.set_title(label)
    axes.set_ylim(0, 100)
    if not bears.any():
        axes.text(0.5, 0.5, "bears nothing\nwithin this run", ha="center", transform=axes.transAxes)
        return
    bottom = np.zeros(leaf.size)
    for number, grade in enumerate(run.dataset["grade"].values):
        mass = found["packed_mass"].sel(grade=grade).transpose("trial", "year").values.sum(axis=0)
        share = 100 * mass[bears] / picked[bears]
        axes.bar(
            leaf, share, bottom=bottom, width=0.85, color=FILLS[number % 4], hatch=HATCHES[number % 4],
            edgecolor="white", linewidth=0.3, label=term(str(grade)),
        )  # fmt: skip
        bottom += share
    whole_ticks(axes)


def _mean_fruit(axes: Axes, run: SavedRun, label: str, place: int) -> None:
    found = run.dataset.sel(block=label)
    number = found["fruit_number"].transpose("trial", "year").values
    mass = np.nan_to_num(found["fruit_mass_mean"].transpose("trial", "year").values)
    bears = (found["leaf"].values >= 1) & (number.sum(axis=0) > 0)
    if bears.any():
        mean = (number * mass).sum(axis=0)[bears] / number.sum(axis=0)[bears]
        axes.plot(
            found["leaf"].values[bears], mean / OUNCE if run.formats.us else mean, color=SERIES[place],
            linestyle=LINES[place], linewidth=1.8, marker="o", markersize=2.5, label=label,
        )  # fmt: skip


def outcome_figure(run: SavedRun) -> Figure:
    """How the net present value falls out over all trials, and the chance of having paid back by each year."""
    formats = run.formats
    figure, (upper, lower) = new_figure(2, 1, height=5.2)
    _npv_panel(upper, run)
    draw_payback(lower, run.summary, formats)
    add_footer(figure, f"{formats.currency}: {formats.money_basis}. {footer(run.dataset)}")
    return figure


def _npv_panel(axes: Axes, run: SavedRun) -> None:
    npv = run.dataset["npv"].values / 1000.0
    trials = len(npv)
    bins = min(40, max(8, int(np.sqrt(trials) * 1.5)))
    counts, edges = draw_outcomes(axes, npv, bins, ("below zero", "zero and above"))
    entry = run.summary["headline"]["npv"]
    for point, name in (("p5", "1 in 20"), ("p50", "middle"), ("p95", "1 in 20")):
        axes.axvline(entry[point] / 1000, color=INK, linewidth=1, linestyle=(0, (4, 2)))
        axes.text(entry[point] / 1000, 1.0, f" {name}", transform=axes.get_xaxis_transform(), va="top", fontsize=8.5)
    if edges[0] < 0 < edges[-1]:
        axes.axvline(0, color=INK, linewidth=1.1)
    axes.set_ylim(0, 1.12 * 100 * max(counts.max(), 1) / trials)
    axes.set_title("Net present value at year 0, with the blocks' remaining value")
    axes.set_xlabel(f"thousand {run.formats.currency}")
    axes.set_ylabel("% of futures")
    thousands(axes.xaxis)


def drivers_figure(run: SavedRun) -> Figure:
    """What would narrow the band of the present value, were it known: one bar for each open level."""
    figure, axes = new_figure(height=3.4)
    levels = OpenLevelsOfRun.of(run.dataset)
    found = None if levels is None else levels.doubts(run.dataset["npv"].values)
    axes.set_title("What knowing it would take off the band of NPV, %")
    if found is None:
        axes.text(
            0.5, 0.5, "every level was taken as known,\nor the futures are too few to tell", ha="center", va="center",
            transform=axes.transAxes,
        )  # fmt: skip
        axes.set_axis_off()
        return figure
    shares = sorted(found.by_level.items(), key=lambda one: one[1])[-MOST_LEVELS:]
    axes.barh(range(len(shares)), [100 * share for _, share in shares], color=LEAF, height=0.7, label="_share")
    axes.set_yticks(range(len(shares)), [term(name) for name, _ in shares], fontsize=8.5)
    for place, (_, share) in enumerate(shares):
        axes.text(100 * share + 0.4, place, f"{100 * share:.0f}", va="center", fontsize=8.5)
    axes.grid(axis="x")
    axes.grid(visible=False, axis="y")
    axes.set_xlim(0, max(5.0, 115 * max(share for _, share in shares)))
    add_footer(
        figure,
        f"{100 * found.not_knowing:.0f} % of the spread of NPV comes from what nobody knows yet, the rest from luck: "
        f"seasons, yearly prices, which trees die. {footer(run.dataset)}",
    )
    return figure


FIGURES: Final[dict[str, tuple[str, Callable[[SavedRun], Figure]]]] = {
    "land": ("The land through the years, in one future", land_figure),
    "yield_by_leaf": ("What the trees give", yield_figure),
    "size_and_grade": ("Size and grade of the fruit", size_figure),
    "cash": ("What it costs before it pays", cash_figure),
    "outcome": ("How it ends, and when it has paid back", outcome_figure),
    "drivers": ("What it hangs on", drivers_figure),
    "bad_years": ("Bad years", bad_years_figure),
    "trees": ("Trees lost and replaced", lambda run: trees_figure(run.dataset)),
    "money": ("Where the money goes", lambda run: ledger_figure(run.dataset)),
    "bloom_and_frost": ("Bloom and frost of the seasons drawn", lambda run: season_figure(run.dataset)),
}
"""File name -> heading on the page and the function that draws it, in the order of the page."""
OF_TREES: Final = ("land", "yield_by_leaf", "size_and_grade", "bad_years", "trees", "bloom_and_frost")
"""Pictures that a farm without blocks does not have."""


def figures_of(run: SavedRun) -> dict[str, tuple[str, Callable[[SavedRun], Figure]]]:
    """Pictures that a run has: those of trees only where blocks stand, the map where single trees are kept."""
    blocks = block_labels(run.dataset)
    kept = "tree_trial" in run.dataset.dims and bool(run.summary["sheet"]["land"])
    return {
        name: drawn for name, drawn in FIGURES.items() if (blocks or name not in OF_TREES) and (kept or name != "land")
    }
