"""How many spare trees to buy at planting, by stock, density, lead time, site, prices and blight: rules, errors.

Usage: ``python experiments/replacement_stock/run.py --out DIR [--quick] [--jobs N]``
"""

from __future__ import annotations

import argparse
import itertools
import tomllib
from pathlib import Path

import numpy as np
import pandas
import xarray
from matplotlib.figure import Figure
from scipy.stats import binom

import orchardsim
from orchardsim.plan.study import load_study
from orchardsim.report.style import SERIES, add_footer, picture_settings

HERE = Path(__file__).parent
QUICK_TRIALS = 12
RESAMPLES = 2_000
NEAR = 100.0
"""Difference of NPV that no grower would notice on a third of a hectare [USD] (our own choice)."""
CONDITIONS = ("stock", "density", "lead_time", "site", "prices", "blight")
TOGETHER = ("prices", "lead_time")
"""Factors whose levels are told together too."""


def declared(quick: bool) -> dict:
    """The study; quick: fewer trials, one site and blight level."""
    raw = tomllib.loads((HERE / "study.toml").read_text(encoding="utf-8"))
    if quick:
        site = next(factor for factor in raw["factor"] if factor["name"] == "site")
        raw |= {"trials": QUICK_TRIALS, "keys": site["level"][1]["keys"]}
        raw["factor"] = [factor for factor in raw["factor"] if factor["name"] in ("spares", "stock")]
    return raw


def rule(npv: np.ndarray, shares: list[float], rng: np.random.Generator) -> dict[str, float | str]:
    """The best share of spares from NPV (share, trial), and the shares that nine resamples of ten choose from.

    ``same`` holds every share that cannot be told from the best one: its mean loss against it lies within two standard
    errors of the paired difference, or below NEAR.
    """
    trials = npv.shape[1]
    weights = rng.multinomial(trials, np.full(trials, 1 / trials), size=RESAMPLES) / trials
    chosen = np.array(shares)[(weights @ npv.T).argmax(axis=1)]
    best = int(npv.mean(axis=1).argmax())
    short = npv[best] - npv
    error = short.std(axis=1, ddof=1) / np.sqrt(trials)
    same = [
        share for share, gap, noise in zip(shares, short.mean(axis=1), error, strict=True) if gap <= max(2 * noise, 100)
    ]
    return {
        "best": shares[best],
        "chosen_low": float(np.quantile(chosen, 0.05, method="inverted_cdf")),
        "chosen_high": float(np.quantile(chosen, 0.95, method="inverted_cdf")),
        "same_low": min(same),
        "same_high": max(same),
        "cost_of_none": float(short.mean(axis=1)[0]),
        "its_error": float(error[0]),
    }


def rules(dataset: xarray.Dataset, trees: dict[str, int]) -> list[dict]:
    """One rule for each condition."""
    rng = np.random.default_rng(2)
    names = [name for name in CONDITIONS if name in dataset.dims]
    shares = [float(text) for text in dataset["spares"].values]
    found = []
    for levels in itertools.product(*(dataset[name].values for name in names)):
        here = dict(zip(names, map(str, levels), strict=True))
        part = dataset.sel(here)
        lost = part["lost_young"].isel(spares=0).values
        count = trees[here.get("density", "close")]
        found.append(
            here
            | rule(part["npv"].transpose("spares", "trial").values, shares, rng)
            | {
                "lost_young_mean": float(lost.mean()),
                "lost_young_9_in_10": float(np.quantile(lost, 0.9)),
                "binomial_9_in_10": float(binom.ppf(0.9, count, lost.mean()) / count),
            }
        )
    return found


def picture(found: list[dict], trials: int) -> Figure:
    """Best share of spares by condition, with the shares that cannot be told from it."""
    figure = Figure(figsize=(7, 1.4 + 0.17 * len(found)), layout="constrained")
    axes = figure.subplots()
    for place, one in enumerate(found):
        colour = SERIES[("M.9", "G.935", "MM.106").index(one["stock"])]
        axes.plot([100 * one["same_low"], 100 * one["same_high"]], [place, place], color=colour, linewidth=3, alpha=0.4)
        axes.plot(100 * one["best"], place, "o", color=colour, markersize=4)
        axes.plot(100 * one["lost_young_9_in_10"], place, "|", color="0.3", markersize=6)
    names = [name for name in CONDITIONS if name in found[0]]
    axes.set_yticks(range(len(found)), [", ".join(one[name] for name in names) for one in found], fontsize=6)
    axes.set_xlabel("spares at planting [% of the trees]")
    axes.set_ylim(len(found) - 0.5, -0.5)
    add_footer(
        figure,
        f"Dot: best by mean NPV; bar: shares that cannot be told from it or cost less than {NEAR:g} USD more; stroke: "
        f"loss to leaf 3 that nine futures of ten stay below. n = {trials} trials. Invented farm.",
    )
    return figure


def means(dataset: xarray.Dataset) -> list[str]:
    """NPV over that without spares, by level of each factor, all else averaged, with two standard errors."""
    lines = []
    groups = [(name,) for name in CONDITIONS] + [TOGETHER]
    for names in (names for names in groups if set(names) <= set(dataset.dims)):
        for levels in itertools.product(*(dataset[name].values for name in names)):
            here = dict(zip(names, levels, strict=True))
            npv = dataset["npv"].sel(here)
            npv = npv.mean([dim for dim in npv.dims if dim not in ("spares", "trial")])
            gain = npv.isel(spares=slice(1, None)) - npv.isel(spares=0, drop=True)
            error = 2 * gain.std("trial", ddof=1) / np.sqrt(gain.sizes["trial"])
            words = [
                f"{100 * float(share):g} %: {middle:+,.0f} ± {noise:,.0f}"
                for share, middle, noise in zip(
                    gain["spares"].values, gain.mean("trial").values, error.values, strict=True
                )
            ]
            lines.append("  " + ", ".join(f"{name} {level}" for name, level in here.items()) + ": " + "; ".join(words))
    return lines


def main() -> None:
    """Run the study and tell the rules."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--quick", action="store_true", help="few trials, fewer factors: does it run?")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    study = load_study(declared(options.quick), base=HERE)
    trees = {
        study.names(cell).get("density", "close"): sum(block.geometry.trees for block in cell.plan.blocks)
        for cell in study.cells
    }
    dataset = orchardsim.study(study, jobs=options.jobs)
    found = rules(dataset, trees)
    pandas.DataFrame(found).to_csv(options.out / "rules.csv", index=False, float_format="%.4g")
    lines = [f"{study.title}: n = {study.trials} trials of {study.years} years", ""]
    lines += [
        "NPV over that of no spares [USD for the block], mean over all else, ± two standard errors",
        *means(dataset),
        "",
    ]
    names = [name for name in CONDITIONS if name in found[0]]
    lines.append(
        "best share of spares; shares that cannot be told from it; loss to leaf 3, mean and 9 in 10, binomial 9 in 10"
    )
    for one in found:
        losses = ("lost_young_mean", "lost_young_9_in_10", "binomial_9_in_10")
        percents = [f"{100 * one[key]:5.1f} %" for key in losses]
        label = ", ".join(one[name] for name in names)
        same = f"{100 * one['same_low']:.0f} to {100 * one['same_high']:.0f} %"
        lines.append(f"  {label:<42} {100 * one['best']:5.0f} %   {same:<9}   {'  '.join(percents)}")
    (options.out / "answer.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with picture_settings():
        picture(found, study.trials).savefig(options.out / "rules.png", dpi=110)
    print("\n".join(lines))


if __name__ == "__main__":
    main()
