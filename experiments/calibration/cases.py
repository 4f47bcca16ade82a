"""The published trials as plantings, and the figures that targets compare."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from experiments.calibration.harness import own_target, stock, training
from experiments.calibration.population import FULL_SEASON, Log, Planting, Treatment, block
from orchardsim.trees.parameters import Physiology, Stock, Training

BUSHEL_PER_ACRE = 0.04708
"""t/ha; 42 lb per acre."""
BUSHEL = 19.05
"""kg; 42 lb."""
FROSTS, FROSTS_WIDE = 0.88, 0.83
"""Middling crop over that of a season of mean frost kill, with losses: whole plans against plantings (computed)."""
STANDING = 0.90
"""Share of the land that bears: plantings here have no losses, whole plans some gaps and young replants."""
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
"""Published trunk area [cm2] and cumulative yield per tree [kg] after five leaves (Autio et al. 2017; T8)."""
M9 = list(NC140).index("M.9 T337")
HONEYCRISP = own_target("Honeycrisp")
GALA = own_target("Gala")
WIDE = (0.0, 0.0, 0.0, 4.0, 6.0)
GOOD_GROWER = 1.57
"""Site level of a good grower, fitted with the rest; the research mean is 1."""
NONE = (1e6,)
LOADS = (0.7, 2.0, 4.0, 6.0, 7.0, 9.0, 11.0, 14.0)
BUSH = "slender_axis"
LIGHT_THINNING = (0.0, 7.0)
"""Trials of the 1960s: more and smaller fruit than today (assumption)."""


def vigorous() -> Stock:
    """B.70-20-20 as the trial shows it (Autio et al. 2017): trunk 3.53 and yield per trunk 0.29 of M.9 T337.

    Half of its five-year crop came in the fifth leaf, so it bears as late as a seedling.
    """
    return dataclasses.replace(stock("MM.111"), size=3.53, shoots=3.4, precocity=3.5)


def second_malling() -> Stock:
    """M.2: semi-vigorous, held as MM.106 but for the yield per trunk of M.7 (memory)."""
    return dataclasses.replace(stock("MM.106"), size=2.3, shoots=2.3, precocity=1.5)


def one(name: str, cultivar: str, target: tuple[float, ...]) -> Treatment:
    return Treatment(stock(name), cultivar, target)


def bush(spread: float, pruning: tuple[float, ...] = (0.0, 0.0, 0.03, 0.05, 0.05, 0.05, 0.08, 0.2)) -> Training:
    """Spindle bush of the density trial: pruned lightly until the crop peaked, hard afterwards."""
    return training(BUSH, height_limit=2.8, spread_limit=spread, pruning=pruning, feathers_kept=1.0)


@dataclass(frozen=True)
class Row:
    """A published figure, what the model makes of it, on each draw too, and whether it lies inside the tolerance."""

    id: str
    what: str
    published: str
    low: float
    high: float
    value: float
    weight: float = 1.0
    draws: tuple[float, ...] = ()

    @property
    def met(self) -> bool:
        return bool(self.low <= self.value <= self.high)

    @property
    def place(self) -> float:
        """Where the value lies in the tolerance: -1 at its low end, 1 at its high end; logs where it is positive."""
        low, high, value = self.low, self.high, self.value
        if low > 0 and high / low > 1.3:
            low, high, value = np.log(low), np.log(high), np.log(max(value, 1e-3))
        if not np.isfinite(value):
            return 6.0
        middle, half = (low + high) / 2, (high - low) / 2
        return float((value - middle) / half)

    @property
    def miss(self) -> float:
        """How far outside the middle three quarters of the tolerance, in half widths."""
        return max(abs(self.place) - 0.75, 0.0)


class Plantings:
    """All plantings with their random numbers; ``figures`` runs them with a set of shared parameters."""

    def __init__(self, trees: int = 48, seed: int = 1) -> None:
        self.made: dict[str, Planting] = {}
        spindle, wide, central = training("tall_spindle"), training("wide_standard"), training("central_leader")
        standard = training("wide_standard", spread_limit=7.5)  # heads nearly meet at 9 m in the row
        red, golden = own_target("Red Delicious"), own_target("Golden Delicious")

        def add(name: str, treatments: list[Treatment], system: Training, tree: str, along: float, across: float,
                years: int, **more: float) -> None:  # fmt: skip
            shade = float(more.pop("shade", 1.0))
            size = {"trees": trees, **more}
            plan = block(treatments, system, tree, along, across, **size)  # type: ignore[arg-type]
            self.made[name] = Planting(
                plan, [one.cultivar for one in treatments], years, seed + len(self.made), shade=shade
            )

        add(
            "spindle",
            [one(s, "Gala", GALA) for s in ("M.9", "M.27", "M.26", "MM.111", "seedling")],
            spindle,
            "feathered",
            1.0,
            3.5,
            25,
        )
        add("tall", [one("M.9", "Gala", GALA)], spindle, "feathered", 1.1, 3.65, 15)
        add(
            "far",
            [one(s, "Gala", GALA) for s in ("M.9", "M.27", "M.26", "MM.111", "seedling")],
            wide,
            "feathered",
            5.5,
            7.0,
            25,
        )
        add("wide", [one("seedling", "Red Delicious", (0, 0, 0, *red[3:]))], standard, "whip", 9.0, 11.0, 60)
        add(
            "semi",
            [one("MM.111", "Red Delicious", red), one("M.7", "Red Delicious", red)],
            central,
            "whip",
            6.0,
            6.8,
            45,
        )
        add("low", [one("M.9", "Golden Delicious", LIGHT_THINNING)], bush(2.8), "whip", 3.03, 3.0, 16, loads=True)
        add("high", [one("M.9", "Golden Delicious", LIGHT_THINNING)], bush(2.0), "whip", 1.01, 3.0, 20, loads=True)
        for name, along, across, spread in (("M2", 1.475, 3.0, 2.5), ("M2 wide", 4.0, 3.79, 3.4)):
            add(
                name,
                [Treatment(second_malling(), "Golden Delicious", LIGHT_THINNING)],
                bush(spread),
                "whip",
                along,
                across,
                20,
                loads=True,
            )
        trial = [*(one(s, "Honeycrisp", HONEYCRISP) for s in NC140), Treatment(vigorous(), "Honeycrisp", HONEYCRISP)]
        # trees stood up to 3.7 m tall and 2.2 m wide
        add("stocks", trial, training("tall_spindle", height_limit=3.8, spread_limit=2.4), "feathered", 1.2, 3.7, 10)
        slender = training(BUSH, spread_limit=2.4)
        for name, along, across in (
            ("1125", 2.6, 3.42),
            ("3226", 1.0, 3.1),
            ("1026", 2.85, 3.42),
            ("5382", 0.61, 3.05),
        ):
            add(name, [one("M.9", "Gala", GALA)], slender, "feathered", along, across, 13, loads=True)
        add(
            "shares",
            [one(s, "Golden Delicious", golden) for s in ("M.27", "M.9", "M.26", "M.7")],
            training("vertical_axis"),
            "whip",
            2.5,
            4.5,
            15,
        )
        bed = [one("M.27", "Golden Delicious", (0.0, 12.0))]
        add("bed", bed, bush(1.4, (0.0,)), "feathered", 0.75, 1.5, 3, loads=True)
        three = [one("M.9", "Honeycrisp", (0.0, 0.0, load)) for load in (1.0, 3.0, 5.0, 8.0, 11.0, 16.0)]
        add("return", three, spindle, "feathered", 1.2, 3.7, 4, loads=True)
        two = [
            one("M.9", c, (0.0, load, 6.0)) for c in ("Gala", "Honeycrisp") for load in (0.0, 1.5, 3.0, 6.0, 9.0, 14.0)
        ]
        add("second", two, spindle, "feathered", 1.2, 3.7, 3, loads=True)
        for name, shade in (("sun", 1.0), ("shade", 0.3)):
            add(name, [one("M.26", "Golden Delicious", golden)], slender, "feathered", 2.0, 4.0, 7, shade=shade)
        size = [one("M.9", "Honeycrisp", (0, 3, 3, 4, 4, load)) for load in LOADS]
        add("size", size, spindle, "feathered", 1.2, 3.7, 6, loads=True)
        growth = [
            one(s, "Honeycrisp", (0, 3, 3, 4, load)) for s in ("M.9", "M.26", "G.16") for load in (1, 3, 5, 7, 10)
        ]
        add("growth", growth, spindle, "feathered", 1.2, 3.7, 5, loads=True)
        braeburn = [one("M.26", "Braeburn", (0, 3, 3, 4, 4, load)) for load in (0.3, 3, 6, 9, 14)]
        add("braeburn", braeburn, slender, "feathered", 2.5, 5.0, 6, loads=True)
        loads = [one("M.9", "Gala", (0, 5, 5, 5, 5, load)) for load in (3.0, 4.5, 6.0, 7.5, 9.0, 10.5, 12.0)]
        add("gala loads", loads, spindle, "feathered", 1.1, 3.65, 6, loads=True)
        swing = [one("M.9", c, NONE) for c in ("Honeycrisp", "Fuji")] + [
            one("M.9", "Honeycrisp", (0.0, 4.0)),
            one("M.9", "Gala", NONE),
        ]
        add("swing", swing, spindle, "feathered", 1.5, 4.0, 22)
        for name, cut in (("light", (0.02,)), ("severe", (0.25,))):
            add(name, [one("M.26", "Golden Delicious", golden)],
                training(BUSH, pruning=cut, spread_limit=2.4, height_limit=3.4), "whip", 2.0, 4.5, 14)  # fmt: skip
        ten = [one(s, "Gala", GALA) for s in ("B.9", "M.9", "M.26")]
        add("ten", ten, training("vertical_axis"), "feathered", 2.5, 4.5, 10)
        bare = [one("M.9", "Gala", (0.0,)), one("M.9", "Gala", GALA)]
        add("bare", bare, spindle, "feathered", 1.2, 3.7, 8)
        add("unbent", [one("M.9", "Gala", GALA)], training("tall_spindle", bending_leaf=40), "feathered", 1.1, 3.65, 5)
        add("five", [one(s, "Golden Delicious", golden) for s in ("M.7", "seedling")], central, "whip", 4.0, 6.0, 10)
        orchard = [one(s, "Golden Delicious", golden) for s in ("MM.106", "M.7", "MM.111")]
        add("orchard", orchard, central, "whip", 4.5, 6.0, 8)
        even = [one("M.9", "Gala", (0.0, 6.0)), one("M.9", "Gala", (0.0, 4.0))]
        add("even", even, spindle, "feathered", 1.2, 3.7, 9, loads=True)
        plan = block([one("MM.111", "Jonathan", own_target("Jonathan"))], central, "whip", 6.0, 6.8, trees=18, rows=11)
        self.made["uniformity"] = Planting(plan, ["Jonathan"], 15, seed + 100)

    def figures(self, p: Physiology, good: float) -> list[Row]:
        """Every target's figure with one set of shared parameters and the good grower's site level."""
        logs = Lazy(lambda name: self.made[name].run(p, good if name in GOOD else None))
        rows: list[Row] = []
        for part in PARTS:
            rows += part(logs)
        return rows


class Draws:
    """The plantings on several draws of soil, trees and years: one draw alone moves a row by up to its half width."""

    def __init__(self, number: int, trees: int) -> None:
        self.plantings = [Plantings(trees, seed=1 + 1000 * draw) for draw in range(number)]

    def figures(self, p: Physiology, good: float) -> list[Row]:
        """Every target's figure, mean over draws, with the draws."""
        by_draw = zip(*(one.figures(p, good) for one in self.plantings), strict=True)
        drawn = ((rows[0], [row.value for row in rows]) for rows in by_draw)
        return [dataclasses.replace(row, value=float(np.nanmean(values)), draws=tuple(values)) for row, values in drawn]


