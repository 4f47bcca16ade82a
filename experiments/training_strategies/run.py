"""Which training strategy wins, by how much, and where that agrees with published trials.

Two declared studies (``own_spacings.toml``, ``one_spacing.toml``) in the same futures: six systems, three stocks, two
cultivars, two crop policies in leaves 2 and 3, two sites. The second once more with trees that fill their room.

Usage: ``python experiments/training_strategies/run.py --out DIR [--quick] [--jobs N]``
"""

from __future__ import annotations

import argparse
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas
import xarray
from matplotlib.figure import Figure
from scipy.stats import spearmanr

import orchardsim
from orchardsim.plan.study import Study, load_study
from orchardsim.report.style import SERIES, add_footer, picture_settings

HERE = Path(__file__).parent
QUICK_TRIALS = 12
RESAMPLES = 2_000
SYSTEMS = ["tall_spindle", "vertical_axis", "slender_spindle", "super_spindle", "v_trellis", "central_leader"]
ROOM = {f"training_system.{name}.spread_limit": "2.2 m" for name in SYSTEMS if name != "v_trellis"}
"""Trees that fill the room of the one spacing: rows of 4.0 m less an alley of 1.8 m, as the catalogue's vertical axis
leaves at its own spacing (derived). The V's arms pass over the alley and keep the catalogue's 3.0 m."""
STUDIES = {
    "own usual spacings": ("own_spacings", {}, True),
    "one spacing, room filled": ("one_spacing", ROOM, True),
    "one spacing, widths of the catalogue": ("one_spacing", {}, False),
}
"""File, keys added, and whether the whole factorial is run, or one stock, policy and site of it."""
SHOWN = {
    "cumulative_yield_to_leaf_5": ("to leaf 5 t/ha", 1e-3),
    "cumulative_yield_to_leaf_10": ("to leaf 10 t/ha", 1e-3),
    "mature_yield": ("mature t/ha/yr", 1e-3),
    "light_stopped": ("light %", 100),
    "hours_per_area": ("hours/ha", 1),
    "fresh_share": ("pack-out %", 100),
    "fruit_mass": ("fruit g", 1),
    "npv_per_area": ("NPV 1000 USD/ha", 1e-3),
}


BY_STOCK = ("cumulative_yield_to_leaf_5", "cumulative_yield_to_leaf_10", "mature_yield", "npv_per_area")
"""Measures that are told by system and stock too."""


def declared(name: str, keys: dict[str, str], whole: bool, quick: bool) -> Study:
    """A study with some keys added; not whole: one stock, one policy, the warm site; quick: fewer trials too."""
    raw = tomllib.loads((HERE / f"{name}.toml").read_text(encoding="utf-8"))
    raw["keys"] = raw.get("keys", {}) | keys
    if quick:
        raw["trials"] = QUICK_TRIALS
    if quick or not whole:
        site = next(factor for factor in raw["factor"] if factor["name"] == "site")
        raw["keys"] |= site["level"][0]["keys"]
        raw["factor"] = [factor for factor in raw["factor"] if factor["name"] in ("system", "cultivar")]
    return load_study(raw, base=HERE)


def ran(study: Study, words: str, store: Path | None, jobs: int) -> xarray.Dataset:
    """Trials of a study; read from the store where they stand there already."""
    file = store / f"{words.replace(' ', '_').replace(',', '')}.nc" if store is not None else None
    if file is not None and file.exists():
        return xarray.load_dataset(file)
    dataset = orchardsim.study(study, jobs=jobs)
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        dataset.to_netcdf(file)
    return dataset


def over_rest(values: xarray.DataArray, *kept: str) -> xarray.DataArray:
    """Mean over all factors but those kept, trial by trial."""
    return values.mean([dim for dim in values.dims if dim not in (*kept, "trial")])


def interval(statistic: Callable[[np.ndarray], float], trials: int) -> tuple[float, float, float]:
    """A statistic of the trials (a function of their numbers) with its 95 % bootstrap interval over trials."""
    rng = np.random.default_rng(1)
    drawn = [statistic(rng.integers(trials, size=trials)) for _ in range(RESAMPLES)]
    low, high = np.quantile(drawn, [0.025, 0.975])
    return statistic(np.arange(trials)), float(low), float(high)


def table(dataset: xarray.Dataset, by: str) -> list[str]:
    """Means by level of a factor, and what is risked."""
    lines = ["  ".join([f"{by:<16}", *(f"{name:>16}" for name, _ in SHOWN.values()), f"{'NPV 5 %':>10}", "loss in %"])]
    for level in dataset[by].values:
        part = dataset.sel({by: level})
        numbers = [float(part[key].mean()) * factor for key, (_, factor) in SHOWN.items()]
        npv = part["npv_per_area"]
        worst = float(npv.quantile(0.05)) * 1e-3
        lines.append(
            "  ".join(
                [
                    f"{level:<16}",
                    *(f"{number:16,.1f}" for number in numbers),
                    f"{worst:10,.0f}",
                    f"{100 * float((npv < 0).mean()):9.0f}",
                ]
            )
        )
    return lines


