"""How much orchards vary: published figures and ours beside them, for the demo, futures that do not know their site.

``python experiments/dispersion/run.py`` writes ``dispersion.json`` and ``dispersion.png`` beside itself and prints the
table. A row is met when ours lies in the range. Rows on crops between full and none stand in ``crops.py``: the
demo's planting in a cool place, on a warm slope and in a frost-prone hollow.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from numpy.typing import NDArray

import orchardsim
from experiments.dispersion.crops import MATURE, at_leaf, crop_lines, fresh_share
from orchardsim.plan.keys import with_keys

HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "configs" / "demo.toml"
NEVER = 1.3
"""Where the picture puts a year that never comes."""


@dataclass(frozen=True)
class Row:
    """A published figure, the range that an honest simulation should fall into (our judgement), and ours."""

    row: str
    what: str
    source: str
    low: float
    high: float
    ours: float

    @property
    def met(self) -> bool:
        """Whether ours lies in the range."""
        return self.low <= self.ours <= self.high


def variation(values: NDArray[np.float64]) -> float:
    """Coefficient of variation over trials."""
    return float(values.std(ddof=1) / values.mean())


def trial_rows(trials: int, jobs: int) -> list[Row]:
    """Rows of a trial at many sites: the demo's planting with Honeycrisp on both of its stocks."""
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    keys = {"block.group.cultivar": "Honeycrisp"}
    plan = orchardsim.load_plan(with_keys(raw, keys, DEMO.name), base=DEMO.parent)
    found = orchardsim.simulate(plan, trials=trials, years=9, jobs=jobs)
    first, fifth = (at_leaf(found, plan.labels[0], leaf) for leaf in (1, 5))
    picked = found["harvested_mass"].isel(year=slice(first, fifth + 1)).sum("year")
    trunk = found["trunk_area_mean"].isel(year=fifth)
    lost = found["trees_lost"].sum("cause").isel(year=slice(first, fifth + 1)).sum("year")
    lost = lost / found["trees_planted"].sum("year")
    stocks = list(plan.labels)
    share = lost.sel(block=stocks).values
    sites = "Autio et al. 2017, J. Amer. Pomological Soc. 71(3), Table 9 (derived)"
    on = "Honeycrisp on M.9 and G.935"
    return [
        Row("V1", f"CV of five-year yield between futures, {on}", sites, 0.25, 0.40,
            float(np.mean([variation(picked.sel(block=stock).values) for stock in stocks]))),
        Row("V2", f"CV of trunk area after five seasons, {on}", sites, 0.24, 0.38,
            float(np.mean([variation(trunk.sel(block=stock).values) for stock in stocks]))),
        Row("V11", f"trees lost in five years, middle future, {on}", sites, 0.0, 0.05, float(np.median(share))),
        Row("V11", f"trees lost in five years, worst tenth begins at, {on}", sites, 0.13, 0.25,
            float(np.quantile(share, 0.9))),
    ]  # fmt: skip


def rows(trials: int, jobs: int) -> list[Row]:
    """Every row that a run of the demo tells."""
    plan = orchardsim.load_plan(DEMO)
    found = orchardsim.simulate(plan, trials=trials, years=20, jobs=jobs)
    gala, honeycrisp = plan.labels
    crop, mature = found["harvested_mass"].sel(block=gala).values, at_leaf(found, gala, MATURE)
    fruit = found["fruit_mass_mean"].sel(block=gala).values[:, mature]
    price = np.log(np.maximum(found["price_luck"].values, 1e-9))
    drop = crop[:, mature:] / np.median(crop[:, mature:])
    partial, near_total = float(((drop > 0.3) & (drop < 0.8)).mean()), float((drop <= 0.3).mean())
    irr = found["irr"].values
    payback = found["payback_year"].values
    farms = "21 orchards of one region: Lincoln University research archive (derived)"
    budgets = "Robinson et al. 2005, HortScience 40(4):1128 (read)"
    return [
        *trial_rows(trials, jobs),
        Row("V3", "CV of yield between futures in one year", farms, 0.25, 0.45, variation(crop[:, mature])),
        Row("V3", "CV of fruit mass between futures in one year", farms, 0.10, 0.20, variation(fruit)),
        Row("V8", "seasons with 30 to 80 % of the middle crop per season below 30 %",
            "losses of farms in one freeze: wktv.com, wrvo.org (read)", 1.0, np.inf,
            partial / max(near_total, 1e-9)),
        Row("V13", "SD of the log price between futures and years, crop's part left out",
            "FAOSTAT producer prices, USA 1991-2018, real (derived)", 0.17, 0.28, float(price.std())),
        Row("V15", "SD of a block's pack-out between years", "memory", 0.08, 0.15,
            float(np.median(fresh_share(found, gala).std(axis=1)))),
        Row("V15", "mean share of Honeycrisp sold fresh", "48 to 60 % of lots of 2011, 2014 and 2025, 65 % the "
            "aim: Good Fruit Grower and others (read, derived)", 0.48, 0.65,
            float(fresh_share(found, honeycrisp).mean())),
        Row("V15", "mean share of Gala sold fresh", "Australian class 1 66 to 71 %: apal.org.au (read); a packer of "
            "2014 82 %: Good Fruit Grower (derived)", 0.66, 0.82, float(fresh_share(found, gala).mean())),
        Row("V17", "share of futures with an NPV below zero", "New York system trials: one farm of two lost (read); "
            "one in twenty to three in four: our judgement", 0.05, 0.75, float((found["npv"].values < 0).mean())),
        Row("V18", "IRR of the middle future", budgets, 0.075, 0.111, float(np.median(irr))),
        Row("V18", "payback year of the middle future", budgets, 10, 13, float(np.median(payback))),
    ]  # fmt: skip


def main() -> None:
    """Run, print, and write the table and the picture."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    found = rows(options.trials, options.jobs) + [Row(*line) for line in crop_lines(DEMO, options.trials, options.jobs)]
    print(f"{'':4s} {'published range':>17s} {'ours':>8s}  met  what")
    for one in found:
        met = "yes" if one.met else "no "
        print(f"{one.row:4s} {one.low:7.3g} to {one.high:6.3g} {one.ours:8.3g}  {met}  {one.what}")
    table = [
        {"row": one.row, "what": one.what, "source": one.source, "low": one.low,
         "high": None if np.isinf(one.high) else one.high,
         "ours": "never" if np.isinf(one.ours) else float(f"{one.ours:.4g}"), "met": one.met}
        for one in found
    ]  # fmt: skip
    (HERE / "dispersion.json").write_text(json.dumps({"trials": options.trials, "rows": table}, indent=1) + "\n")
    draw(found, HERE / "dispersion.png")


def draw(found: list[Row], path: Path) -> None:
    """Each figure of ours over the upper end of its published range; what is never reached stands at the right edge."""
    figure, axes = plt.subplots(figsize=(11, 10), layout="constrained")
    for place, one in enumerate(reversed(found)):
        scale = one.high if np.isfinite(one.high) else max(one.ours, 1.0)
        axes.plot([one.low / scale, 1.0], [place, place], lw=8, color="0.8", solid_capstyle="butt")
        never = not np.isfinite(one.ours)
        axes.plot(NEVER if never else one.ours / scale, place, "o" if one.met else ">" if never else "x", color="k")
    axes.set_yticks(range(len(found)), [f"{one.row}  {one.what}" for one in reversed(found)], fontsize=8)
    axes.set_xlabel("over the upper end of the published range; grey: range, o met, x missed, > never")
    figure.savefig(path, dpi=120)
    plt.close(figure)


if __name__ == "__main__":
    main()
