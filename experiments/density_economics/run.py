"""Five planting systems over 20 years: what they cost and earn (row T19 of the published targets).

    python experiments/density_economics/run.py --out DIR [--trials 40]

Published (Robinson, DeMarree & Hoying 2005, HortScience 40(4):1128, abstract): establishment from 18,431 dollars/ha at
840 trees/ha to 47,524 at 5,382 (dollars of about 2004), ratio 2.58; best density by net present value 2,600/ha and
2,200/ha per 10,000 dollars invested; 20-year rate of return 7.5 to 11.1 %; break-even year 10 to 13; all net present
values above zero. Its prices were not retrieved, so the prices of 2004 are assumed here and printed. Scored are the
ratio of costs (within 20 %) and the best density (1,800 to 3,300/ha); all the rest is reported.
"""

from __future__ import annotations

import argparse
import copy
import json
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from orchardsim.core.ledger_items import items_of
from orchardsim.economy.finance import irr
from orchardsim.plan import Plan, load_plan
from orchardsim.plan.raw import catalogue_file
from orchardsim.results import whole_farm
from orchardsim.simulation import simulate

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.score.trials import GOOD_GROWER, HEAD, RESEARCH_MEAN  # noqa: E402

PRICE_LEVEL = 0.60
"""Money of 2004 per money of 2024: consumer prices of the United States 188.9 and 313.7 (memory)."""
OWN = {
    "machine_ownership": "0 USD/acre/year",
    "management": "0 USD/acre/year",
    "tractor_hours": "0 hour/acre/year",
}
"""What the published budgets charge for own machines, driving and managing was not retrieved and is left out."""
COSTS: dict[str, dict[str, str]] = {
    "packing 0.10 a pound": {"packing": "0.10 USD/lb"} | OWN,
    "packing of the catalogue": OWN,
    "all charges of the catalogue": {},
}
"""Charges of 2004, none of them read: the first is scored (6 to 9 dollars a bushel, memory, at PRICE_LEVEL); the others
take the catalogue's at PRICE_LEVEL, packing 0.168 a pound. Fruit prices follow no index, so Gala's at PRICE_LEVEL, 0.33
a pound packed, is an assumption too."""
SCORED = "packing 0.10 a pound"
CULTIVAR = "Gala"
HECTARES = 0.5
ROW_LENGTH = 100.0
FARM_HECTARES = 4.0
"""Size of the orchard that the half hectare stands for: its fence is shared (assumption)."""
POLLEN_STEP = 20.0
"""m along every second row from one crab tree at a post to the next (assumption, as in the shipped plans)."""
LEAVES = 20
SYSTEMS: dict[int, dict[str, Any]] = {
    840: {"training": "slender_pyramid", "rootstock": "M.26", "tree_grade": "feathered", "spacing": (2.44, 4.88)},
    1538: {"training": "vertical_axis", "rootstock": "M.9", "tree_grade": "feathered", "spacing": (1.524, 4.267)},
    2244: {"training": "slender_axis", "rootstock": "M.9", "tree_grade": "feathered", "spacing": (1.219, 3.658)},
    3312: {"training": "tall_spindle", "rootstock": "M.9", "tree_grade": "feathered", "spacing": (0.915, 3.30)},
    5382: {"training": "super_spindle", "rootstock": "M.9", "tree_grade": "whip", "spacing": (0.610, 3.048)},
}
"""Trees/ha as published, with M.26 for the pyramid (read). Assumed: spacings that give these densities, the other
stocks, tree grades, and which of the catalogue's systems each density stands for."""
PUBLISHED = {
    "cost_low_density": 18431.0,
    "cost_high_density": 47524.0,
    "best_density": 2600.0,
    "best_density_per_money": 2200.0,
    "irr": [0.075, 0.111],
    "break_even_year": [10, 13],
}