def by_stock(dataset: xarray.Dataset) -> list[str]:
    """Some means by system and stock; empty where the study does not vary the stock."""
    if "stock" not in dataset.dims:
        return []
    shown = [key for key in SHOWN if key in BY_STOCK]
    stocks = [str(name) for name in dataset["stock"].values]
    lines = ["  ".join([f"{'by stock':<16}", *(f"{SHOWN[key][0]} on {name:<7}" for key in shown for name in stocks)])]
    for system in dataset["system"].values:
        numbers = [
            (f"{SHOWN[key][0]} on {name:<7}", float(dataset[key].sel(system=system, stock=name).mean()) * SHOWN[key][1])
            for key in shown
            for name in stocks
        ]
        lines.append("  ".join([f"{system:<16}", *(f"{number:{len(head)},.1f}" for head, number in numbers)]))
    return lines


@dataclass(frozen=True)
class Row:
    """A published result beside ours."""

    claim: str
    source: str
    published: tuple[float, float]
    ours: tuple[float, float, float]

    @property
    def verdict(self) -> str:
        """Ours inside (its interval too, where the published range has one end only), reaching in, or outside."""
        low, high = self.published
        middle, first, last = self.ours
        if low <= middle <= high and (np.isfinite(high) or first >= low):
            return "agrees"
        return "cannot be told" if first <= high and last >= low else "DISAGREES"

    def line(self) -> str:
        """As text."""
        low, high = (f"{value:.2f}" if np.isfinite(value) else "any" for value in self.published)
        middle, first, last = self.ours
        return (
            f"{self.verdict:<15} {self.claim}: published {low} to {high}, ours {middle:.2f} "
            f"({first:.2f} to {last:.2f}). {self.source}"
        )


def of_system(dataset: xarray.Dataset, key: str, name: str) -> np.ndarray:
    """A measure of one system, on one stock where it is named, (trial,)."""
    system, _, stock = name.partition(" on ")
    part = on_stock(dataset, stock) if stock else dataset
    return over_rest(part[key].sel(system=system)).values


def ratio(dataset: xarray.Dataset, key: str, over: str, under: str) -> tuple[float, float, float]:
    """A system's mean over another's, on one stock where it is named ("super_spindle on M.9"), all else averaged."""
    one, other = (of_system(dataset, key, name) for name in (over, under))
    return interval(lambda rows: float(one[rows].mean() / other[rows].mean()), one.size)


RATIOS = [
    (
        "V over slender spindle, yield to leaf 10", "cumulative_yield_to_leaf_10", "v_trellis", "slender_spindle",
        (1.11, 1.14), "Y forms 11-14 % above slender spindle over 8 years (Quamme, J. Amer. Soc. Hort. Sci., abstract)",
    ),
    (
        "V over slender spindle, all years", "picked_per_area", "v_trellis", "slender_spindle",
        (1.03, 1.04), "V 3-4 % above spindle (Drahorad 1999, Compact Fruit Tree, July)",
    ),
    (
        "V over slender spindle, pack-out", "fresh_share", "v_trellis", "slender_spindle",
        (0.98, 1.02), "no gain in quality (the same)",
    ),
]  # fmt: skip
"""Published at one density for all: claim, measure, first and second system, published range, source."""
OWN_RATIOS = [
    (
        "super spindle over slender spindle, yield to leaf 10", "cumulative_yield_to_leaf_10", "super_spindle",
        "slender_spindle", (0.85, 1.10), "in seven years better only on weak Braeburn (Laimburg trial, Drahorad 1999)",
    ),
    (
        "super spindle over slender spindle, fruit mass", "fruit_mass", "super_spindle", "slender_spindle",
        (0.0, 0.995), "smaller fruit (the same)",
    ),
    (
        "super spindle over slender spindle, pack-out", "fresh_share", "super_spindle", "slender_spindle",
        (0.0, 0.995), "poorer colour (the same)",
    ),
    (
        "tall spindle over vertical axis, yield to leaf 5", "cumulative_yield_to_leaf_5", "tall_spindle",
        "vertical_axis", (1.25, 1.55),
        "about 40 % more crop value in the first five leaves than slender vertical axis (Good Fruit Grower, press)",
    ),
    (
        "closest planting on M.9 over widest on MM.106, yield to leaf 10", "cumulative_yield_to_leaf_10",
        "super_spindle on M.9", "central_leader on MM.106", (1.6, 2.4),
        "5,382 trees/ha on M.9 twice the 598 on M.7 over 13 years (Robinson 2010, ASHS, abstract)",
    ),
    (
        "closest planting on M.9 over widest on MM.106, mature yield", "mature_yield", "super_spindle on M.9",
        "central_leader on MM.106", (0.85, 1.15),
        "density brings the mature yield sooner, not a higher one (Good Fruit Grower, press)",
    ),
]  # fmt: skip
"""Published with each system at its own spacing."""
MOST = float("inf")


