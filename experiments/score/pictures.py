"""Pictures of the score: the model's band against the published figures."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from rows import LEVELS, NC140, Score

OURS, THEIRS = "#2b6a8f", "#b5532b"


def band(axes: Axes, values: np.ndarray, label: str, colour: str = OURS) -> None:
    """Median and 5 to 95 % band by leaf; values (trial, leaf)."""
    leaf = np.arange(1, values.shape[1] + 1)
    low, middle, high = np.nanpercentile(values, [5, 50, 95], axis=0)
    axes.fill_between(leaf, low, high, color=colour, alpha=0.2, linewidth=0)
    axes.plot(leaf, middle, color=colour, label=label)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))


def draw(found: Score, folder: Path) -> None:
    """One file per group of targets."""
    drawn = found.drawn
    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained")
    band(one, drawn["spindle"]["bushels"], "model, median and 5-95 %")
    one.fill_between([1.6, 2.4], 100, 300, color=THEIRS, alpha=0.5, label="T2: 100-300 in leaf 2")
    one.fill_between([8, 15], 900, 1500, color=THEIRS, alpha=0.15, label="T4: mature, tolerance")
    one.set(xlabel="leaf", ylabel="yield [bu/ac]", title="Tall spindle, Gala on M.9, good grower")
    one.legend(fontsize=8)
    band(two, drawn["light"]["stopped"], "model at 1.0 x 3.5 m")
    two.axhspan(62, 78, color=THEIRS, alpha=0.15, label="T11: mature, tolerance")
    two.set(xlabel="leaf", ylabel="light intercepted [%]", title="Light", ylim=(0, 100))
    two.legend(fontsize=8)
    figure.savefig(folder / "T2-T4-T11.png", dpi=110)

    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained")
    band(one, drawn["free.seedling"]["bushels"], "seedling, 9 x 11 m")
    band(one, drawn["free.semi"]["bushels"], "MM.111, 6 x 6.8 m", "#5b8c3a")
    one.fill_between([15, 20], 10, 20, color=THEIRS, alpha=0.15, label="T6: 10-20 bu by year 15-20")
    one.axvspan(5, 8, color="grey", alpha=0.12, label="T6: first crop")
    one.set(xlabel="leaf", ylabel="crop [bu/tree]", title="Free-standing trees", ylim=(0, 26))
    one.legend(fontsize=8, loc="upper left")
    band(two, drawn["density.low"]["tonnes"], "1,111 per ha", "#5b8c3a")
    band(two, drawn["density.high"]["tonnes"], "3,333 per ha")
    two.hlines(40, 10, 15, color=THEIRS, label="T7: about 40 and about 75 t/ha")
    two.hlines(75, 6, 7, color=THEIRS)
    two.set(xlabel="leaf", ylabel="yield [t/ha]", title="Golden Delicious on M.9, two densities")
    two.legend(fontsize=8, loc="lower right")
    figure.savefig(folder / "T6-T7.png", dpi=110)

    figure, both = plt.subplots(1, 2, figsize=(11, 4.6), layout="constrained")
    for axes, kind, unit in zip(
        both, ("tcsa", "yield"), ("trunk area [cm2]", "cumulative yield [kg/tree]"), strict=True
    ):
        ours, published = drawn[f"stocks.{kind}"]["ours"], drawn[f"stocks.{kind}"]["published"]
        low, middle, high = np.percentile(ours, [5, 50, 95], axis=0)
        axes.errorbar(published, middle, [middle - low, high - middle], fmt="o", color=OURS, capsize=2)
        for name, x, y in zip(NC140, published, middle, strict=True):
            axes.annotate(name, (x, y), xytext=(4, 4), textcoords="offset points", fontsize=8)
        span = np.array([published.min(), published.max()])
        axes.plot(span, span, color="grey", linewidth=1)
        axes.set(xlabel=f"published {unit}", ylabel=f"model {unit}", title="T8: Honeycrisp after five leaves")
    figure.savefig(folder / "T8.png", dpi=110)

    figure, (one, two) = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained")
    one.plot(drawn["size"]["load"].T, drawn["size"]["mass"].T, color=OURS, alpha=0.25)
    one.plot([1, 7, 10], [300, 175, 150], "o", color=THEIRS, label="T9: published")
    one.set(xlabel="fruit per cm2 of autumn trunk", ylabel="mean fruit mass [g]", title="Honeycrisp fruit size")
    one.legend(fontsize=8)
    for stock, x, y in zip(("M.9", "M.26", "G.16"), drawn["growth"]["density"], drawn["growth"]["gain"], strict=True):
        two.plot(x, y, "o-", label=stock)
    two.set(
        xlabel="fruit per cm2",
        ylabel="trunk growth [cm2/year]",
        title=f"T10: trunk growth at {len(LEVELS)} crop levels",
    )
    two.legend(fontsize=8)
    figure.savefig(folder / "T9-T10.png", dpi=110)

    figure, both = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained", sharey=True)
    for axes, name in zip(both, ("unthinned", "thinned"), strict=True):
        crop = drawn[f"swing.{name}"]["crop"]
        axes.plot(np.arange(1, len(crop) + 1), crop[:, :12], color=OURS, alpha=0.5)
        axes.set(xlabel="leaf", ylabel="crop per tree [kg]", title=f"T13: twelve trees, {name}")
    figure.savefig(folder / "T13.png", dpi=110)
    plt.close("all")
