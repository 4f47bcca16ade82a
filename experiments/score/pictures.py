"""Pictures of the score: the model's band against the published figures."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from experiments.score.rows import NC140, Row, Score

OURS, THEIRS, OTHER = "#2b6a8f", "#b5532b", "#5b8c3a"
MODEL = "model, median and 5-95 %"


def band(axes: Axes, values: np.ndarray, label: str, colour: str = OURS) -> None:
    """Median and 5 to 95 % band by leaf; values (trial, leaf)."""
    leaf = np.arange(1, values.shape[1] + 1)
    low, middle, high = np.nanpercentile(values, [5, 50, 95], axis=0)
    axes.fill_between(leaf, low, high, color=colour, alpha=0.2, linewidth=0)
    axes.plot(leaf, middle, color=colour, label=label)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))


def by_leaf(axes: Axes, last: int, ylabel: str, title: str) -> None:
    """Whole leaves along the axis."""
    axes.set(xlabel="leaf", ylabel=ylabel, title=title, xlim=(0.5, last + 0.5))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))


def draw(found: Score, folder: Path) -> None:
    """One file per group of targets."""
    rows = {row.id: row for row in found.rows}
    drawn = found.drawn
    spindle(drawn["spindle"], folder)
    light(drawn["light"], folder)
    free_and_dense(drawn, folder)
    stocks(drawn, folder)
    crop_levels(drawn, rows, folder)
    swing(drawn, rows, folder)
    single_trees(drawn, rows, folder)
    plt.close("all")


def spindle(drawn: dict[str, np.ndarray], folder: Path) -> None:
    """T2 to T5: yield, yield summed and height of a tall spindle."""
    figure, (one, two, three) = plt.subplots(1, 3, figsize=(15, 4.2), layout="constrained")
    bushels, height = drawn["bushels"], drawn["height"]
    band(one, bushels, MODEL)
    one.fill_between([1.6, 2.4], 100, 300, color=THEIRS, alpha=0.5, label="T2: 100-300 in leaf 2")
    one.fill_between([8, 15], 900, 1500, color=THEIRS, alpha=0.15, label="T4: mean of leaves 8-15, tolerance")
    by_leaf(one, bushels.shape[1], "yield [bu/ac]", "Tall spindle, Gala on M.9, good grower")
    band(two, bushels[:, :8].cumsum(axis=1), MODEL)
    two.errorbar(5, 3000, [[800], [800]], fmt="^", color=THEIRS, capsize=4, label="T3: > 3,000 by leaf 5; tolerance")
    by_leaf(two, 8, "yield summed [bu/ac]", "The same: yield since planting")
    band(three, height[:, :10], MODEL)
    three.hlines(3.05, 2, 4, color=THEIRS, linewidth=3, label="T5: top wire reached in leaf 2-4")
    by_leaf(three, 10, "height at the end of the leaf [m]", "The same: leader")
    for axes in (one, two, three):
        axes.legend(fontsize=8, loc="lower right")
    figure.savefig(folder / "T2-T5.png", dpi=110)


def light(drawn: dict[str, np.ndarray], folder: Path) -> None:
    """T11 and T12: light that the canopy stops, and what it yields."""
    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained")
    stopped = drawn["stopped"]
    band(one, stopped, MODEL)
    one.fill_between([10, 15], 62, 78, color=THEIRS, alpha=0.15, label="T11: mature, tolerance")
    by_leaf(one, stopped.shape[1], "light intercepted [%]", "Tall spindle at 1.0 x 3.5 m, good grower")
    one.set_ylim(0, 100)
    one.legend(fontsize=8, loc="lower right")
    two.plot(drawn["mature"], drawn["tonnes"], "o", color=OURS, alpha=0.6, label="model, a point per trial")
    span = np.array([0, 100])
    two.plot(span, span, color=THEIRS, label="about 1 t/ha per %")
    two.fill_between(span, 0.6 * span, 1.6 * span, color=THEIRS, alpha=0.12, label="T12: 0.6 to 1.6")
    two.set(
        xlabel="light intercepted, leaves 10-15 [%]",
        ylabel="yield, leaves 10-15 [t/ha]",
        title="Yield per light",
        xlim=(40, 90),
        ylim=(0, 120),
    )
    two.legend(fontsize=8, loc="upper left")
    figure.savefig(folder / "T11-T12.png", dpi=110)


def free_and_dense(drawn: dict[str, dict[str, np.ndarray]], folder: Path) -> None:
    """T6 and T7: free-standing trees, and two densities."""
    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.6), layout="constrained")
    band(one, drawn["free.seedling"]["bushels"], "seedling, 9 x 11 m")
    band(one, drawn["free.semi"]["bushels"], "MM.111, 6 x 6.8 m", OTHER)
    one.fill_between([15, 20], 10, 20, color=OURS, alpha=0.1, hatch="//", label="T6: seedling 10-20 bu, leaves 15-20")
    one.fill_between([15, 20], 4, 8, color=OTHER, alpha=0.1, hatch="..", label="T6: semi-standard 4-8 bu")
    one.hlines(1, 5, 8, color=THEIRS, linewidth=3, label="T6: first bushel in leaf 5-8")
    by_leaf(one, 20, "crop [bu/tree]", "Free-standing Red Delicious")
    one.set_ylim(0, 26)
    one.legend(fontsize=8, loc="upper left")
    for name, colour, label, (first, last), centre in (
        ("low", OTHER, "1,111 per ha", (10, 15), 40),
        ("high", OURS, "3,333 per ha", (6, 7), 75),
    ):
        band(two, drawn[f"density.{name}"]["tonnes"], label, colour)
        two.hlines(centre, first, last, color=colour, linewidth=3, linestyle=":", label=f"T7: about {centre}, +-30 %")
        two.fill_between([first, last], 0.7 * centre, 1.3 * centre, color=colour, alpha=0.1, hatch="//")
    by_leaf(two, 20, "yield [t/ha]", "Golden Delicious on M.9, two densities")
    two.set_ylim(0, 105)
    two.legend(fontsize=8, loc="upper left", ncols=2)
    figure.savefig(folder / "T6-T7.png", dpi=110)


def stocks(drawn: dict[str, dict[str, np.ndarray]], folder: Path) -> None:
    """T8: eight stocks, trunk and yield."""
    figure, both = plt.subplots(1, 2, figsize=(12, 5.2), layout="constrained")
    for axes, kind, unit in zip(
        both, ("tcsa", "yield"), ("trunk area [cm2]", "cumulative yield [kg/tree]"), strict=True
    ):
        part = drawn[f"stocks.{kind}"]
        ours, published, level = part["ours"], part["published"], float(part["level"])
        low, middle, high = np.percentile(ours, [5, 50, 95], axis=0)
        axes.errorbar(published, middle, [middle - low, high - middle], fmt="o", color=OURS, capsize=2, label=MODEL)
        for index, at in enumerate(np.argsort(published)):
            # labels on alternate sides, so that stocks of like size stay readable
            side, align = ((5, 4), "left") if index % 2 else ((-5, 4), "right")
            axes.annotate(
                list(NC140)[at],
                (published[at], middle[at]),
                xytext=side,
                textcoords="offset points",
                fontsize=8,
                ha=align,
            )
        span = np.array([published.min(), published.max()]) * np.array([0.95, 1.05])
        axes.plot(span, span, color="grey", linewidth=1, label="as published")
        axes.plot(span, level * span, color=THEIRS, linewidth=1, label=f"as published x {level:.2f} (common level)")
        error = np.exp(float(part["allowed"]))
        axes.fill_between(
            span,
            level * span / error,
            level * span * error,
            color=THEIRS,
            alpha=0.12,
            label="mean error that T8 allows about it",
        )
        axes.set(xlabel=f"published {unit}", ylabel=f"model {unit}", title="T8: Honeycrisp after five leaves")
        axes.legend(fontsize=8, loc="upper left")
    figure.savefig(folder / "T8.png", dpi=110)


def crop_levels(drawn: dict[str, dict[str, np.ndarray]], rows: dict[str, Row], folder: Path) -> None:
    """T9 and T10: fruit mass and trunk growth against crop."""
    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.6), layout="constrained")
    one.plot(drawn["size"]["load"].T, drawn["size"]["mass"].T, color=OURS, alpha=0.25)
    one.plot([], [], color=OURS, label="model, a line per trial")
    mass = np.array([300, 175, 150])
    one.errorbar([1, 7, 10], mass, 0.15 * mass, fmt="o", color=THEIRS, capsize=4, label="T9: published, +-15 %")
    one.set(xlabel="fruit per cm2 of autumn trunk", ylabel="mean fruit mass [g]", title="Honeycrisp in leaf 6")
    one.legend(fontsize=8)
    for stock, colour, x, y in zip(
        ("M.9", "M.26", "G.16"),
        (OURS, THEIRS, OTHER),
        drawn["growth"]["density"],
        drawn["growth"]["gain"],
        strict=True,
    ):
        slope, start = np.polyfit(x, y, 1)
        two.plot(x, y, "o", color=colour, label=f"{stock}: model, slope {slope:.2f}")
        two.plot(x, start + slope * x, color=colour, linewidth=1)
    two.set(
        xlabel="fruit per cm2 of autumn trunk",
        ylabel="trunk growth [cm2/year]",
        title=f"T10: straight and parallel? least R2 {rows['T10.r2'].ours:.2f} (> 0.9),\n"
        f"slopes apart {100 * rows['T10.slopes'].ours:.0f} % (< 25 %)",
    )
    two.title.set_fontsize(10)
    two.legend(fontsize=8)
    figure.savefig(folder / "T9-T10.png", dpi=110)


def swing(drawn: dict[str, dict[str, np.ndarray]], rows: dict[str, Row], folder: Path) -> None:
    """T13: single trees of a biennial cultivar."""
    figure, both = plt.subplots(1, 2, figsize=(11, 4.4), layout="constrained", sharey=True)
    for axes, name in zip(both, ("unthinned", "thinned"), strict=True):
        crop, row = drawn[f"swing.{name}"]["crop"], rows[f"T13.{name}"]
        axes.plot(np.arange(1, len(crop) + 1), crop[:, :12], color=OURS, alpha=0.5)
        title = f"T13: twelve trees, {name}\nbiennial index {row.ours:.2f}, published {row.published}"
        by_leaf(axes, len(crop), "crop per tree [kg]", title)
    figure.savefig(folder / "T13.png", dpi=110)


def single_trees(drawn: dict[str, dict[str, np.ndarray]], rows: dict[str, Row], folder: Path) -> None:
    """T14, T15 and T22: how trees of one block differ, and how lastingly."""
    figure, (one, two, three) = plt.subplots(1, 3, figsize=(15, 4.6), layout="constrained")
    crop = drawn["uniformity"]["crop"]
    count, per_row = crop.shape
    field = one.imshow(crop, cmap="YlGn", aspect="auto", vmin=0, extent=(0.5, per_row + 0.5, count + 0.5, 0.5))
    figure.colorbar(field, ax=one, label="crop in leaf 15 [kg/tree]; white: no tree")
    one.set(
        xlabel="tree in the row",
        ylabel="row",
        title="T14: old block, one trial; ours over trials (open data)\n"
        + ", ".join(
            f"{what} {rows[f'T14.{key}'].ours:.2f} ({rows[f'T14.{key}'].published})"
            for key, what in (("variation", "CV"), ("along", "r along"), ("across", "across"))
        ),
    )
    one.title.set_fontsize(9)
    leaves = [5, 10, 15]
    found = [rows[f"T15.{leaf}"] for leaf in leaves]
    middle = np.array([row.ours for row in found])
    spread = [middle - [row.low for row in found], [row.high for row in found] - middle]
    two.errorbar(leaves, middle, spread, fmt="o", color=OURS, capsize=4, label=MODEL)
    two.axhspan(0.05, 0.12, color=THEIRS, alpha=0.15, label="T15: open data")
    by_leaf(two, 16, "between-tree variation of girth [1]", "T15: tall spindle")
    two.set_ylim(0, 0.16)
    two.legend(fontsize=8)
    three.plot(drawn["lasting"]["before"], drawn["lasting"]["after"], ".", color=OURS, alpha=0.6)
    three.set(
        xlabel="yield of leaves 6-9 [kg/tree]",
        ylabel="yield of leaves 10-13 [kg/tree]",
        title=f"T22: single trees, one trial; r {rows['T22'].ours:.2f} over trials (> 0.2)",
    )
    three.title.set_fontsize(10)
    figure.savefig(folder / "T14-T15-T22.png", dpi=110)
