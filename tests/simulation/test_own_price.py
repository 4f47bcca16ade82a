"""The farm's own crop and the price it meets: linked through the region's seasons, and only loosely."""

from __future__ import annotations

import numpy as np

from orchardsim import simulate
from orchardsim.core.streams import Streams
from orchardsim.economy.parameters import OUTLETS
from orchardsim.economy.prices import draw_prices
from orchardsim.simulation.seasons import build_library
from tests.simulation.small_plan import small_plan

TRIALS, YEARS, BEARING = 150, 12, 7


def test_own_crop_and_price_are_weakly_and_negatively_linked_by_default() -> None:
    """What the price process is meant to give by default: a correlation between -0.2 and 0 (a target from memory).

    Trial by trial within each bearing year, averaged over five years: 150 trials give each a standard error of
    1/sqrt(150) = 0.08, the mean of five some 0.04 (seasons are independent from year to year, prices are not). The
    target is widened by two such errors; the region's crop, of which the farm is no part, must move with its own.
    """
    plan = small_plan()
    run = simulate(plan, trials=TRIALS, years=YEARS, seed=11)
    streams = Streams(11)
    library = build_library(plan, streams, range(TRIALS), YEARS, "sampled")
    region = library.region[library.sample.season_rows[:, :YEARS]]
    names = [money.cultivar for money in plan.money]
    crop = run["harvested_mass"].sel(block=plan.labels[0]).values

    def linked(other: np.ndarray) -> float:
        years = range(BEARING, YEARS)
        return float(np.mean([np.corrcoef(crop[:, year], other[:, year])[0, 1] for year in years]))

    def linked_with_price(region_met: np.ndarray) -> float:
        paths = draw_prices(streams, range(TRIALS), plan.market, region_met, names)
        return linked(paths.price[:, :, paths.cultivars.index(names[0]), OUTLETS.index("wholesale"), 0])

    own = linked_with_price(region)
    assert -0.2 - 0.08 < own < 0.08
    assert 0.2 < linked(region) < 0.95
    # The link itself: the same price draws with the region's crops of other trials. Without a link the true order is
    # one of a hundred alike, so that it is the lowest by chance once in a hundred; where the market heeds no crop, all
    # are equal.
    assert own < min(linked_with_price(np.roll(region, shift, axis=0)) for shift in range(1, 100))