GOOD = ("spindle", "tall", "unbent", "far", "gala loads")
"""Plantings at the good grower's site level; the others at the research mean."""


class Lazy(dict[str, Log]):
    """Runs a planting when its log is first asked for."""

    def __init__(self, run: Callable[[str], Log]) -> None:
        super().__init__()
        self.run = run

    def __missing__(self, name: str) -> Log:
        self[name] = self.run(name)
        return self[name]


def mean(values: NDArray[np.floating], first: int, last: int) -> float:
    """Mean over leaves first to last."""
    return float(values[first - 1 : last].mean())


def correlation(a: NDArray[np.floating], b: NDArray[np.floating]) -> float:
    return float(np.corrcoef(a, b)[0, 1])


def at(x: float, xs: NDArray[np.floating], ys: NDArray[np.floating]) -> float:
    """Value at x on the line through points in order of xs."""
    order = np.argsort(xs)
    return float(np.interp(x, xs[order], ys[order]))


def swing(crop: NDArray[np.floating]) -> float:
    """Biennial bearing index, mean over trees; pairs of blanks skipped (Hoblyn et al. 1936)."""
    total = crop[1:] + crop[:-1]
    some = total > 1e-3
    term = np.where(some, np.abs(np.diff(crop, axis=0)) / np.where(some, total, 1), 0)
    return float((term.sum(0) / np.maximum(some.sum(0), 1)).mean())