def deflated(section: dict[str, Any]) -> dict[str, Any]:
    """Entries of a catalogue section that are money, at the price level of 2004, as a plan writes them."""
    found: dict[str, Any] = {}
    for key, entry in section.items():
        if not (isinstance(entry, dict) and "USD" in str(entry.get("unit", ""))):
            continue
        value, unit = entry["value"], entry["unit"]
        found[key] = (
            {"value": [round(PRICE_LEVEL * each, 4) for each in value], "unit": unit}
            if isinstance(value, list)
            else f"{round(PRICE_LEVEL * value, 5)} {unit}"
        )
    return found


def prices() -> tuple[dict[str, Any], dict[str, str]]:
    """Assumed prices of 2004: the catalogue's fruit and trees at PRICE_LEVEL (Gala 0.55 x 0.60 USD/lb); no royalty."""
    fruit = deflated(catalogue_file("prices.toml")["fruit"][CULTIVAR]) | {"royalty": "0 USD/tree"}
    table = catalogue_file("costs.toml")["tree_price"]
    return fruit, {name: deflated(table[name])["price"] for name in ("feathered", "whip")}


def plan_of(density: int, growth: float, charges: str = SCORED) -> Plan:
    """One system as a plan: half a hectare net, planted in year 1 after ordering and building in year 0."""
    system = SYSTEMS[density]
    tree, row = system["spacing"]
    fruit, trees = prices()
    head = tomllib.loads(HEAD.format(title=f"{density} trees/ha", growth=growth, warming=", ".join(["0"] * 12)))
    costs = deflated(catalogue_file("costs.toml")["costs"]) | COSTS[charges]
    # Deer fence round a square of FARM_HECTARES with the catalogue's allowance for shape, for our part of its area.
    costs["fence_length"] = f"{1.15 * 4 * (FARM_HECTARES * 1e4) ** 0.5 / FARM_HECTARES * HECTARES:.1f} m"
    table = copy.deepcopy(head) | {
        "price_year": 2004,
        "costs": costs,
        "tree_price": {system["tree_grade"]: {"price": trees[system["tree_grade"]]}},
        "market": {
            "commodity_price": f"{0.50 * PRICE_LEVEL:g} USD/lb",
            "fruit": {CULTIVAR: fruit},
        },
        "block": [
            {
                "name": "system",
                "cultivar": CULTIVAR,
                "rootstock": system["rootstock"],
                "training": system["training"],
                "tree_grade": system["tree_grade"],
                "tree_spacing": f"{tree} m",
                "row_spacing": f"{row} m",
                "row_length": f"{ROW_LENGTH} m",
                "net_area": f"{HECTARES} ha",
                "year_planted": 1,
                "pollinizer": [{"cultivar": "crab", "every_tree": round(POLLEN_STEP / tree), "every_row": 2}],
            }
        ],
    }
    return load_plan(table)


def outcome(
    density: int, growth: float, trials: int, seed: int, charges: str = SCORED
) -> tuple[dict[str, Any], np.ndarray]:
    """What a system costs and earns per net hectare, means over trials with standard errors; and NPV by trial."""
    plan = plan_of(density, growth, charges)
    found = simulate(plan, trials=trials, years=LEAVES + 1, seed=seed)
    farm = whole_farm(found)
    hectares = plan.planted_area / 1e4
    ledger = farm["ledger"].values / hectares
    items = [str(item) for item in found["ledger_item"].values]
    capital = [items.index(name) for name in items_of("capital")]
    cost = -ledger[:, :2, capital].sum(axis=(1, 2))
    flow = np.delete(ledger, items.index("interest"), axis=2).sum(axis=2)
    mean_flow = flow.mean(axis=0)
    rate = plan.finance.discount_rate
    discounted = mean_flow / (1 + rate) ** np.arange(LEAVES + 1)
    value = farm["npv_without_remaining_value"].values / hectares
    with_value = farm["npv"].values / hectares
    picked = farm["harvested_mass"].values / hectares / 1000
    row = {
        "trees_per_ha": density,
        "simulated_trees_per_ha": round(plan.blocks[0].geometry.trees / hectares),
        "training": SYSTEMS[density]["training"],
        "cost": float(cost.mean()),
        "npv": float(value.mean()),
        "npv_standard_error": float(value.std(ddof=1) / np.sqrt(trials)),
        "npv_with_remaining_value": float(with_value.mean()),
        "npv_per_10000": float(1e4 * value.mean() / cost.mean()),
        "irr": float(irr(mean_flow[None, :]).rate[0]),
        "break_even_year": first_positive(mean_flow.cumsum()),
        "discounted_break_even_year": first_positive(discounted.cumsum()),
        "chance_of_loss": float((value < 0).mean()),
        "cumulative_yield_5": float(picked[:, :6].sum(axis=1).mean()),
        "cumulative_yield_10": float(picked[:, :11].sum(axis=1).mean()),
        "cumulative_yield_20": float(picked.sum(axis=1).mean()),
    }
    return row, value


