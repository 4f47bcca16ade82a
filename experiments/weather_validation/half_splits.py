"""Fitted on one random half of the years, compared on the other, both ways (targets B and the controls C).

The halves share years from split to split, so spreads over splits describe; they are no standard errors. Bounds of the
two methods are margins set around values measured beforehand on the same record: they guard against coding faults and
say how the methods differ, and are no independent proof. Controls are plain methods that must fail.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from experiments.weather_validation.methods import METHODS
from experiments.weather_validation.rows import ELEVATION, LATITUDE, Floats, Record, Table
from experiments.weather_validation.season_statistics import (
    bloom_day,
    energy_distance,
    geometric_ratio,
    monthly_sd,
    post_bloom_minimum,
    quantile_error,
    summary,
)
from orchardsim.core.handover import SeasonWeather
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.weather.rain import clear_range

CHAINS: Final = 20
SLOW_METHODS: Final = ("control_nearest_neighbours",)
RATIOS: Final = (
    "bloom_sd", "march_april_heat_sd", "may_september_heat_sd", "annual_mean_sd",
)  # fmt: skip
DIFFERENCES: Final = (
    "post_bloom_below_-2.2", "post_bloom_below_0", "bloom_post_rank_correlation", "hot_days", "bloom_mean",
    "lag_one_min_spring", "lag_one_max_spring", "lag_one_min_winter", "lag_one_max_winter",
)  # fmt: skip
ERRORS: Final = ("last_frost", "post_bloom_minimum", "bloom")
BOUNDS: Final = {
    ("whole_years", "monthly_sd_ratio"): (0.95, 1.02),
    ("whole_years", "march_april_heat_sd_ratio"): (0.94, 1.03),
    ("whole_years", "post_bloom_below_0_bias"): (-0.03, 0.03),
    ("whole_years", "last_frost_error_days"): (None, 8.0),
    ("parametric", "last_frost_error_days"): (None, 5.6),
    ("parametric", "monthly_sd_ratio"): (1.00, 1.10),
    ("parametric", "march_april_heat_sd_ratio"): (None, 1.25),
}
MUST_FAIL: Final = {
    ("control_ten_day_blocks", "monthly_sd_ratio"): (None, 0.85),
    ("control_gaussian_red_noise", "post_bloom_below_0_bias"): (None, -0.08),
    ("control_nearest_neighbours", "may_september_heat_sd_ratio"): (None, 0.70),
}
KILL_LEVELS: Final = (0.3, 0.9)
CULTIVAR: Final = Phenology(chill_requirement=55.0, bloom_heat=213.0, days_to_harvest=115.0)
"""Gala as in the package's catalogue (chill and heat from memory)."""
SITES: Final = {"level": BlockSite(), "hollow_2_K_colder": BlockSite(night_offset=-2.0)}
KILL_METHODS: Final = ("whole_years", "parametric")


def _kill(low: Floats, high: Floats) -> tuple[dict[str, Floats], Floats]:
    """Share of blossoms killed by site, and bloom day; seasons of 365 days, padded by their own autumn."""
    seasons = SeasonWeather(
        np.arange(len(low)),
        np.concatenate([low, low[:, :92]], axis=1),
        np.concatenate([high, high[:, :92]], axis=1),
        np.zeros((len(low), 457)),
        False,
        LATITUDE,
        ELEVATION,
        clear_range=clear_range(high - low),
    )
    drivers = season_drivers_for(seasons, [(CULTIVAR, site) for site in SITES.values()])
    kill = {name: part.frost_kill_unprotected for name, part in zip(SITES, drivers, strict=True)}
    return kill, drivers[0].bloom_day


def compare(made: tuple[Floats, Floats], low: Floats, high: Floats) -> dict[str, float]:
    """How made seasons differ from held-out ones."""
    drawn, seen = summary(*made), summary(low, high)
    result = {"monthly_sd_ratio": geometric_ratio(monthly_sd(*made), monthly_sd(low, high))}
    for name in RATIOS:
        result[f"{name}_ratio"] = drawn[name] / seen[name]
    for name in DIFFERENCES:
        result[f"{name}_bias"] = drawn[name] - seen[name]
    for name in ERRORS:
        unit = "K" if name == "post_bloom_minimum" else "days"
        result[f"{name}_error_{unit}"] = quantile_error(drawn, seen, name)
    points = [np.stack([bloom_day(*part), post_bloom_minimum(*part)], axis=1) for part in (made, (low, high))]
    scale = points[1].std(axis=0, ddof=1)
    result["bloom_frost_energy_distance"] = energy_distance(points[0] / scale, points[1] / scale)
    return result


