"""Bloom of the catalogue's cultivars on the bundled record: a guard against slips in the catalogue, not a truth."""

from __future__ import annotations

import numpy as np

from orchardsim.core.streams import Streams
from orchardsim.plan.catalogue import built_in, entries
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.sampling import sample_weather


def test_neighbours_in_the_order_of_bloom_stand_close():
    """Cultivars next to each other in the order of bloom open within about a week (common practice, no source).

    Allowed are ten days, over the thirty years of the default baseline; a slip of a digit in a chill or heat need
    opens a wider gap. A low-chill cultivar stands apart: where winters are mild it opens before all others.
    """
    settings = WeatherSettings(latitude=34.68, elevation=250.0, record=bundled_record_path())
    seasons = sample_weather(settings, Streams(0), range(1), 30, sequence="record").seasons
    cultivars = [built_in("cultivar", name, Phenology, "test") for name in entries("cultivar")]
    found = season_drivers_for(seasons, [(one, BlockSite()) for one in cultivars])
    bloom = dict(zip(entries("cultivar"), (one.bloom_day for one in found), strict=True))
    early = bloom.pop("Anna").mean()
    mean = np.sort([days.mean() for days in bloom.values()])
    assert early < mean[0]
    assert len(mean) >= 15 and np.diff(mean).max() <= 10
    # The demo's two cultivars and the crab apples for their pollen open within a week of each other on average.
    assert abs((bloom["Gala"] - bloom["Honeycrisp"]).mean()) <= 7
    for name in ("Gala", "Honeycrisp"):
        assert abs((bloom["crab"] - bloom[name]).mean()) <= 7
