"""Rows on crops between full and none: blocks and years of the demo, frosts imposed on it, insurance, sunburn."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

import orchardsim
from orchardsim.core.handover import SeasonDrivers
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.catalogue import built_in
from orchardsim.season import frost
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.season.phenology import STAGES
from orchardsim.simulation.seasons import REGION_OFFSETS, SeasonLibrary, build_library
from orchardsim.simulation.trial_range import run_trials
from orchardsim.weather.bundled import RECORDS, bundled_record_path
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.sampling import whole_record_windows

Array = NDArray[np.float64]
Line = tuple[str, str, str, float, float, float]
"""Row, what, source, low, high, ours."""
MATURE = 8
"""Leaf from which crops count as mature."""
COOL = {"site.latitude": "42.95 degree", "site.night_offset": "-3 K", "weather.record": "bundled cool"}
"""An invented farm inland of the cool record's lake shore, whose clear nights are 3 K colder; no frost protection."""
WARM = {
    "site.latitude": "34.68 degree",
    "site.night_offset": "1 K",
    "weather.record": "bundled warm",
    "weather.normals": {
        "rain": {"value": [115, 110, 125, 95, 95, 100, 105, 115, 95, 90, 100, 115], "unit": "mm"},
        "wet_days": [10, 9, 10, 8, 9, 10, 11, 10, 8, 7, 8, 10],
    },
}
"""An invented slope under the warm record; rain from memory for such an upland."""
HOLLOW = WARM | {"site.night_offset": "-1.5 K"}
"""A frost-prone hollow under the same record, 1.5 K colder on clear nights; invented."""
HOTTER = 1.5
"""K; days hotter than the warm record's, for a hot site: no hot and dry record is bundled (invented)."""
COVERED, INSURED = 0.75, 0.70
"""Shares of the normal crop: below the first a year counts as short; insurance pays below the second."""
FREEZES = {-2.8: (0.2, 0.4), -3.4: (0.5, 1.0), -4.4: (0.4, 0.85), -5.5: (0.5, 0.9)}
"""degC on the screen at bloom -> share of a district's crop lost: about 15 events, mostly press (derived)."""
STRUCK = 0.2
"""Share of flowers killed from which a year counts as struck by frost."""
AT_BLOOM = ("post_bloom", "full_bloom", "first_bloom")
"""Stages of the flowers of a block in full bloom, in thirds."""


def place(demo: Path, which: Mapping[str, object]) -> Plan:
    """The demo's planting in another place."""
    raw = tomllib.loads(demo.read_text(encoding="utf-8"))
    raw["site"] |= {key.removeprefix("site."): value for key, value in which.items() if key.startswith("site.")}
    raw["weather"] = {key.removeprefix("weather."): value for key, value in which.items() if key.startswith("weather.")}
    return orchardsim.load_plan(raw, base=demo.parent)


def at_leaf(found: xr.Dataset, label: str, leaf: int) -> int:
    """Year of the run in which a label stands in a leaf."""
    return int(np.flatnonzero(found["leaf"].sel(block=label).values == leaf)[0])


def mature(found: xr.Dataset, name: str, label: str) -> Array:
    """A result of a label in its mature years, (trial, year)."""
    values: Array = found[name].sel(block=label).values[:, at_leaf(found, label, MATURE) :]
    return values


def residual(found: xr.Dataset, label: str) -> float:
    """Coefficient of variation of fruit mass that the crop load of the year and the future's own level leave."""
    mass = mature(found, "fruit_mass_mean", label)
    load = mature(found, "crop_load_mean", label)
    good = np.isfinite(mass).all(axis=1) & (load > 0.5).all(axis=1)
    y, x = np.log(mass[good]), np.log(load[good])
    y, x = (one - one.mean(axis=1, keepdims=True) for one in (y, x))
    slope = (x * y).sum() / (x * x).sum()
    return float((y - slope * x).std() * np.sqrt(y.shape[1] / (y.shape[1] - 1)))


def lag_one(crop: Array) -> float:
    """Mean over futures of the correlation of a crop with that of the year before."""
    away = crop - crop.mean(axis=1, keepdims=True)
    own = (away**2).mean(axis=1)
    good = own > 0
    return float(((away[:, 1:] * away[:, :-1]).mean(axis=1)[good] / own[good]).mean())


def of_normal(crop: Array) -> Array:
    """Crop over the future's own normal, its mean: what an insurer's ten-year mean comes to."""
    mean = crop.mean(axis=1, keepdims=True)
    return crop[mean[:, 0] > 0] / mean[mean[:, 0] > 0]


