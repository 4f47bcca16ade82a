"""How hard to crop: yield, size, return bloom, trunk and money by crop target, on three stocks; and stocks by room.

    python experiments/crop_load/run.py --out DIR [--trials 24]

An annual cultivar (Gala) and a biennial one (Honeycrisp) at 1.1 x 3.65 m, thinned by hand to a target in leaves 2 to 5
with the cultivar's own target later, or to its own target early and another one later. Then Gala on five stocks, close
(1.0 x 3.5 m, tall spindle) and wide (5.5 x 7 m, free-standing) over 25 years. Whole plans with weather, losses,
replants and the catalogue's prices; the place is the invented northern one of experiments/score.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.score.trials import GOOD_GROWER, Group, Outcome, Trial, run_trial

STOCKS = ("M.9", "G.935", "MM.111")
OWN = {"Gala": (6.0,) * 4 + (6.0,), "Honeycrisp": (4.0, 4.0, 5.0, 6.0, 5.0, 4.5, 4.0, 3.7, 3.4, 3.2, 3.0)}
"""The catalogue's targets [1/cm2] of leaves 2 to 5, and later by leaf."""
EARLY = (0.0, 2.0, 4.0, 6.0, 9.0, 14.0)
LATER = (1.5, 2.5, 3.5, 5.0, 7.0)
FIVE = ("M.27", "M.9", "M.26", "MM.111", "seedling")
YEARS = 15
Table = list[dict[str, float | str]]


def policies(cultivar: str) -> dict[str, str]:
    """Name of each way to crop -> target by leaf, as a plan states it."""
    young, old = OWN[cultivar][:4], OWN[cultivar][4:]
    found = {f"leaves 2-5: {load:g}": str([0.0, *[load] * 4, *old]) for load in EARLY}
    found |= {f"later: {load:g}": str([0.0, *young, load]) for load in LATER}
    return found | {"own targets": str([0.0, *young, *old]), "never thinned": '"unthinned"'}


def crop_table(cultivar: str, trials: int) -> Table:
    """One row per stock and way to crop; medians over trials."""
    rows: Table = []
    for stock in STOCKS:
        ways = policies(cultivar)
        groups = [Group(name, stock, target, 2) for name, target in ways.items()]
        plan = Trial("crop load", cultivar, "tall_spindle", "feathered", 1.1, 3.65, groups, 40, years=YEARS)
        found = run_trial(plan, trials)
        for g, name in enumerate(ways):
            rows.append({"stock": stock, "crop": name, **figures(found, g)})
    return rows


def figures(found: Outcome, g: int) -> dict[str, float]:
    """Numbers of one group."""
    tonnes, mass = found.tonnes()[:, :, g], found.of("fruit_mass_mean")[:, :, g]
    clusters, trunk = found.of("flower_clusters")[:, :, g], found.of("trunk_area_mean")[:, :, g]
    bloom = clusters / np.maximum(found.of("trees_alive")[:, :, g], 1)
    npv = found.data["npv_by_block"].sel(block=found.labels[g]).values

    def middle(values: np.ndarray) -> float:
        return float(np.nanmedian(values))

    return {
        "t_ha_2_5": middle(tonnes[:, 1:5].sum(1)),
        "t_ha_8_15": middle(tonnes[:, 7:15].mean(1)),
        "gram_4": middle(mass[:, 3]),
        "gram_8_15": middle(np.nanmean(mass[:, 7:15], axis=1)),
        "bloom_leaf_6": middle(bloom[:, 5]),
        "lean_years": middle((bloom[:, 5:15] < 0.3 * bloom[:, 5:15].max(1, keepdims=True)).sum(1)),
        "trunk_6": middle(trunk[:, 5]),
        "npv_ha": middle(npv / found.land[g] * 1e4),
    }


def room_table(trials: int) -> Table:
    """Gala on five stocks, close and wide, 25 years, good grower."""
    rows: Table = []
    ways = (("1.0 x 3.5 m", "tall_spindle", 1.0, 3.5), ("5.5 x 7 m", "wide_standard", 5.5, 7.0))
    for room, training, along, across in ways:
        groups = [Group(stock, stock, "", 3) for stock in FIVE]
        plan = Trial("room", "Gala", training, "feathered", along, across, groups, 30, growth=GOOD_GROWER, years=25)
        found = run_trial(plan, trials)
        hours = found.data["labour_hours"].sel(task="dormant_pruning", block=list(found.labels)).values
        for g, stock in enumerate(FIVE):
            tonnes = found.tonnes()[:, :, g]
            rows.append(
                {
                    "room": room,
                    "stock": stock,
                    "t_ha_25_years": float(np.median(tonnes.sum(1))),
                    "t_ha_leaves_15_20": float(np.median(tonnes[:, 14:20].mean(1))),
                    "trunk_15": float(np.median(found.of("trunk_area_mean")[:, 14, g])),
                    "pruning_hours_ha_year": float(np.median(hours[:, :, g].mean(1)) / found.land[g] * 1e4),
                    "npv_ha": float(
                        np.median(found.data["npv_by_block"].sel(block=found.labels[g]) / found.land[g] * 1e4)
                    ),
                }
            )
    return rows


def text(rows: Table) -> str:
    """Rows as aligned text."""
    heads = list(rows[0])

    def cell(value: float | str) -> str:
        return value if isinstance(value, str) else f"{value:,.0f}" if abs(value) >= 100 else f"{value:.1f}"

    cells = [heads, *[[cell(row[head]) for head in heads] for row in rows]]
    widths = [max(len(line[i]) for line in cells) for i in range(len(heads))]
    return "\n".join("  ".join(one.rjust(width) for one, width in zip(line, widths, strict=True)) for line in cells)


def draw(tables: dict[str, Table], path: Path) -> None:
    """Early target against early yield, trunk and money, one line per stock."""
    wanted = (("t_ha_2_5", "yield of leaves 2-5 [t/ha]"), ("trunk_6", "trunk, leaf 6 [cm2]"),
              ("t_ha_8_15", "yield of leaves 8-15 [t/ha]"), ("npv_ha", "value at year 0 [USD/ha]"))  # fmt: skip
    figure, axes = plt.subplots(2, 4, figsize=(15, 6.4), layout="constrained")
    for line, (cultivar, rows) in zip(axes, tables.items(), strict=True):
        for plot, (key, label) in zip(line, wanted, strict=True):
            for stock in STOCKS:
                chosen = [row for row in rows if row["stock"] == stock and str(row["crop"]).startswith("leaves 2-5")]
                plot.plot(EARLY, [row[key] for row in chosen], marker="o", label=stock)
            plot.set(xlabel="target in leaves 2-5 [fruit/cm2]", ylabel=label, title=cultivar)
        line[0].legend()
    figure.savefig(path, dpi=110)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=24)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    tables = {cultivar: crop_table(cultivar, options.trials) for cultivar in OWN}
    room = room_table(options.trials)
    parts = [f"{name}, 1.1 x 3.65 m, {options.trials} trials, medians\n{text(rows)}" for name, rows in tables.items()]
    parts.append(f"Gala over 25 years, site level {GOOD_GROWER}\n{text(room)}")
    (options.out / "table.txt").write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    (options.out / "crop_load.json").write_text(json.dumps({**tables, "room": room}, indent=1) + "\n", encoding="utf-8")
    draw(tables, options.out / "crop_load.png")
    print("\n\n".join(parts))


if __name__ == "__main__":
    main()