def spindle_rows(logs: Lazy) -> list[Row]:
    log = logs["spindle"]
    tonnes = STANDING * log.tonnes()
    bushels = STANDING * logs["tall"].tonnes() / BUSHEL_PER_ACRE
    light, made = log.light(), log.mean("made")
    height = logs["tall"].mean("height")
    above = np.flatnonzero(height >= 3.0)
    tall = (
        above[0] + 1 - (height[above[0]] - 3.0) / (height[above[0]] - height[above[0] - 1]) + 0.5 if above.size else 15
    )
    late = [mean(log.tonnes(g), 15, 20) for g in range(5)]
    work = [mean(log.mean("pruning", g), 8, 20) for g in range(5)]
    use = made / (log.mean("stopped") * FULL_SEASON) * 1000
    crop = log.of("crop")
    girth = np.sqrt(log.of("trunk"))
    kept = [row.mean() for row in (log.tonnes()[7:15], log.tonnes()[19:25])]
    return [
        Row("T2", "bu/ac in leaf 2", "100-300", 100, 300, 1.08 * bushels[1]),
        Row("T3", "bu/ac, leaves 1-5", "> 3,000", 2700, 3800, 0.92 * bushels[:5].sum()),
        Row("T4", "bu/ac, leaves 8-15", "1,000-1,500", 900, 1500, mean(bushels, 8, 15)),
        Row("T5", "leaf at 3.0 m", "2-4", 1.9, 4.1, tall),
        Row("T11", "light stopped, leaves 10-15", "0.65-0.72", 0.62, 0.78, mean(light, 10, 15)),
        Row("T12", "t/ha per % of light", "1, 0.6-1.6", 0.6, 1.6, mean(tonnes, 8, 15) / mean(light, 8, 15) / 100),
        Row("T26", "g/MJ, mature", "1.4-2.1", 1.4, 2.1, mean(use, 8, 15)),
        Row("T26", "share of dry matter in fruit", "0.55-0.70", 0.55, 0.70,
            mean(log.mean("fruit_dry"), 8, 15) / mean(made, 8, 15)),
        Row("T14", "CV of a year's yield between trees, leaf 12", "0.23", 0.15, 0.35, crop[11].std() / crop[11].mean()),
        Row("T15", "CV of girth, leaf 5", "0.05-0.12", 0.05, 0.12, girth[4].std() / girth[4].mean()),
        Row("T15", "CV of girth, leaf 10", "0.05-0.12", 0.05, 0.12, girth[9].std() / girth[9].mean()),
        Row("T22", "single trees, yield of leaves 6-9 against 10-13", "0.4-0.9", 0.4, 0.9,
            correlation(crop[5:9].sum(0), crop[9:13].sum(0))),
        Row("T24", "MM.111 over M.9, 1.0 x 3.5 m, yield of leaves 15-20", "clearly below", 0.3, 0.8, late[3] / late[0]),
        Row("T24", "seedling over M.9, the same", "clearly below", 0.25, 0.75, late[4] / late[0]),
        Row("T24", "pruning hours, MM.111 over M.9", "> 1.5", 1.5, 4, work[3] / work[0]),
        Row("own", "M.27 over M.9, trunk in leaf 10", "0.35-0.65", 0.30, 0.65,
            log.mean("trunk", 1)[9] / log.mean("trunk")[9], 0.5),
        Row("own", "trunk in leaf 5 [cm2]", "15-27 (Koike)", 12, 24, log.mean("trunk")[4]),
        Row("own", "trunk in leaf 10 [cm2]", "40-70 wide, less close", 24, 45, log.mean("trunk")[9]),
        Row("own", "trunk in leaf 20 [cm2]", "45-60 (Koike)", 35, 65, log.mean("trunk")[19]),
        Row("own", "fruit set over fruit kept, leaves 8-15", "well above 1", 1.3, 4,
            mean(log.mean("set"), 8, 15) / mean(log.mean("number"), 8, 15)),
        Row("T30", "kept M.9 hedge, leaves 20-25 over 8-15", "flat or falling", 0.8, 1.02, kept[1] / kept[0]),
        Row("own", "most leaf area index", "1.8-2.8", 1.6, 2.9, float(log.mean("leaf_area")[7:15].mean() / 3.5), 0.5),
    ]  # fmt: skip


