"""The seasons that trials meet, and what each does to every row group of the plan."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import SeasonDrivers, SeasonWeather, Seen, WeatherSample, seen_by_groups
from orchardsim.core.streams import Streams
from orchardsim.plan import Plan
from orchardsim.plan.catalogue import built_in
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.frost import crop_after_frost
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.simulation.standing import SEED, Standing, standing_levels
from orchardsim.weather.place import check_rain
from orchardsim.weather.sampling import sample_weather

Array = NDArray[np.float64]
REGION_CULTIVAR = "Gala"
"""Cultivar whose frosts stand for the region's crop, so that prices do not hang on what a plan grows (assumption)."""
OWN_SEASONS = 30
"""Seasons on which levels of standing blocks are found where no record gives them (assumption: a climate's normals)."""
REGION_OFFSETS = (-1.5, 0.0, 1.5)
"""K; nights of a region's blocks about the station's own: a spread of sites (assumption)."""


@dataclass(frozen=True)
class SeasonLibrary:
    """Distinct seasons, their drivers by block and row group, and which season each trial meets.

    Attributes
    ----------
    sample : WeatherSample
        ``season_rows`` covers the trials ``first_trial, first_trial + 1, ...``.
    drivers : tuple by block of tuple by row group of SeasonDrivers
    region : array, (season,) [1]
        Crop of the region in a season relative to its mean, as far as frost decides it.
    region_usual : float [1]
        That mean: share of a full crop, over the site's own past.
    past : mapping from year of the plan, below 0, to season
        Those whose calendar year is known and in the record.
    standing : mapping from block to Standing
        Own levels of the blocks that stand with a stated trunk.
    """

    sample: WeatherSample
    first_trial: int
    drivers: tuple[tuple[SeasonDrivers, ...], ...]
    region: Array
    region_usual: float = 1.0
    past: Mapping[int, int] = field(default_factory=dict)
    standing: Mapping[int, Standing] = field(default_factory=dict)

    def met(self, trials: range, years: int) -> NDArray[np.int64]:
        """Season that each trial meets in the years from 0 on, (trial, year)."""
        rows = slice(trials.start - self.first_trial, trials.stop - self.first_trial)
        return self.sample.season_rows[rows, :years]

    def season_rows(self, trials: range, year: int) -> NDArray[np.int64]:
        """Season that each trial meets in a year; before year 0 its own, or the record's, ending with its last."""
        if year >= 0:
            return self.met(trials, year + 1)[:, year]
        if year in self.past:
            return np.full(len(trials), self.past[year])
        own = self.sample.history
        order = own if own.size else np.argsort(self.sample.seasons.harvest_year, kind="stable")
        return np.full(len(trials), order[year % len(order)])

    def seen(self, kind: type[Seen], block: int, season_rows: NDArray[np.int64]) -> Seen:
        """The drivers that a struct names, over (trial, group, ...) of a block."""
        return seen_by_groups(kind, self.drivers[block], season_rows)

    def of(self, block: int, name: str, season_rows: NDArray[np.int64]) -> Array:
        """One driver of a block's row groups, (trial, group, ...)."""
        return np.stack([getattr(drivers, name)[season_rows] for drivers in self.drivers[block]], axis=1)

    def extended(
        self, drivers: Sequence[Sequence[SeasonDrivers]], region: Array, harvest_year: NDArray[np.int64]
    ) -> SeasonLibrary:
        """The same library with more seasons behind its own, that no trial meets yet.

        Parameters
        ----------
        drivers : by block, by row group
        region : array, (new season,) [1]
        harvest_year : int array, (new season,)
        """
        seasons = self.sample.seasons
        years = np.concatenate([seasons.harvest_year, harvest_year])
        sample = dataclasses.replace(self.sample, seasons=dataclasses.replace(seasons, harvest_year=years))
        longer = tuple(
            tuple(SeasonDrivers.joined(parts) for parts in zip(*pair, strict=True))
            for pair in zip(self.drivers, drivers, strict=True)
        )
        return dataclasses.replace(self, sample=sample, drivers=longer, region=np.concatenate([self.region, region]))

    def with_season_rows(self, rows: Mapping[int, NDArray[np.int64]]) -> SeasonLibrary:
        """The same library with other seasons in some years: year -> season of each trial."""
        season_rows = self.sample.season_rows.copy()
        for year, row in rows.items():
            season_rows[:, year] = row
        return dataclasses.replace(self, sample=dataclasses.replace(self.sample, season_rows=season_rows))