def agreement(own: xarray.Dataset, one: xarray.Dataset) -> list[Row]:
    """Published system trials, row by row: systems at their own spacings, and at one."""
    early, mature = (
        over_rest(one[key], "system").sel(system=SYSTEMS).transpose("trial", "system").values
        for key in ("cumulative_yield_to_leaf_5", "mature_yield")
    )
    severity = [float(np.sum(pruning_of(name)[:5])) for name in SYSTEMS]
    light = over_rest(on_stock(own, "M.9")["light_stopped"], "system").sel(system="tall_spindle").values
    return [
        *(Row(f"{claim}, one spacing", source, told, ratio(one, *about)) for claim, *about, told, source in RATIOS),
        Row(
            "rank correlation of yield to leaf 5 with pruning in leaves 1-5, one spacing",
            "early yield falls with pruning severity (T32: Austral. J. Exp. Agric. EA9960489, abstract)",
            (-1.0, -0.5),
            interval(lambda rows: float(spearmanr(severity, early[rows].mean(axis=0))[0]), len(early)),
        ),
        Row(
            "highest over lowest mature yield, one spacing",
            "after about 8 cropping years nearly equal: within 15 % (the same)",
            (1.0, 1.15),
            interval(lambda rows: float(np.exp(np.ptp(np.log(mature[rows].mean(axis=0))))), len(mature)),
        ),
        *(
            Row(f"{claim}, own spacings", source, told, ratio(own, *about))
            for claim, *about, told, source in OWN_RATIOS
        ),
        Row(
            "light stopped by mature tall spindle on M.9, own spacing",
            "70-75 % is needed for top yield (Robinson 2010; trade press), 65-72 % usual (memory)",
            (0.62, 0.78),
            interval(lambda rows: float(light[rows].mean()), light.size),
        ),
        *money_rows(own),
        *policy_rows(own["cumulative_yield_to_leaf_5"]),
    ]


def on_stock(dataset: xarray.Dataset, stock: str) -> xarray.Dataset:
    """One stock of a study that varies it."""
    return dataset.sel(stock=stock) if "stock" in dataset.dims else dataset


def money_rows(own: xarray.Dataset) -> list[Row]:
    """Published money of systems on dwarf stock."""
    money = over_rest(on_stock(own, "M.9")["npv_per_area"], "system").sel(system=SYSTEMS)
    money = money.transpose("trial", "system").values / 1000
    gap = money[:, :1] - money[:, 1:]
    wood = over_rest(own["pruning_hours"], "system") / over_rest(own["picked_per_area"], "system")
    axis, leader = (wood.sel(system=name).values for name in ("vertical_axis", "central_leader"))
    return [
        Row(
            "least lead of tall spindle's NPV over another system's on M.9 [1,000 USD/ha]",
            "best by NPV near 2,600 trees/ha; super spindle and low density behind (Robinson et al. 2005, HortScience "
            "40:1128, abstract; Lordan et al. 2018, abstract)",
            (0.0, MOST),
            interval(lambda rows: float(gap[rows].mean(axis=0).min()), len(gap)),
        ),
        Row(
            "mean NPV of tall spindle on M.9 [1,000 USD/ha]",
            "all five systems positive over 20 years, rates of return 7.5-11.1 % (Robinson et al. 2005, abstract)",
            (0.0, MOST),
            interval(lambda rows: float(money[rows, 0].mean()), len(gap)),
        ),
        Row(
            "pruning hours a tonne, vertical axis over central leader, own spacings",
            "cost a box lowest on central leader, highest on vertical axis (Virginia trial, J. Amer. Pomol. Soc. 56)",
            (1.05, MOST),
            interval(lambda rows: float(axis[rows].mean() / leader[rows].mean()), len(gap)),
        ),
    ]


def policy_rows(yields: xarray.DataArray) -> list[Row]:
    """What cropping in leaves 2 and 3 does by cultivar; only where the study varied it."""
    if "young_crop" not in yields.dims:
        return []
    by = over_rest(yields, "cultivar", "young_crop")
    gain = {
        name: (by.sel(cultivar=name, young_crop="cropped").values, by.sel(cultivar=name, young_crop="spared").values)
        for name in ("Gala", "Honeycrisp")
    }

    def excess(rows: np.ndarray) -> float:
        gala, honeycrisp = (one[rows].mean() / other[rows].mean() for one, other in gain.values())
        return float(gala / honeycrisp)

    return [
        Row(
            "gain to leaf 5 by cropping leaves 2 and 3, Gala's over Honeycrisp's",
            "Gala lost nothing in leaf 3 by a crop in leaf 2 (acarindex 217180, abstract); Honeycrisp returns little "
            "bloom after a crop (HortScience 41:1010, abstract)",
            (1.0, MOST), interval(excess, yields.sizes["trial"]),
        ),
    ]  # fmt: skip