def standard_rows(logs: Lazy) -> list[Row]:
    log = logs["wide"]
    bushels = log.mean("crop") / BUSHEL
    trunk = log.mean("trunk")
    semi = logs["semi"]
    block = semi.mean("crop") / BUSHEL
    first = _crossing(bushels)
    return [
        Row("T6", "seedling: leaf of the first bushel", "5-8", 5, 8, first),
        Row("T6", "seedling: bu/tree, leaves 15-20", "10-20", 10, 20, FROSTS_WIDE * mean(bushels, 15, 20)),
        Row("T6", "MM.111, 245/ha: bu/tree, leaves 12-20", "4-8", 4, 8, FROSTS * mean(block, 12, 20)),
        Row("T30", "seedling: leaves 45-59 over 25-34", "flat or falling", 0.75, 1.02,
            mean(bushels, 45, 59) / mean(bushels, 25, 34)),
        Row("T30", "kept MM.111 block: leaves 35-43 over 25-30", "flat or falling", 0.75, 1.02,
            mean(block, 35, 43) / mean(block, 25, 30)),
        Row("T30", "trunk, leaf 15 over 4, seedling", "11-16", 8, 18, trunk[14] / trunk[3]),
        Row("T30", "trunk, leaf 15 over 4, M.7", "11-16", 8, 18, semi.mean("trunk", 1)[14] / semi.mean("trunk", 1)[3]),
        Row("own", "trunk of a seedling, leaf 60 [cm2]", "400-2,500", 400, 2500, trunk[59], 0.5),
    ]  # fmt: skip


def _crossing(values: NDArray[np.floating], level: float = 1.0) -> float:
    """First leaf above a level, between leaves by straight lines."""
    above = np.flatnonzero(values > level)
    if not above.size:
        return float(len(values))
    i = int(above[0])
    return float(i + 1 - (values[i] - level) / (values[i] - values[i - 1])) + 0.5 if i else 1.0


