"""Five small field trials set up from Python: how a researcher asks the model for trees, plots and years.

Every place, size, spacing and climate here is invented; nothing is fitted to these set-ups and nothing published is
reproduced (that is ``experiments/score``). Run it with ``python experiments/research_example/run.py``.
"""

from __future__ import annotations

import argparse
import itertools
from typing import Any

import numpy as np
import xarray as xr

import orchardsim

TRIALS = 8
NORTH: dict[str, Any] = {
    "temperature_max": {"value": [-2, 0, 6, 13, 20, 25, 27, 26, 21, 14, 7, 1], "unit": "degC"},
    "temperature_min": {"value": [-10, -9, -4, 2, 8, 13, 16, 15, 11, 5, 0, -6], "unit": "degC"},
    "rain": {"value": [55, 50, 60, 75, 80, 90, 85, 80, 80, 75, 70, 60], "unit": "mm"},
    "wet_days": [12, 11, 12, 12, 12, 11, 10, 10, 10, 11, 12, 13],
}
"""Monthly normals of an invented northern site, January first; no station record is needed."""


def plot(name: str, row: float, tree: float, groups: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A block of a trial: its row groups differ in stock, cultivar or crop target and share spacing and rows."""
    return {
        "name": name,
        "training": "tall_spindle",
        "tree_grade": "feathered",
        "cultivar": "Gala",
        "row_spacing": f"{row} m",
        "tree_spacing": f"{tree} m",
        "row_length": f"{16 * tree} m",
        "year_planted": 0,
        "pollinizer": [{"cultivar": "crab", "every_tree": 8, "every_row": 2}],
        "group": [{"rows": 2, **group} for group in groups],
        **more,
    }


def trial(
    blocks: list[dict[str, Any]], years: int, normals: dict[str, Any] = NORTH, warming: float = 0.0, single: int = 0
) -> xr.Dataset:
    """Run a trial; the single trees of the first ``single`` futures are kept."""
    plan = orchardsim.load_plan(
        {
            "title": "invented research trial",
            "units": "metric",
            "currency": "USD",
            "site": {"latitude": "43 degree", "elevation": "150 m", "irrigated": True},
            "weather": {"normals": normals, "warming": {"value": [warming] * 12, "unit": "K"}},
            "block": blocks,
        }
    )
    return orchardsim.simulate(plan, trials=TRIALS, years=years, seed=7, single_trees=tuple(range(single)))


def show(title: str, head: list[str], rows: list[list[Any]]) -> None:
    """Print a table; numbers to three figures."""
    cells = [head, *([f"{one:.3g}" if isinstance(one, float) else str(one) for one in row] for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    print(f"\n{title}")
    for row in cells:
        print("  " + "  ".join(text.rjust(width) for text, width in zip(row, widths, strict=True)))


def per_block(data: xr.Dataset) -> xr.Dataset:
    """Row groups without the farm's own entry, means over trials."""
    some = data.sel(block=[label for label in data["block"].values if label != "shared"])
    return some[["trunk_area_mean", "crop_mass", "harvested_mass", "trees_alive", "fruit_mass_mean"]].mean(
        "trial", keep_attrs=True
    ).assign(land=some["planted_area"])  # fmt: skip


def stocks_by_spacing() -> None:
    """Several stocks x in-row spacings: a block for each spacing, a row group for each stock."""
    stocks = ("B.9", "M.9", "G.935", "M.7")
    blocks = [
        plot(f"{spacing} m", 3.8, spacing, [{"name": stock, "rootstock": stock} for stock in stocks])
        for spacing in (0.8, 1.4, 2.4)
    ]
    found = per_block(trial(blocks, 10))
    rows = [
        [
            label,
            float(one["trunk_area_mean"][-1]),
            float((one["crop_mass"] / one["trees_alive"]).sum()),
            float(one["harvested_mass"].sum() / one["land"] * 10),
        ]
        for label, one in ((str(label), found.sel(block=label)) for label in found["block"].values)
    ]
    show("Gala on four stocks at three in-row spacings, leaf 10",
         ["spacing/stock", "trunk, cm2", "kg a tree, summed", "t/ha, summed"], rows)  # fmt: skip


def cultivar_at_sites() -> None:
    """Another cultivar at several sites: the same block under warmer and colder normals."""
    rows = []
    for site, warming in (("cold", -2.0), ("middle", 0.0), ("warm", 2.0)):
        block = plot("trial", 3.8, 1.2, [{"name": "Empire", "cultivar": "Empire", "rootstock": "M.9"}])
        data = trial([block], 10, warming=warming).sel(block="trial/Empire")
        rows.append(
            [
                site,
                float(data["bloom_day"].mean()) - 182,  # day 182 of the season is 1 April
                float(data["frost_kill"].mean()),
                float(data["trunk_area_mean"].mean("trial")[-1]),
                float(data["harvested_mass"].mean("trial").sum() / data["planted_area"] * 10),
            ]
        )
    show("Empire on M.9 at three sites, leaf 10",
         ["site", "bloom, days after 1 April", "flowers killed", "trunk, cm2", "t/ha, summed"], rows)  # fmt: skip


def wide_spaced_trees() -> None:
    """Wide-spaced trees over 20 years."""
    block = plot(
        "wide", 6.6, 4.4, [{"name": stock, "rootstock": stock} for stock in ("M.26", "MM.111")],
        training="central_leader", tree_grade="whip",
    )  # fmt: skip
    found = per_block(trial([block], 20))
    rows = []
    for leaf in (3, 5, 8, 12, 16, 20):
        cells: list[Any] = [leaf]
        for label in found["block"].values:
            one = found.sel(block=label).isel(year=leaf - 1)
            cells += [float(one["trunk_area_mean"]), float(one["crop_mass"] / one["trees_alive"])]
        rows.append(cells)
    head = [f"{stock}: {what}" for stock in ("M.26", "MM.111") for what in ("trunk, cm2", "kg a tree")]
    show("Free-standing Gala at 4.4 x 6.6 m", ["leaf", *head], rows)


def trees_of_an_old_block() -> None:
    """Single trees of a block planted 12 years before the run: how they differ, and how lastingly."""
    block = plot("old", 5.0, 3.0, [{"name": "Jonathan", "cultivar": "Jonathan", "rootstock": "MM.106", "rows": 6}],
                 training="central_leader", year_planted=-12)  # fmt: skip
    data = trial([block], 6, single=4)
    grown = data["tree_leaf"] > 12
    crop = data["tree_crop_mass"].where(grown)
    spread = crop.std("tree") / crop.mean("tree")
    trunk = data["tree_trunk_area"].where(grown)
    rows = []
    for year in range(1, 6):
        last, now = (crop.sel(year=one).values for one in (year - 1, year))
        rows.append(
            [
                13 + year,
                float(crop.sel(year=year).mean()),
                float(spread.sel(year=year).mean()),
                float((trunk.std("tree") / trunk.mean("tree")).sel(year=year).mean()),
                float(np.mean([correlation(*pair) for pair in zip(last, now, strict=True)])),
            ]
        )
    show("Single trees of an old block of Jonathan",
         ["leaf", "kg a tree", "crop: sd/mean", "trunk: sd/mean", "crop against last year's, r"], rows)  # fmt: skip


def return_bloom() -> None:
    """Return bloom by crop class: the clusters of the year after against this year's fruit per trunk area."""
    groups = [{"name": name, "cultivar": name, "rootstock": "M.9", "crop_load_target": "unthinned"}
              for name in ("Honeycrisp", "Gala")]  # fmt: skip
    data = trial([plot("trial", 3.8, 1.2, groups)], 10, single=TRIALS)
    bears = (data["tree_leaf"] >= 5) & (data["tree_leaf"].shift(year=-1) > 5)
    load = (data["tree_fruit_number"] / data["tree_trunk_area"]).where(bears)
    bloom = (data["tree_flower_clusters"].shift(year=-1) / data["tree_trunk_area"]).where(bears)
    edges = (0, 2, 4, 6, 8, 12, np.inf)
    rows = []
    for low, high in itertools.pairwise(edges):
        cells: list[Any] = [f"{low} to {high:g}"]
        for label in ("trial/Honeycrisp", "trial/Gala"):
            chosen = (load >= low) & (load < high) & (data["tree_label"] == label)
            number = int(chosen.sum())
            cells += [float(bloom.where(chosen).mean()) if number else "none", number]
        rows.append(cells)
    show("Unthinned trees from leaf 5 on: clusters per cm2 in the next spring by fruit per cm2 of trunk",
         ["fruit per cm2", "Honeycrisp", "trees", "Gala", "trees"], rows)  # fmt: skip


def correlation(first: np.ndarray, second: np.ndarray) -> float:
    """Correlation over the trees that stand in both years."""
    both = np.isfinite(first) & np.isfinite(second)
    return float(np.corrcoef(first[both], second[both])[0, 1])


SET_UPS = {
    "stocks": stocks_by_spacing,
    "sites": cultivar_at_sites,
    "wide": wide_spaced_trees,
    "trees": trees_of_an_old_block,
    "bloom": return_bloom,
}


def main() -> None:
    """Run all set-ups, or the ones named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"which of {', '.join(SET_UPS)} (default: all)")
    names = parser.parse_args().names or list(SET_UPS)
    unknown = [name for name in names if name not in SET_UPS]
    if unknown:
        parser.error(f"found {unknown[0]!r}, allowed: {', '.join(SET_UPS)}")
    for name in names:
        SET_UPS[name]()


if __name__ == "__main__":
    main()
