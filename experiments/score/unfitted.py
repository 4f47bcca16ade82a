"""Published figures beside ours, most of them unknown to the fit: nothing here is scored, all of it is told.

    python experiments/score/unfitted.py --out DIR [--trials 12]

Each trial is a plan file run like any other. Where the source leaves out what the model must know (site, tree grade,
crop targets) the choice is ours and stated; so a disagreement may lie there as well as in the model. Writes
``unfitted.json`` and prints the table. Two figures are side facts of the fit (at a tenth of a target's weight, in other
training systems): they are marked, and do not count in the sum of those that agree.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.score.trials import GOOD_GROWER, RESEARCH_MEAN, Group, Outcome, Trial, run_trial

KOIKE = "Koike 1999, Compact Fruit Tree 32(1)"
VERHEIJ = "abstract of 'Yield-density relations for apple trees on a dwarfing and a semi-dwarfing rootstock'"
GALLARDO = "goodfruit.com/yields-are-critical (Gallardo, budget of 2011; t/ha derived)"
M2 = """
[rootstock."M.2"]
like = "MM.111"
size = 2.2
"""
"""Nominal size of M.2 from memory: 70 % of seedling; its trunk (0.70 / 0.34)^1.1, as in the catalogue."""


@dataclass(frozen=True)
class Fact:
    """A published figure and ours: median and 5 to 95 % over trials."""

    what: str
    published: str
    ours: float
    low: float
    high: float
    source: str
    ours_to_choose: str
    agrees: bool
    seen: bool


def published_range(published: str) -> tuple[float, float]:
    """Range that a published figure stands for; "about" is taken as 10 % (0.1 for about 0), which is ours.

    Examples
    --------
    >>> [published_range(text) for text in ("45-60", "below 1", "36", "about 0: none")]
    [(45.0, 60.0), (0.0, 1.0), (36.0, 36.0), (-0.1, 0.1)]
    """
    numbers = [float(text) for text in re.findall(r"\d+(?:\.\d+)?", published.split("(")[0])]
    if "below" in published:
        return 0.0, numbers[0]
    if "about" in published:
        width = 0.1 * numbers[0] or 0.1
        return numbers[0] - width, numbers[0] + width
    return numbers[0], numbers[-1]


def fact(what: str, published: str, values: np.ndarray, source: str, chosen: str, seen: bool = False) -> Fact:
    """From one value per trial; it agrees where the published range meets our 5 to 95 % band."""
    ours, low, high = np.nanpercentile(values, [50, 5, 95])
    least, most = published_range(published)
    agrees = bool(low <= most and least <= high)
    return Fact(what, published, float(ours), float(low), float(high), source, chosen, agrees, seen)


def honeycrisp_budget(trials: int) -> list[Fact]:
    """Gross yield of a grower's budget, year by year."""
    plan = Trial(
        "budget",
        "Honeycrisp",
        "tall_spindle",
        "feathered",
        0.91,
        3.06,
        [Group("x", "M.9", "[0, 4, 4, 5, 6, 5]", 4)],
        growth=GOOD_GROWER,
        years=15,
    )
    tonnes = run_trial(plan, trials).tonnes()[:, :, 0]
    chosen = "northern climate of the score, good grower"
    rows = ((3, "16"), (4, "36"), (5, "58"))
    out = [
        fact(f"Honeycrisp, 3,588/ha on M.9-class stock, leaf {leaf} [t/ha]", t, tonnes[:, leaf - 1], GALLARDO, chosen)
        for leaf, t in rows
    ]
    out.append(fact("the same, mature [t/ha]", "62", tonnes[:, 6:].mean(1), GALLARDO, chosen))
    return out