def run(table: Table, record: Record, splits: int, *, slow_share: float = 1.0, report: Any = None) -> dict[str, Any]:
    """Run the half-splits and add their rows; returns all values by method and statistic for the pictures."""
    rng = np.random.default_rng(20)
    values: dict[str, dict[str, list[float]]] = {name: {} for name in METHODS}
    record_kill, record_bloom = _kill(record.low, record.high)
    kills: dict[tuple[str, str, float], list[tuple[float, float]]] = {}
    count = len(record.year)
    for split in range(splits):
        order = rng.permutation(count)
        halves = order[: count // 2], order[count // 2 :]
        for direction, (fit, held) in enumerate((halves, halves[::-1])):
            fit, held = np.sort(fit), np.sort(held)
            for name, method in METHODS.items():
                if name in SLOW_METHODS and split >= max(1, round(slow_share * splits)):
                    continue
                seasons = (CHAINS // 2 if name in SLOW_METHODS else CHAINS) * len(held)
                made = method(record.low[fit], record.high[fit], 1000 + 2 * split + direction, seasons)
                for statistic, value in compare(made, record.low[held], record.high[held]).items():
                    values[name].setdefault(statistic, []).append(value)
                if name in KILL_METHODS:
                    # Drawn whole years look their kill up; long runs of draws tend to the fitting half's own share.
                    made_kill = (
                        {s: v[fit] for s, v in record_kill.items()} if name == "whole_years" else _kill(*made)[0]
                    )
                    for site in SITES:
                        for level in KILL_LEVELS:
                            pair = (
                                float((made_kill[site] > level).mean()),
                                float((record_kill[site][held] > level).mean()),
                            )
                            kills.setdefault((name, site, level), []).append(pair)
        if report is not None:
            report(f"half-split {split + 1} of {splits}")
    _add_rows(table, values)
    _add_kill_rows(table, kills, record_kill, record_bloom, count)
    return values


def _add_rows(table: Table, values: dict[str, dict[str, list[float]]]) -> None:
    for name, statistics in values.items():
        for statistic, found in statistics.items():
            is_ratio = statistic.endswith("_ratio")
            # Some years of a half may make a ratio of 0/0 in no statistic here; means of logarithms are safe.
            middle = float(np.exp(np.mean(np.log(found)))) if is_ratio else float(np.mean(found))
            spread = float(np.std(found, ddof=1))
            ideal = 1.0 if is_ratio else 0.0
            low, high = BOUNDS.get((name, statistic), (None, None))
            note = f"mean over {len(found)} half-splits and directions; spread over them {spread:.3g}"
            if name == "whole_years" and statistic.endswith("_bias"):
                note += "; both directions of a resampler cancel, so this checks the code only"
            table.add(f"half_splits.{name}.{statistic}", ideal, middle, low, high, note=note)
            if (name, statistic) in MUST_FAIL:
                low, high = MUST_FAIL[name, statistic]
                table.add(
                    f"controls.{name}.{statistic}", ideal, middle, low, high,
                    note="a control: met means that the plain method fails as it must",
                )  # fmt: skip


def _add_kill_rows(
    table: Table,
    kills: dict[tuple[str, str, float], list[tuple[float, float]]],
    record_kill: dict[str, Floats],
    record_bloom: Floats,
    count: int,
) -> None:
    for (name, site, level), pairs in kills.items():
        made, seen = np.array(pairs).T
        whole = float((record_kill[site] > level).mean())
        error = _error_of_difference(whole, count // 2, count - count // 2)
        root = float(np.sqrt(np.mean((made - seen) ** 2)))
        note = (
            f"share of years; fitted on one half, compared with the other; root mean square difference {root:.3f}, two "
            f"standard errors of a difference of halves {2 * error:.3f}; whole record {whole:.3f}"
        )
        bounds = (whole - 2 * error, whole + 2 * error)
        if name == "whole_years":
            # A resampler's mean over both directions is the record's own share: no bounds, it could not miss them.
            bounds, note = (None, None), note + "; the two directions cancel, so no verdict"
        table.add(
            f"bloom_kill.{name}.{site}.over_{round(100 * level)}_percent",
            float(seen.mean()),
            float(made.mean()),
            *bounds,
            note=note,
        )
    table.add(
        "season.full_bloom_sd_days",
        7.6,
        float(record_bloom.std(ddof=1)),
        5.0,
        11.0,
        note="spread of full bloom between years (Gala of the catalogue, whole bundled record); observed: 20 years of "
        "full bloom dates at Wenatchee, standard error 16 %",
    )


def _error_of_difference(share: float, first: int, second: int) -> float:
    """Standard error of the difference of a share between two sets of independent years."""
    return float(np.sqrt(share * (1 - share) * (1 / first + 1 / second)))


def run_periods(table: Table, record: Record) -> None:
    """Bloom kill fitted on the earlier half of the record and compared with the later, and the other way round.

    Unlike random halves these can miss: the climate moved between them.
    """
    early = record.year <= record.year[len(record.year) // 2 - 1]
    kill, _ = _kill(record.low, record.high)
    for word, fit, held in (("earlier_to_later", early, ~early), ("later_to_earlier", ~early, early)):
        for name in KILL_METHODS:
            made_kill = {site: values[fit] for site, values in kill.items()}
            if name != "whole_years":
                made = METHODS[name](record.low[fit], record.high[fit], 31, CHAINS * int(fit.sum()))
                made_kill, _ = _kill(*made)
            for site in SITES:
                for level in KILL_LEVELS:
                    made_share = float((made_kill[site] > level).mean())
                    seen = float((kill[site][held] > level).mean())
                    pooled = float((kill[site] > level).mean())
                    error = _error_of_difference(pooled, int(fit.sum()), int(held.sum()))
                    table.add(
                        f"bloom_kill_periods.{word}.{name}.{site}.over_{round(100 * level)}_percent",
                        seen,
                        made_share,
                        seen - 2 * error,
                        seen + 2 * error,
                        note=f"share of years; halves split at {int(record.year[early][-1])}; bounds: two standard "
                        "errors of a difference of two sets of independent years",
                    )
