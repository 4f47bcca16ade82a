"""Which bad season hurts most at which leaf, by training system and site.

Every named bad season is placed at every leaf of every cell of the study, in the same futures as the run without it.

Usage: ``python experiments/bad_seasons/run.py --out DIR [--quick] [--jobs N]``
"""

from __future__ import annotations

import argparse
import tomllib
from pathlib import Path

import numpy as np
import pandas
from matplotlib.figure import Figure

import orchardsim
from orchardsim.plan.study import load_study
from orchardsim.report.stress.words import leaves_text
from orchardsim.report.style import SERIES, add_footer, picture_settings
from orchardsim.results.stress import Stress

HERE = Path(__file__).parent
QUICK = {"trials": 12, "years": 7}
QUICK_SEASONS = ["late_frost", "fire_blight"]


def rows_of(names: dict[str, str], found: Stress, hectares: float) -> list[dict]:
    """Every bad season at every leaf of one cell, money and fruit per planted hectare."""
    return [
        names
        | {
            "bad_season": season.name,
            "leaf": moment.leaf,
            "cash_lost": moment.cash_lost.value / hectares,
            "cash_lost_error": moment.cash_lost.standard_error / hectares,
            "fruit_lost_t": moment.crop_lost.value / hectares / 1000,
            "trees_lost_share": moment.trees_lost.value / found.usual.trees_planted,
            "worst": int(place == season.worst),
            "as_bad_as_worst": int(moment.leaf in season.close),
        }
        for season in found.seasons
        for place, moment in enumerate(season.moments)
        if moment.leaf >= 1
    ]


def worst_lines(rows: list[dict]) -> list[str]:
    """By system and site: each bad season at its worst leaf, the costliest first."""
    lines = []
    for system, site in dict.fromkeys((row["system"], row["site"]) for row in rows):
        mine = [row for row in rows if (row["system"], row["site"]) == (system, site)]
        worst = {}
        for row in mine:
            if row["bad_season"] not in worst or row["cash_lost"] > worst[row["bad_season"]]["cash_lost"]:
                worst[row["bad_season"]] = row
        lines.append(f"{system}, {site}")
        for row in sorted(worst.values(), key=lambda one: -one["cash_lost"]):
            close = [one["leaf"] for one in mine if one["bad_season"] == row["bad_season"] and one["as_bad_as_worst"]]
            lines.append(
                f"  {row['bad_season']:<18} leaf {row['leaf']:>2} (as bad: {leaves_text(tuple(close))})  costs "
                f"{row['cash_lost']:9,.0f} ± {2 * row['cash_lost_error']:,.0f} USD/ha, "
                f"{row['fruit_lost_t']:.0f} t/ha, {abs(round(100 * row['trees_lost_share'])):d} % of the trees"
            )
    return lines


def picture(rows: list[dict], trials: int) -> Figure:
    """Cost by leaf of each bad season: a panel each, lines by system, sites as full and broken lines."""
    seasons = list(dict.fromkeys(row["bad_season"] for row in rows))
    systems = list(dict.fromkeys(row["system"] for row in rows))
    across = 3
    figure = Figure(figsize=(9, 0.8 + 2.1 * -(-len(seasons) // across)), layout="constrained")
    panels = np.atleast_1d(figure.subplots(-(-len(seasons) // across), across, sharex=True)).ravel()
    for panel, season in zip(panels, seasons, strict=False):
        for number, system in enumerate(systems):
            for site, line in zip(dict.fromkeys(row["site"] for row in rows), ("-", "--"), strict=False):
                mine = [
                    row for row in rows if (row["bad_season"], row["system"], row["site"]) == (season, system, site)
                ]
                panel.plot(
                    [row["leaf"] for row in mine],
                    [row["cash_lost"] / 1000 for row in mine],
                    line,
                    color=SERIES[number],
                    linewidth=1.2,
                    label=f"{system}, {site}".replace("_", " "),
                )
        panel.set_title(season.replace("_", " "), fontsize=8)
        panel.tick_params(labelsize=7, labelbottom=True)
        panel.axhline(0, color="0.6", linewidth=0.5)
    for panel in panels[len(seasons) :]:
        panel.set_axis_off()
    handles, labels = panels[0].get_legend_handles_labels()
    free = len(panels) > len(seasons)
    panels[-1 if free else 0].legend(handles, labels, fontsize=7 if free else 5.5, loc="center" if free else "best")
    figure.supylabel("cost [1,000 USD/ha, present value]", fontsize=8)
    add_footer(figure, f"Leaf in which the bad season comes. Mean of n = {trials} trials. Invented farm.")
    return figure


def main() -> None:
    """Stress every cell and tell what hurts when."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--quick", action="store_true", help="few years, two bad seasons, one system: does it run?")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    raw = tomllib.loads((HERE / "study.toml").read_text(encoding="utf-8"))
    study = load_study(raw | (QUICK if options.quick else {}), base=HERE)
    rows = []
    for cell in study.cells:
        names = study.names(cell)
        if options.quick and names["system"] != "tall_spindle":
            continue
        found = orchardsim.stress(
            cell.plan,
            trials=study.trials,
            years=study.years,
            seed=study.seed,
            jobs=options.jobs,
            bad_seasons=QUICK_SEASONS if options.quick else None,
        )
        rows += rows_of(names, found, found.planted_area / 1e4)
    pandas.DataFrame(rows).to_csv(options.out / "costs.csv", index=False, float_format="%.4g")
    text = (
        "\n".join([f"{study.title}: n = {study.trials} trials of {study.years} years", "", *worst_lines(rows)]) + "\n"
    )
    (options.out / "answer.txt").write_text(text, encoding="utf-8")
    with picture_settings():
        picture(rows, study.trials).savefig(options.out / "costs.png", dpi=110)
    print(text)


if __name__ == "__main__":
    main()