def pruning_of(system: str) -> tuple[float, ...]:
    """Pruning by leaf of a training system of the catalogue, the last value held on to leaf 5."""
    entry = tomllib.loads((Path(orchardsim.__file__).parent / "catalogue" / "training.toml").read_text("utf-8"))[system]
    values = list(entry["pruning"]["value"])
    return tuple(values + values[-1:] * 5)


def picture(studies: dict[str, xarray.Dataset]) -> Figure:
    """NPV and early yield by system and cultivar, each study, with the error of the mean within trials."""
    figure = Figure(figsize=(11, 5.4), layout="constrained")
    axes = figure.subplots(2, len(studies), sharey="row")
    trials = next(iter(studies.values())).sizes["trial"]
    rows = (
        ("cumulative_yield_to_leaf_5", 1e-3, "yield to leaf 5 [t/ha]"),
        ("npv_per_area", 1e-3, "NPV [1,000 USD/ha]"),
    )
    for row, (key, factor, words) in enumerate(rows):
        for column, (title, dataset) in enumerate(studies.items()):
            values = over_rest(dataset[key], "system", "cultivar").sel(system=SYSTEMS) * factor
            error = (values - values.mean("system")).std("trial", ddof=1) / np.sqrt(values.sizes["trial"])
            for place, (cultivar, mark) in enumerate(zip(values["cultivar"].values, "os", strict=True)):
                axes[row, column].errorbar(
                    np.arange(len(SYSTEMS)) + 0.15 * place,
                    values.sel(cultivar=cultivar).mean("trial"),
                    yerr=2 * error.sel(cultivar=cultivar),
                    fmt=mark,
                    color=SERIES[place],
                    label=cultivar,
                )
            axes[row, column].set_xticks(range(len(SYSTEMS)), [name.replace("_", "\n") for name in SYSTEMS], fontsize=7)
            axes[row, column].axhline(0, linewidth=0.5, color="0.5")
            if row == 0:
                axes[row, column].set_title(title)
        axes[row, 0].set_ylabel(words)
    axes[0, 0].legend()
    add_footer(
        figure,
        f"Means over stocks, sites and crop policies; n = {trials} trials; bars: two standard errors of "
        "what lies between systems within trials. Invented farm.",
    )
    return figure


def main() -> None:
    """Run both studies and tell what they say."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--quick", action="store_true", help="few trials, fewer factors: does it run?")
    parser.add_argument("--store", type=Path, help="folder that keeps the trials, read where they stand already")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    studies = {
        words: ran(declared(*about, options.quick), words, options.store, options.jobs)
        for words, about in STUDIES.items()
    }
    lines = []
    contrasts = []
    for words, dataset in studies.items():
        lines += [f"{words}, n = {dataset.sizes['trial']} trials", ""]
        for by in [dim for dim in dataset["npv"].dims if dim != "trial"]:
            lines += [*table(dataset, str(by)), ""]
        lines += [*by_stock(dataset), ""]
        found = orchardsim.study_findings(dataset)
        if words == "own usual spacings":
            orchardsim.plot_interactions(found, "npv_per_area").savefig(options.out / "interactions.png", dpi=110)
        rows = found.table("contrasts").query(f"kind == 'levels' and measure in {[*SHOWN, 'lost_young']}")
        contrasts.append(rows.assign(study=words))
        lines += ["what goes with what: share of the variance of NPV between cells", ""]
        shares = found.table("shares").query("measure == 'npv_per_area'").nlargest(6, "share")
        lines += [shares.to_string(index=False, columns=["factors", "share", "low", "high"], float_format="%.2f"), ""]
        hangs = found.table("assumptions")
        if len(hangs):
            hangs = hangs[hangs["measure"] == "npv_per_area"].nlargest(8, "share_of_spread")
        if len(hangs):
            lines += ["what differences of NPV hang on", hangs.to_string(index=False, float_format="%.3g"), ""]
    pandas.concat(contrasts).to_csv(options.out / "contrasts.csv", index=False, float_format="%.5g")
    own, room, _ = studies.values()
    lines += ["published system trials, row by row; one spacing with room filled", ""]
    lines += [row.line() for row in agreement(own, room)]
    text = "\n".join(lines) + "\n"
    (options.out / "answer.txt").write_text(text, encoding="utf-8")
    with picture_settings():
        picture(studies).savefig(options.out / "systems.png", dpi=110)
    print(text)


if __name__ == "__main__":
    main()