def fresh_crop(found: xr.Dataset, label: str) -> Array:
    """Fruit of a block's mature years that is sold fresh, what the store spoils left out, (trial, year) [kg]."""
    packed = found["packed_mass"].sel(block=label, grade=["extra_fancy", "fancy"]).sum("grade")
    packed = packed.values[:, at_leaf(found, label, MATURE) :]
    return np.asarray(packed - mature(found, "storage_loss", label) - mature(found, "storage_surplus", label))


def fresh_share(found: xr.Dataset, label: str) -> Array:
    """Share of a block's mature crops that is sold fresh, (trial, year) of the trials that pick in all years."""
    crop = mature(found, "harvested_mass", label)
    bears = (crop > 0).all(axis=1)
    return np.asarray(fresh_crop(found, label)[bears] / crop[bears])


def year_spread(found: xr.Dataset, label: str) -> float:
    """Coefficient of variation of a block's mature crops between years, median over futures."""
    share = of_normal(mature(found, "harvested_mass", label))
    return float(np.median(share.std(axis=1, ddof=1)))


def year_lines(found: xr.Dataset, label: str, where: str) -> list[Line]:
    """Rows on a block's mature years; insurers of fresh fruit count fresh fruit."""
    crop = mature(found, "harvested_mass", label)
    insured = of_normal(fresh_crop(found, label))
    short = float((insured < COVERED).mean())
    shortfall = float(np.maximum(INSURED - insured, 0).mean())
    premium = "Agricorp premium rates with a subsidy share from memory (derived)"
    return [
        ("V5", f"CV of a block's crop between years, {where}; a country's is a lower bound",
         "FAOSTAT 1991-2023, detrended (derived); no more than a frost-prone state's 0.45", 0.08, 0.45,
         year_spread(found, label)),
        ("V7", f"chance of fresh fruit below 75 % of normal, {where}", premium, 0.12, 0.25, short),
        ("V7", f"mean shortfall below 70 % of normal: loss cost, {where}", premium, 0.04, 0.065, shortfall),
        ("lag", f"correlation of a crop with that of the year before, {where}",
         "countries, mostly near 0: FAOSTAT (derived)", -0.25, 0.25, lag_one(crop)),
    ]  # fmt: skip


def frost_years(found: xr.Dataset, label: str, limit: float) -> float:
    """Years in ten with flowers killed whose crop lay below a share of the future's median of the other years."""
    crop = mature(found, "harvested_mass", label)
    struck = mature(found, "frost_kill", label) > STRUCK
    spared = (~struck).any(axis=1)
    usual = np.nanmedian(np.where(struck, np.nan, crop)[spared], axis=1)
    return 10 * float((struck[spared] & (crop[spared] < limit * usual[:, None])).mean())


def frost_lines(shore: xr.Dataset, hollow: xr.Dataset, label: str) -> list[Line]:
    """Rows on how often frost takes the crop, in the hollow and at the cool site."""
    source = "Henderson County, North Carolina, Michigan and an Ohio farm (derived, press; lower bounds)"
    less = "less than at a frost-prone site: the record is that of a lake shore (our judgement)"
    return [
        ("V20", "years in ten with a crop reduced by frost below 80 %, hollow", source, 2.0, 4.0,
         frost_years(hollow, label, 0.8)),
        ("V20", "years in ten with half the crop or more lost to frost, hollow", source, 0.7, 2.0,
         frost_years(hollow, label, 0.5)),
        ("V20", "years in ten with nearly all lost to frost, below 15 % left, hollow", source, 0.2, 0.8,
         frost_years(hollow, label, 0.15)),
        ("V20", "years in ten with a crop reduced by frost below 80 %, cool inland site", less, 0.0, 2.0,
         frost_years(shore, label, 0.8)),
    ]  # fmt: skip


def kill_at(screen: float) -> float:
    """Share of flowers killed at full bloom by a clear night whose lowest temperature on the screen is given [degC]."""
    bud = screen - BlockSite().bud_cooling + frost.HEIGHT_WARMING
    stages = [STAGES.index(name) for name in AT_BLOOM]
    return float(np.mean([frost.stage_kill(bud, stage, frost.PLACE_SPREAD) for stage in stages]))


def with_frost(library: SeasonLibrary, year: int, kill: float) -> SeasonLibrary:
    """The same seasons without frost, but for one year with a given kill."""

    def killing(share: float) -> tuple[tuple[SeasonDrivers, ...], ...]:
        return tuple(
            tuple(dataclasses.replace(one, frost_kill=np.full_like(one.frost_kill, share)) for one in block)
            for block in library.drivers
        )

    sample = library.sample
    calm = dataclasses.replace(library, drivers=killing(0.0))
    longer = calm.extended(killing(kill), library.region, sample.seasons.harvest_year)
    return longer.with_season_rows({year: sample.season_rows[:, year] + len(sample.seasons.harvest_year)})