def build_library(plan: Plan, streams: Streams, trials: range, years: int, seasons: str) -> SeasonLibrary:
    """Draw the seasons of a range of trials and work out what each does to the plan's blocks.

    ``seasons``, {"sampled", "record"}.

    Raises
    ------
    InputError
        Where nothing tells of rain and a block is not irrigated.
    """
    check_rain(plan.weather, tuple(block.name for block in plan.blocks if not block.site.irrigated), plan.where)
    sample = sample_weather(plan.weather, streams, trials, years, sequence=seasons)  # type: ignore[arg-type]
    drivers, crop = drivers_of(plan, sample.seasons)
    usual = float(crop[sample.history].mean() if sample.history.size else crop.mean())
    region, past = relative_region(crop, usual), _past(plan, sample)
    return SeasonLibrary(sample, trials.start, drivers, region, usual, past, _standing(plan, sample, drivers))


def _standing(plan: Plan, sample: WeatherSample, drivers: Sequence[Sequence[SeasonDrivers]]) -> dict[int, Standing]:
    """Own levels of the blocks that stand with a stated trunk, found on seasons that do not hang on the trials."""
    chosen = [number for number, block in enumerate(plan.blocks) if block.plan.trunk_area_at_start is not None]
    seasons = sample.history
    if chosen and not seasons.size:
        made = sample_weather(plan.weather, Streams(SEED), range(1), OWN_SEASONS, sequence="sampled")
        drivers, seasons = drivers_of(plan, made.seasons)[0], made.season_rows[0]
    return {number: standing_levels(plan, plan.blocks[number], drivers[number], seasons) for number in chosen}


def _past(plan: Plan, sample: WeatherSample) -> dict[int, int]:
    """Season of each year before year 0 that lies in the record's part in use."""
    if plan.calendar_year is None or plan.weather.record is None:
        return {}
    years = (int(sample.seasons.harvest_year[row]) - plan.calendar_year for row in sample.history)
    return {year: int(row) for year, row in zip(years, sample.history, strict=True) if year < 0}


def drivers_of(
    plan: Plan, seasons: SeasonWeather, sites: Sequence[BlockSite] | None = None
) -> tuple[tuple[tuple[SeasonDrivers, ...], ...], Array]:
    """What seasons do to every row group, and the share of a full crop that frost leaves to the region.

    ``sites``, optional: in place of the blocks' own.

    Returns
    -------
    drivers : tuple by block of tuple by row group of SeasonDrivers
    crop : array, (season,) [1]
    """
    places = [block.site for block in plan.blocks] if sites is None else sites
    cases = [(group.phenology, site) for block, site in zip(plan.blocks, places, strict=True) for group in block.groups]
    typical = built_in("cultivar", REGION_CULTIVAR, Phenology, "catalogue")
    region_cases = [(typical, BlockSite(night_offset=offset)) for offset in REGION_OFFSETS]
    of_cases = iter(season_drivers_for(seasons, cases + region_cases))
    drivers = tuple(tuple(next(of_cases) for _ in block.groups) for block in plan.blocks)
    return drivers, np.mean([crop_after_frost(place.frost_kill_unprotected) for place in of_cases], axis=0)


def relative_region(crop: Array, usual: float) -> Array:
    """Crop of the region relative to its mean; 1 where it never bears."""
    return crop / usual if usual > 0 else np.ones_like(crop)