def density_rows(logs: Lazy) -> list[Row]:
    low, high = logs["low"].tonnes(), logs["high"].tonnes()
    semi, wide = logs["M2"].tonnes(), logs["M2 wide"].tonnes()
    b = {}
    pairs = {"BC": ("1125", "3226", 3226 / 1125), "NY": ("1026", "5382", 5375 / 1026)}
    for name, (few, many, ratio) in pairs.items():
        for what, first, last in (("crop", 4, 5), ("crop", 10, 13), ("trunk", 13, 13), ("trunk", 5, 5)):
            values = [mean(logs[one].mean(what), first, last) for one in (few, many)]
            b[name, what, first] = float(np.log(values[0] / values[1]) / np.log(ratio))
    dense = logs["3226"]
    return [
        Row("T7", "M.9, 1,100/ha: t/ha, leaves 10-15", "about 40", 28, 52, FROSTS * mean(low, 10, 15)),
        Row("T7", "M.9, 3,300/ha: t/ha, leaves 6-7", "about 75", 52.5, 97.5, 0.97 * mean(high, 6, 7)),
        Row("T7", "M.9, 3,300/ha: leaves 12-16 over 6-7", "declines", 0.5, 0.95, mean(high, 12, 16) / mean(high, 6, 7), 0.2),  # noqa: E501
        Row("T24", "M.2, 2,260/ha: leaves 15-20 over 6-7", "declines", 0.3, 0.95, mean(semi, 15, 20) / mean(semi, 6, 7)),  # noqa: E501
        Row("T7", "M.2, 660/ha: t/ha, leaves 12-16", "about 40", 28, 52, FROSTS * mean(wide, 12, 16)),
        Row("T23", "b of yield, 1,125-3,226/ha, leaf 4-5", "0.38", 0.30, 0.50, b["BC", "crop", 4]),
        Row("T23", "b of yield, 1,026-5,382/ha, leaf 4-5", "0.38", 0.30, 0.50, b["NY", "crop", 4]),
        Row("T23", "b of yield, 1,125-3,226/ha, leaf 10-13", "0.3-0.5", 0.30, 0.50, b["BC", "crop", 10]),
        Row("T23", "b of yield, 1,026-5,382/ha, leaf 10-13", "0.42", 0.30, 0.50, b["NY", "crop", 10]),
        Row("T23", "b of trunk, 1,026-5,382/ha, leaf 13", "0.42", 0.30, 0.50, b["NY", "trunk", 13]),
        Row("T23", "b of trunk, 1,125-3,226/ha, leaf 5", "0.3-0.5", 0.25, 0.50, b["BC", "trunk", 5], 0.5),
        Row("T23", "light, 3,226/ha, leaf 4", "about 0.45", 0.35, 0.55, dense.light()[3]),
        Row("own", "kg/tree, 1,125/ha, leaf 4", "15", 8, 22, logs["1125"].mean("crop")[3], 0.5),
    ]  # fmt: skip


def stock_rows(logs: Lazy) -> list[Row]:
    log = logs["stocks"]
    trunk = np.array([log.mean("trunk", g)[4] for g in range(9)])
    total = np.array([log.mean("crop", g)[:5].sum() for g in range(9)])
    rows = []
    for name, ours, column, allowed in (("trunk", trunk, 0, 0.12), ("yield", total, 1, 0.15)):
        published = np.array([pair[column] for pair in NC140.values()])
        error = np.log(ours[:8]) - np.log(published)
        rows.append(Row("T8", f"{name}: mean error of centred logs", f"< {allowed}", -allowed, allowed,
                        float(np.abs(error - error.mean()).mean())))  # fmt: skip
        rank = np.corrcoef(np.argsort(np.argsort(ours[:8])), np.argsort(np.argsort(published)))[0, 1]
        rows.append(Row("T8", f"{name}: rank correlation", "> 0.5", 0.5, 1.6, float(rank), 0.5))
        rows.append(Row("T8", f"{name}: common level", "1", 0.8, 1.25, float(np.exp(error.mean()))))
    five = logs["five"]
    efficiency = [five.mean("crop", g).sum() / five.mean("trunk", g)[9] for g in (0, 1)]
    shares = logs["shares"]
    part, over = [], []
    for g in range(4):
        fruit = shares.mean("fruit_dry", g)
        wood = np.diff(shares.mean("wood_mass", g), prepend=0)
        leaf = shares.mean("leaf_paid", g) + 0.07 * shares.mean("shoots", g)
        part.append(fruit[9] / (fruit[9] + wood[9] + leaf[9]))
        over.append(shares.mean("crop", g).sum() / (shares.mean("wood_mass", g)[14] / 0.5))
    order = min(a - b for a, b in itertools.pairwise(part))
    return [
        *rows,
        Row("T33", "trunk, B.9 over M.9", "0.68", 0.55, 0.80, trunk[0] / trunk[2]),
        Row("T33", "trunk, M.26 over M.9", "1.21", 1.05, 1.40, trunk[6] / trunk[2]),
        Row("T24", "trunk, B.70-20-20 over M.9", "3.5", 2.4, 4.4, trunk[8] / trunk[2]),
        Row("T24", "yield of five leaves, B.70-20-20 over M.9", "1.04", 0.75, 1.25, total[8] / total[2]),
        Row("T33", "yield per trunk, M.7 over seedling", "about 2", 1.5, 2.6, efficiency[0] / efficiency[1]),
        Row("T25", "least step in fruit's share M.27, M.9, M.26, M.7", "ordered", 0.003, 0.3, order),
        Row("T25", "crop over tree weight, M.9 over M.7", "2", 1.5, 2.6, over[1] / over[3]),
        Row("T25", "15-year crop over final fresh weight, M.9", "10", 6.5, 15, over[1], 0.5),
        Row("T25", "fruit's share, year 10, M.27", "0.55", 0.45, 0.72, part[0], 0.1),
        Row("T25", "fruit's share, year 10, M.7", "0.36", 0.26, 0.52, part[3], 0.1),
        Row("T26", "M.27 bed, year 3: t/ha", "78", 40, 110, logs["bed"].tonnes()[2], 0.5),
    ]  # fmt: skip