def first_positive(summed: np.ndarray) -> int | None:
    """First year from which a sum stays at or above zero; None where it never does."""
    below = np.flatnonzero(summed < 0)
    year = int(below[-1]) + 1 if below.size else 0
    return year if year < len(summed) else None


def best_density(value: np.ndarray) -> float:
    """Density at which a parabola through the five systems peaks; the best of them where it has no peak between."""
    density = np.array(list(SYSTEMS), dtype=float)
    curve, slope, _ = np.polyfit(density, value, 2)
    peak = -slope / (2 * curve) if curve < 0 else np.inf
    if density[0] <= peak <= density[-1]:
        return float(peak)
    return float(density[int(value.argmax())])


def best_density_interval(values: np.ndarray, seed: int, resamples: int = 1000) -> list[float]:
    """5 and 95 % points of the best density over bootstrap resamples of trials, which the systems share."""
    trials = values.shape[1]
    picks = np.random.default_rng(seed).integers(0, trials, (resamples, trials))
    return [
        float(point)
        for point in np.quantile([best_density(values[:, pick].mean(axis=1)) for pick in picks], (0.05, 0.95))
    ]


def score(rows: list[dict[str, Any]], values: np.ndarray, seed: int) -> dict[str, Any]:
    """Scored and reported parts of T19; ``values``, NPV over (system, trial)."""
    ratio = rows[-1]["cost"] / rows[0]["cost"]
    wanted = PUBLISHED["cost_high_density"] / PUBLISHED["cost_low_density"]
    best = best_density(values.mean(axis=1))
    per_money = best_density(np.array([row["npv_per_10000"] for row in rows]))
    by_leaf = [rows[-1][f"cumulative_yield_{leaf}"] / rows[0][f"cumulative_yield_{leaf}"] for leaf in (5, 10, 20)]
    return {
        "scored": {
            "cost_ratio": {"found": ratio, "published": wanted, "met": bool(abs(ratio / wanted - 1) <= 0.20)},
            "best_density_by_npv": {
                "found": best,
                "bootstrap_5_95": best_density_interval(values, seed),
                "published": 2600.0,
                "met": bool(1800 <= best <= 3300),
            },
        },
        "reported": {
            "best_density_by_npv_per_money": {"found": per_money, "published": 2200.0},
            "best_of_the_five": max(rows, key=lambda row: row["npv"])["trees_per_ha"],
            "cost_per_ha": {
                "found": [rows[0]["cost"], rows[-1]["cost"]],
                "published": [PUBLISHED["cost_low_density"], PUBLISHED["cost_high_density"]],
            },
            "irr": {
                "found": [min(row["irr"] for row in rows), max(row["irr"] for row in rows)],
                "published": [0.075, 0.111],
            },
            "break_even_year": {
                "found": [row["break_even_year"] for row in rows],
                "found_discounted": [row["discounted_break_even_year"] for row in rows],
                "published": [10, 13],
            },
            "all_npv_above_zero": {"found": all(row["npv"] > 0 for row in rows), "published": True},
            "cumulative_yield_highest_over_lowest_density": {
                "found_to_leaf_5_10_20": by_leaf,
                "published": "3, years not stated (Good Fruit Grower, 'High density economics')",
            },
        },
    }