def freeze_lines(plan: Plan, trials: int = 8, years: int = 12) -> list[Line]:
    """Rows on the crop that a frost at bloom leaves to a district, by the lowest temperature on its screens."""
    plan = plan.with_known_futures()
    library = build_library(plan, Streams(1), range(trials), years, "sampled")

    def crop(kill: float) -> Array:
        found = run_trials(plan, range(trials), years, 1, "sampled", with_frost(library, years - 1, kill))
        return np.asarray(found["harvested_mass"][:, -1])

    usual = crop(0.0).sum()

    def lost(screen: float) -> float:
        """Mean over the blocks of a district, whose own nights differ."""
        return float(1 - np.mean([crop(kill_at(screen + offset)).sum() for offset in REGION_OFFSETS]) / usual)

    source = "about 15 freezes of districts, mostly press (derived)"
    return [
        ("V19", f"crop of a district lost at {screen:g} °C at bloom", source, low, high, lost(screen))
        for screen, (low, high) in FREEZES.items()
    ]


def sunburn_lines() -> list[Line]:
    """Rows on sunburn at a hot site: the warm record with hotter days."""
    settings = WeatherSettings(
        latitude=RECORDS["bundled warm"].latitude, record=bundled_record_path("bundled warm"), estimate_missing=True
    )
    seasons = whole_record_windows(settings)
    assert seasons is not None
    hot = dataclasses.replace(seasons, temperature_max=seasons.temperature_max + HOTTER)
    gala = built_in("cultivar", "Gala", Phenology, "catalogue")
    share = season_drivers_for(hot, [(gala, BlockSite())])[0].sunburn_fraction
    source = "Washington 8-12 %, a hot valley 6-30 %: goodfruit.com, hin.com.au (read)"
    return [
        ("V16", f"mean sunburn, warm record with days {HOTTER:g} K hotter", source, 0.08, 0.15, float(share.mean())),
        ("V16", "worst season's sunburn over the mean", source, 2.0, 3.0, float(share.max() / share.mean())),
    ]


def like_blocks_line(demo: Path, trials: int, jobs: int, blocks: int = 8) -> list[Line]:
    """Row on like blocks of one farm: the demo's block several times over, with shorter rows."""
    raw = tomllib.loads(demo.read_text(encoding="utf-8"))
    block = raw["block"][0]
    raw["block"] = [{**block, "name": f"block_{number}", "row_length": "21 m"} for number in range(blocks)]
    plan = orchardsim.load_plan(raw, base=demo.parent)
    run = orchardsim.simulate(plan, trials=trials, years=14, jobs=jobs)
    group = plan.labels[0].split("/")[1]
    labels = [f"block_{number}/{group}" for number in range(blocks)]
    crop = np.stack([mature(run, "harvested_mass", label).mean(axis=1) for label in labels], axis=1)
    ratio = float(np.median(crop.max(axis=1) / crop.min(axis=1)))
    return [("V4", "crop of the best over that of the worst of eight like blocks",
             "goodfruit.com/close-calculations-in-new-zealand (read)", 1.5, 2.0, ratio)]  # fmt: skip


def crop_lines(demo: Path, trials: int, jobs: int) -> list[Line]:
    """Every row on crops between full and none, by the planting of the demo in two places."""
    plan, warm, hollow = (place(demo, which) for which in (COOL, WARM, HOLLOW))
    north, south, low = (orchardsim.simulate(one, trials=trials, years=20, jobs=jobs) for one in (plan, warm, hollow))
    label = plan.labels[0]
    source = "11 of 14 orchards within 10 %, two about 20 % off: ASABE paper 29974 (read)"
    return [
        *like_blocks_line(demo, max(trials // 4, 8), jobs),
        *year_lines(north, label, "cool inland site"),
        *year_lines(south, warm.labels[0], "warm site"),
        ("V9", "CV of a block's fruit mass that counting the fruit does not foretell", source, 0.08, 0.12,
         residual(north, label)),
        ("V15", "SD of a block's pack-out between years, warm site", "memory", 0.08, 0.15,
         float(np.median(fresh_share(south, warm.labels[0]).std(axis=1)))),
        *sunburn_lines(),
        *freeze_lines(plan),
        *frost_lines(north, low, label),
        *year_lines(low, label, "hollow"),
        ("V6", "CV of a block's crop between years, hollow",
         "Michigan 2000-2022, pieced from press (derived, rough)", 0.25, 0.45, year_spread(low, label)),
    ]  # fmt: skip