def vigorous_stock(trials: int) -> list[Fact]:
    """A semi-vigorous stock at two densities."""
    cut = "pruning = [0.0, 0.0, 0.03, 0.05, 0.05, 0.05, 0.08, 0.2]"
    out = []
    for tree, alley, what in ((1.26, 3.5, "2,260/ha"), (3.37, 4.5, "660/ha")):
        limit = min(alley - 0.5, 3.5)
        size = f'height_limit = "2.8 m"\nspread_limit = "{limit} m"'
        system = f'[training_system.bush]\nlike = "slender_axis"\n{size}\n{cut}\n'
        plan = Trial(
            "vigorous",
            "Golden Delicious",
            "bush",
            "whip",
            tree,
            alley,
            [Group("x", "M.2", "[0, 6]", 4)],
            entries=M2 + system,
        )
        tonnes = run_trial(plan, trials).tonnes()[:, :, 0]
        chosen = "M.2 at 70 % of seedling (memory); training and pruning as in T7"
        where = f"Golden Delicious on M.2, {what}"
        if tree < 2:
            out += [
                fact(f"{where}, leaf 6-7 [t/ha]", "about 75", tonnes[:, 5:7].mean(1), VERHEIJ, chosen),
                fact(
                    f"{where}, leaf 15-20 over leaf 6-7",
                    "declined: below 1",
                    tonnes[:, 14:].mean(1) / tonnes[:, 5:7].mean(1),
                    VERHEIJ,
                    chosen,
                ),
            ]
        else:
            out.append(
                fact(f"{where}, leaf 10-15 [t/ha]", "about 40, slowly", tonnes[:, 9:15].mean(1), VERHEIJ, chosen)
            )
    return out


def mature_fuji(trials: int) -> list[Fact]:
    """The target tree of a hedge of Fuji."""
    plan = Trial(
        "fuji",
        "Fuji",
        "slender_axis",
        "feathered",
        1.75,
        3.75,
        [Group("x", "M.9", "[0, 4]", 4)],
        growth=GOOD_GROWER,
        years=15,
    )
    run = run_trial(plan, trials)
    late = slice(9, 15)
    chosen = "spacing from the canopy area of 3.5 to 4.5 m2 at 55 to 60 % of the ground; northern climate, good grower"
    return [
        fact("mature Fuji on M.9: trunk [cm2]", "45-60", run.of("trunk_area_mean")[:, late, 0].mean(1), KOIKE, chosen),
        fact("crop per tree [kg]", "28-33", run.per_tree()[:, late, 0].mean(1), KOIKE, chosen),
        fact("yield [t/ha]", "45-55", run.tonnes()[:, late, 0].mean(1), KOIKE, chosen),
        fact("fruit mass [g]", "300-330", np.nanmean(run.of("fruit_mass_mean")[:, late, 0], 1), KOIKE, chosen),
    ]


def five_densities(trials: int) -> list[Fact]:
    """Trunk and cumulative yield of close against wide planting on one stock, and first crops per tree."""
    densities = ((0.62, 3.0), (1.2, 3.7), (2.4, 4.06))
    runs: list[Outcome] = [
        run_trial(
            Trial(
                "density",
                "Gala",
                "slender_axis",
                "feathered",
                tree,
                alley,
                [Group("x", "M.9", "[0, 6, 6, 6, 6, 6, 6, 5]", 4)],
                growth=RESEARCH_MEAN,
                years=13,
            ),
            trials,
        )
        for tree, alley in densities
    ]
    close, middle, wide = runs
    source = "Robinson 2010, ASHS (13 years, Geneva NY)"
    chosen = "Gala in one training system at all densities, so that density alone differs"
    trunk = close.of("trunk_area_mean")[:, 12, 0] / wide.of("trunk_area_mean")[:, 12, 0]
    total = close.tonnes()[:, :, 0].sum(1) / wide.tonnes()[:, :, 0].sum(1)
    early = close.per_tree()[:, 1:3, 0].sum(1) / middle.per_tree()[:, 1:3, 0].sum(1)
    return [
        fact("trunk at 5,376/ha over 1,026/ha, leaf 13", "about 0.5", trunk, source, chosen, seen=True),
        fact("cumulative yield per ha, the same, leaves 1-13", "about 2", total, source, chosen, seen=True),
        fact(
            "light intercepted at 5,376/ha, leaf 7 [1]",
            "0.70",
            close.of("light_interception")[:, 6, 0],
            source,
            chosen,
        ),
        fact(
            "first crops per tree (leaves 2-3) at 5,376/ha over 2,252/ha",
            "about 1: equal in early years",
            early,
            "Stehr 2011, Acta Horticulturae 903:93; Palmer and Wertheim 1980, Acta Horticulturae 114:15",
            chosen,
        ),
    ]