def table(rows: list[dict[str, Any]]) -> str:
    """The five systems, a line each; money per net hectare."""
    head = (
        f"{'trees/ha':>8} {'system':16} {'cost':>7} {'NPV':>8} {'±':>6} {'per 10k':>8} {'IRR %':>6} {'even':>5} "
        f"{'disc.':>6} {'loss %':>6} {'t/ha to 5':>9} {'10':>6} {'20':>6}"
    )
    lines = [head]
    for row in rows:
        years = [row[key] or "never" for key in ("break_even_year", "discounted_break_even_year")]
        lines.append(
            f"{row['trees_per_ha']:8d} {row['training']:16} {row['cost']:7,.0f} {row['npv']:8,.0f} "
            f"{row['npv_standard_error']:6,.0f} {row['npv_per_10000']:8,.0f} {100 * row['irr']:6.1f} {years[0]!s:>5} "
            f"{years[1]!s:>6} {100 * row['chance_of_loss']:6.0f} {row['cumulative_yield_5']:9.0f} "
            f"{row['cumulative_yield_10']:6.0f} {row['cumulative_yield_20']:6.0f}"
        )
    return "\n".join(lines)


def rounded(value: Any) -> Any:
    """Numbers with six significant digits; nan and infinite as words."""
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [rounded(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.6g}") if np.isfinite(value) else str(value)
    return value


def main() -> None:
    """Run both growth levels and write ``density_economics.json`` and ``table.txt``."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--trials", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    document: dict[str, Any] = {
        "published": "Robinson, DeMarree & Hoying 2005, HortScience 40(4):1128, abstract",
        "trials": options.trials,
        "seed": options.seed,
        "assumed": {
            "price_level_of_2004": PRICE_LEVEL,
            "fruit": {CULTIVAR: prices()[0]},
            "trees": prices()[1],
            "other_costs": "the catalogue's costs of 2024 times price_level_of_2004",
            "discount_rate": plan_of(840, GOOD_GROWER).finance.discount_rate,
            "land": "rented, not bought",
            "fence": f"shared by an orchard of {FARM_HECTARES:g} ha",
        },
        "scored_at": "good_grower",
    }
    lines = []
    for name, growth in (("good_grower", GOOD_GROWER), ("research_mean", RESEARCH_MEAN)):
        outcomes = [outcome(density, growth, options.trials, options.seed) for density in SYSTEMS]
        rows = [row for row, _ in outcomes]
        values = np.stack([value for _, value in outcomes])
        found = {"site_growth": growth, "systems": rows, **score(rows, values, options.seed)}
        document[name] = rounded(found)
        lines += [f"{name}, site growth {growth:g}; money of about 2004 per net hectare", table(rows)]
        others = {}
        for charges in (charges for charges in COSTS if charges != SCORED):
            rows = [outcome(density, growth, options.trials, options.seed, charges)[0] for density in SYSTEMS]
            best = best_density(np.array([row["npv"] for row in rows]))
            others[charges] = {"irr": [row["irr"] for row in rows], "best_density": best,
                               "break_even_year": [row["break_even_year"] for row in rows]}  # fmt: skip
            rates = ", ".join(f"{100 * row['irr']:.1f}" for row in rows)
            lines.append(f"  {charges}: IRR {rates} %; best density {best:,.0f}/ha")
        document[name]["other_charges"] = rounded(others)
        for part in ("scored", "reported"):
            lines += [f"  {part}: {key}: {json.dumps(rounded(value))}" for key, value in found[part].items()]
    lines.append(f"n = {options.trials} trials of {LEAVES} leaves; ± is the standard error of the mean NPV")
    print("\n".join(lines))
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "density_economics.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    (options.out / "table.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