def crop_rows(logs: Lazy) -> list[Row]:
    log = logs["return"]
    kilos = np.concatenate([log.of("crop", g)[2] for g in range(6)])
    # strong bloom: over half of the clusters that the best trees bear next spring
    clusters = np.concatenate([log.of("clusters", g)[2] for g in range(6)])
    most = np.quantile(clusters, 0.95)
    strong = [float((clusters[(kilos >= a) & (kilos < b)] > most / 2).mean()) if ((kilos >= a) & (kilos < b)).any()
              else np.nan for a, b in ((0, 5), (5, 10), (10, 15))]  # fmt: skip
    second = logs["second"]
    out = {}
    for base, name in ((0, "Gala"), (6, "Honeycrisp")):
        count = np.array([second.mean("number", base + k)[1] for k in range(6)])
        out[name] = (
            count,
            np.array([second.mean("crop", base + k)[2] for k in range(6)]),
            np.array([second.mean("crop", base + k)[1] for k in range(6)]) / np.maximum(count, 1e-6),
            np.array([np.diff(second.mean("trunk", base + k))[0] for k in range(6)]),
        )
    count, third, mass, gain = out["Gala"]
    h_count, h_third = out["Honeycrisp"][:2]
    sun, shade = logs["sun"], logs["shade"]
    size = logs["size"]
    load = np.array([size.mean("number", g)[5] / size.mean("trunk", g)[5] for g in range(len(LOADS))])
    grams = np.array([size.mean("crop", g)[5] / size.mean("number", g)[5] for g in range(len(LOADS))]) * 1000
    swings = logs["swing"]
    return [
        Row("T27", "strong return bloom, under 5 kg", "0.70", 0.5, 1.0, strong[0]),
        Row("T27", "strong return bloom, 5-10 kg", "0.09", -0.3, 0.3, strong[1]),
        Row("T27", "strong return bloom, 10-15 kg", "0.025", -0.15, 0.15, strong[2]),
        Row("own", "Gala on M.9, most fruit in leaf 2", "40", 25, 70, count[5]),
        Row("T28", "Gala: leaf-3 yield after 40 fruit over after 10", "1", 0.85, 1.15,
            at(40, count, third) / at(10, count, third)),
        Row("T28", "Honeycrisp: the same", "clearly less", 0.0, 0.75, at(40, h_count, h_third) / at(10, h_count, h_third)),  # noqa: E501
        Row("T28", "Gala: fruit mass at 40 over 10", "0.8", 0.7, 0.9, at(40, count[1:], mass[1:]) / at(10, count[1:], mass[1:])),  # noqa: E501
        Row("T28", "Gala: trunk gain at 0 over 40 fruit", "more", 1.05, 2.5, gain[0] / at(40, count, gain)),
        Row("own", "the same, as an eighth of the growth at least", "about 1.3 (memory)", 1.15, 2.2,
            gain[0] / at(40, count, gain), 0.5),
        Row("T29", "four-year yield at 0.3 of full light over full", "0.04-0.36", -0.2, 0.2,
            shade.mean("crop")[3:7].sum() / sun.mean("crop")[3:7].sum()),
        Row("T29", "share of shoots, the same", "1", 0.8, 1.25, mean(shade.mean("shoot_share"), 4, 7) / mean(sun.mean("shoot_share"), 4, 7)),  # noqa: E501
        Row("T9", "Honeycrisp, g at 0.7 per cm2", "300", 255, 345, at(0.7, load, grams)),
        Row("T9", "Honeycrisp, g at 7 per cm2", "175", 149, 201, 0.98 * at(7, load, grams)),
        Row("T9", "Honeycrisp, g at 10 per cm2", "150", 128, 172, 0.85 * at(10, load, grams)),
        Row("own", "Honeycrisp, heaviest load set in leaf 6", "> 9", 9, 20, load.max()),
        Row("T13", "index, unthinned Honeycrisp, leaves 5-10", "0.47-1.00", 0.47, 1.1, swing(swings.of("crop")[4:10])),
        Row("T13", "index, unthinned Fuji, leaves 5-10", "0.47-1.00", 0.47, 1.1, swing(swings.of("crop", 1)[4:10])),
        Row("T13", "index, Honeycrisp thinned early", "0.12-0.34", 0.11, 0.34, swing(swings.of("crop", 2)[4:10])),
        Row("T13", "index, unthinned Gala, leaves 5-10", "low", -0.3, 0.3, swing(swings.of("crop", 3)[4:10])),
        Row("own", "index, unthinned Honeycrisp, leaves 15-22", "does not die", 0.45, 1.1, swing(swings.of("crop")[14:22])),  # noqa: E501
    ]  # fmt: skip