def return_bloom(trials: int) -> list[Fact]:
    """Clusters of single trees in the year after light, middling and heavy crops, biennial cultivar, unthinned."""
    groups = [Group(f"to {level}", "M.9", f"[0, 4, 4, 5, {level}, 5]", 4) for level in ("3", "7", "40")]
    plan = Trial("bloom", "Honeycrisp", "tall_spindle", "whip", 1.2, 3.7, groups, years=6)
    clusters = run_trial(plan, trials).of("flower_clusters")[:, 5, :]
    chosen = "crop set in leaf 5, alike before"
    source = "goodfruit.com/honeycrisp-seed-numbers (Flore: break point 4 to 6 fruit per cm2)"
    zakalik = "Zakalik 2024, HortScience 59:26"
    return [
        fact(
            "Honeycrisp bloom after 7 per cm2 over bloom after 3",
            "below 1",
            clusters[:, 1] / clusters[:, 0],
            source,
            chosen,
        ),
        fact(
            "bloom after an unthinned crop over bloom after 3",
            "about 0",
            clusters[:, 2] / clusters[:, 0],
            zakalik,
            chosen,
        ),
    ]


def tree_type(trials: int) -> list[Fact]:
    """Bench grafts against feathered trees over 11 leaves."""
    runs = [
        run_trial(
            Trial(
                "type",
                "Gala",
                "tall_spindle",
                grade,
                0.9,
                3.4,
                [Group("x", "M.9", "[0, 6, 6, 6, 6, 6, 6, 5]", 4)],
                growth=RESEARCH_MEAN,
                years=11,
            ),
            trials,
        )
        for grade in ("bench_graft", "feathered")
    ]
    source = "Reig et al.: tree type and rootstock, 3,262/ha, 11 years"
    trunk = runs[0].of("trunk_area_mean")[:, 10, 0] / runs[1].of("trunk_area_mean")[:, 10, 0]
    total = runs[0].tonnes()[:, :, 0].sum(1) / runs[1].tonnes()[:, :, 0].sum(1)
    return [
        fact("trunk of bench grafts over feathered trees, leaf 11", "1 (Fuji 0.73)", trunk, source, "Gala on M.9"),
        fact("cumulative yield, the same", "below 1", total, source, "Gala on M.9"),
    ]


PARTS = (honeycrisp_budget, vigorous_stock, mature_fuji, five_densities, return_bloom, tree_type)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=12)
    chosen = parser.parse_args()
    facts = [one for part in PARTS for one in part(chosen.trials)]
    width = max(len(one.what) for one in facts)
    for one in facts:
        print(
            f"{one.what:{width}s} {one.published:>30s} | {one.ours:7.3g} ({one.low:.3g} to {one.high:.3g})  "
            f"{'side fact of the fit' if one.seen else 'agrees' if one.agrees else 'does not agree'}; "
            f"{one.source}; ours: {one.ours_to_choose}"
        )
    new = [one for one in facts if not one.seen]
    print(f"{sum(one.agrees for one in new)} of {len(new)} figures that the fit had not seen meet our 5 to 95 % band")
    chosen.out.mkdir(parents=True, exist_ok=True)
    text = json.dumps([asdict(one) for one in facts], indent=1)
    (chosen.out / "unfitted.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