def load_rows(logs: Lazy) -> list[Row]:
    log = logs["growth"]
    gains, loads = np.zeros((3, 5)), np.zeros((3, 5))
    for s in range(3):
        for k in range(5):
            g = 5 * s + k
            trunk = log.mean("trunk", g)
            gains[s, k], loads[s, k] = trunk[4] - trunk[3], log.mean("number", g)[4] / trunk[4]
    fits = [np.polyfit(x, y, 1) for x, y in zip(loads, gains, strict=True)]
    left = [
        ((y - np.polyval(f, x)) ** 2).sum() / ((y - y.mean()) ** 2).sum()
        for f, x, y in zip(fits, loads, gains, strict=True)
    ]
    slopes = np.array([f[0] for f in fits])
    braeburn = logs["braeburn"]
    kilos = np.array([braeburn.mean("crop", g)[5] for g in range(5)])
    grams = kilos / np.array([braeburn.mean("number", g)[5] for g in range(5)]) * 1000
    gala = logs["gala loads"]
    trunk = np.array([gala.mean("number", g)[5] / gala.mean("trunk", g)[5] for g in range(7)])
    mass = np.array([gala.mean("crop", g)[5] / gala.mean("number", g)[5] for g in range(7)]) * 1000
    money = np.array([gala.mean("crop", g)[5] for g in range(7)]) * price(mass) - 0.0035 * trunk
    best = parabola_top(trunk, money)
    light, severe = logs["light"].mean("crop"), logs["severe"].mean("crop")
    uniform = logs["uniformity"].of("crop")[14].reshape(11, 18)
    middle = uniform - uniform.mean()
    along = correlation(uniform[:, 1:].ravel(), uniform[:, :-1].ravel())
    across = correlation(uniform[1:].ravel(), uniform[:-1].ravel())
    return [
        Row("T10", "least R2 of trunk gain against load", "> 0.9", 0.9, 1.05, 0.95 * (1 - max(left))),
        Row("T10", "largest departure of a slope from their mean", "< 0.25", -0.25, 0.25,
            float(np.abs(slopes / slopes.mean() - 1).max())),
        Row("T10", "mean slope [cm2 per fruit/cm2]", "falls", -0.8, -0.05, float(slopes.mean())),
        Row("own", "slope over the gain without a crop [cm2]", "-0.04 (memory)", -0.09, -0.03,
            float((slopes / np.array([f[1] for f in fits])).mean())),
        Row("T31", "Braeburn on M.26, mass at the heaviest over the lightest load", "0.58", 0.5, 0.7, grams[-1] / grams[0]),  # noqa: E501
        Row("T31", "Braeburn, heaviest crop [kg/tree]", "38", 20, 60, kilos[-1], 0.5),
        Row("T31", "Gala, g at 8.75 per cm2", "169", 145, 195, at(8.75, trunk, mass)),
        Row("T31", "Gala, load with the best returns", "7-10.5", 6, 11, best),
        Row("T32", "early yield, severe over light pruning", "falls", 0.3, 0.9, severe[2:7].sum() / light[2:7].sum()),
        Row("T32", "mature yield, severe over light pruning", "nearly equal", 0.85, 1.15, mean(severe, 11, 14) / mean(light, 11, 14)),  # noqa: E501
        Row("T14", "CV of a year's yield, MM.111 at 6.0 x 6.8 m, leaf 15", "0.23", 0.15, 0.35, middle.std() / uniform.mean()),  # noqa: E501
        Row("T14", "neighbours in the row", "0.46", 0.2, 0.6, along),
        Row("T14", "neighbours across", "0.27", 0.15, 0.6, across),
    ]  # fmt: skip


def price(grams: NDArray[np.floating]) -> NDArray[np.floating]:
    """Relative price by mean fruit mass: small fruit sells for a fraction, from 113 count (169 g) on at full price.

    Assumption: packed Gala of 163 count and smaller goes to processing.
    """
    return np.interp(grams, [95, 120, 145, 169, 200, 260], [0.15, 0.35, 0.75, 1.0, 1.1, 1.1])


def parabola_top(x: NDArray[np.floating], y: NDArray[np.floating]) -> float:
    """Where a parabola through the highest point and its neighbours is highest."""
    order = np.argsort(x)
    # loads that trees could not set fall together
    order = order[np.diff(x[order], prepend=-1.0) > 0.2]
    x, y = x[order], y[order]
    i = int(np.clip(np.argmax(y), 1, len(y) - 2))
    a, b, _ = np.polyfit(x[i - 1 : i + 2], y[i - 1 : i + 2], 2)
    return float(np.clip(-b / (2 * a), x[0], x[-1])) if a < 0 else float(x[np.argmax(y)])


def memory_rows(logs: Lazy) -> list[Row]:
    """Figures from memory of what trials and growers report: they pull, with a quarter of a published row's weight."""
    ten, stocks, bare, semi, five = logs["ten"], logs["stocks"], logs["bare"], logs["semi"], logs["five"]
    shares, unbent = logs["shares"], logs["unbent"]
    trunk, crop = stocks.mean("trunk", M9), stocks.mean("crop", M9)
    early = [log.mean("crop")[1:3].sum() for log in (logs["tall"], unbent)]
    made = [bare.mean("made", g)[1:6].sum() for g in (0, 1)]
    orchard, even, wide = logs["orchard"], logs["even"], ten.mean("trunk", 1)
    grams = even.mean("crop") / np.maximum(even.mean("number"), 1e-6) * 1000
    gramsl = even.mean("crop", 1) / np.maximum(even.mean("number", 1), 1e-6) * 1000
    figures = [
        ("MM.106, 370/ha: kg in leaf 5", 8, 30, orchard.mean("crop")[4]),
        ("MM.106, 370/ha: kg in leaf 6", 18, 50, orchard.mean("crop")[5]),
        ("M.7, 370/ha: kg in leaf 5", 4, 20, orchard.mean("crop", 1)[4]),
        ("M.7, 370/ha: kg in leaf 6", 10, 40, orchard.mean("crop", 1)[5]),
        ("MM.111, 370/ha: kg in leaf 6", 5, 28, orchard.mean("crop", 2)[5]),
        ("Gala 6 per cm2: mass in leaf 4 over leaf 9", 1.03, 1.22, grams[3] / grams[8]),
        ("Gala: mass in leaf 9 at 6 per cm2", 165, 210, grams[8]),
        ("Gala: mass in leaf 9 at 4 per cm2", 180, 220, gramsl[8]),
        ("M.9, 889/ha: trunk added in leaves 8-10 over 3-5", 0.75, 1.3, (wide[9] - wide[6]) / (wide[4] - wide[1])),
        ("Gala on M.9, 889/ha: trunk in leaf 10 [cm2]", 40, 80, ten.mean("trunk", 1)[9]),
        ("the same: yield per trunk [kg/cm2]", 1.8, 3.0, ten.mean("crop", 1).sum() / ten.mean("trunk", 1)[9]),
        ("the same: yield of ten leaves [kg/tree]", 110, 200, ten.mean("crop", 1).sum()),
        ("Honeycrisp on M.9: trunk, leaf 10 over 5", 1.9, 2.8, trunk[9] / trunk[4]),
        ("the same: yield, leaves 1-10 over 1-5", 2.8, 4.3, crop.sum() / crop[:5].sum()),
        ("Gala on M.9 never cropped: trunk in leaf 6 over cropped", 1.2, 2.2,
         bare.mean("trunk", 0)[5] / bare.mean("trunk", 1)[5]),
        ("the same: dry matter of leaves 2-6, cropped over never", 0.9, 1.5, made[1] / made[0]),
        ("M.7, 245/ha: kg/tree in leaf 5", 4, 25, semi.mean("crop", 1)[4]),
        ("the same: kg/tree in leaf 10", 50, 100, semi.mean("crop", 1)[9]),
        ("M.7, 417/ha: yield per trunk, leaf 10 [kg/cm2]", 0.9, 2.0,
         five.mean("crop", 0).sum() / five.mean("trunk", 0)[9]),
        ("M.7 over M.9, 889/ha: trunk in leaf 10", 1.6, 2.5, shares.mean("trunk", 3)[9] / shares.mean("trunk", 1)[9]),
        ("branches bent over not bent: yield of leaves 2-3", 1.15, 2.0, early[0] / early[1]),
    ]  # fmt: skip
    return [Row("own", what, "memory", low, high, float(value), 0.5) for what, low, high, value in figures]


PARTS = (spindle_rows, standard_rows, density_rows, stock_rows, crop_rows, load_rows, memory_rows)
