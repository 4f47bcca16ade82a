"""A unit of work: a range of trials simulated from weather to money. Units are what processes share out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import FarmQuantities
from orchardsim.core.streams import Streams
from orchardsim.economy import cash_flows, draw_cost_levels, draw_prices, indicators
from orchardsim.plan import Plan
from orchardsim.simulation import books
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals

Array = NDArray[np.float64]
TILE_POSITIONS: Final = 16_000
"""Planting positions of a tile: some fifty float32 arrays of this size stay in a core's cache."""
UNIT_TRIALS: Final = 25
"""Trials of a unit of work; results do not depend on it."""
NOT_OF_A_FARM: Final = (
    "light_interception", "frost_kill", "hail_fraction", "irrigation_depth", "bloom_day", "protection_nights",
    "protection_water",
)  # fmt: skip
"""Variables that neither add up over blocks nor have a mean that says anything."""
REMOVED: Final = -999
"""Leaf number of a block that has been grubbed out."""


def tile_size(plan: Plan) -> int:
    """Trials walked together."""
    positions = sum(block.plan.layout.positions for block in plan.blocks)
    return int(np.clip(TILE_POSITIONS // max(positions, 1), 1, UNIT_TRIALS))


def block_leaf(plan: Plan, years: int) -> NDArray[np.int64]:
    """Growing season of each label's first planting by year, (year, label)."""
    columns = []
    for block in plan.blocks:
        leaf = np.arange(years) - block.year_planted + 1
        if block.plan.year_removed is not None:
            leaf[np.arange(years) > block.plan.year_removed] = REMOVED
        columns += [leaf] * len(block.labels)
    return np.stack(columns, axis=1)


def run_unit(
    plan: Plan,
    trials: range,
    years: int,
    seed: int,
    seasons: str,
    library: SeasonLibrary | None = None,
    single_trees: tuple[int, ...] = (),
    process_seeds: Mapping[str, int] | None = None,
) -> dict[str, NDArray[Any]]:
    """Simulate a range of trials.

    Parameters
    ----------
    library : SeasonLibrary, optional
        Seasons that cover these trials; worked out here where it is None.
    single_trees : tuple of int
        Trials whose single trees are kept.
    process_seeds : mapping, optional
        See :class:`orchardsim.core.streams.Streams`.

    Returns
    -------
    dict
        Result variable -> array with ``len(trials)`` rows; single trees as "trial/block/name".

    Raises
    ------
    IdentityError
        If a book does not balance.
    """
    streams = Streams(seed, process_seeds or {})
    if library is None:
        library = build_library(plan, streams, trials, years, seasons)
    totals = Totals(len(trials), years, plan.labels)
    kept: dict[tuple[int, int], dict[str, list[NDArray[np.float32]]]] = {}
    step = tile_size(plan)
    for start in range(trials.start, trials.stop, step):
        tile = range(start, min(start + step, trials.stop))
        wanted = kept if set(single_trees) & set(tile) else None
        Tile(plan, library, streams, tile, years, totals, trials.start, wanted).run()
    totals.check_bounds()
    rows = slice(trials.start - library.first_trial, trials.stop - library.first_trial)
    pick = library.sample.pick[rows, :years]
    arrays: dict[str, NDArray[Any]] = _with_farm(totals)
    farm = np.full((len(trials), 1), np.nan)
    arrays["biennial_index"] = np.concatenate([totals.biennial_index, farm], axis=1)
    arrays["harvest_year"] = library.sample.seasons.harvest_year[pick]
    arrays |= _money(plan, totals, trials, streams, library.region[pick])
    for (trial, number), values in kept.items():
        if trial in single_trees:
            for name, by_year in values.items():
                arrays[f"{trial}/{number}/{name}"] = np.stack(by_year)
    return arrays


def _with_farm(totals: Totals) -> dict[str, NDArray[Any]]:
    """Add the whole farm as the last label: sums of counts, masses and hours; means over trees elsewhere."""
    alive = totals.arrays["trees_alive"]
    weight = alive / np.maximum(alive.sum(axis=2, keepdims=True), 1)
    arrays: dict[str, NDArray[Any]] = {}
    number = totals.arrays["fruit_number"].sum(axis=2)
    for name, values in totals.arrays.items():
        if name == "fruit_mass_mean":
            with np.errstate(invalid="ignore", divide="ignore"):
                mass = 1000 * totals.arrays["crop_mass"].sum(axis=2) / number
            farm = np.where(number > 0.5, mass, np.nan)
        elif name in ("trunk_area_mean", "canopy_height_mean", "crop_load_mean"):
            some = alive.sum(axis=2) > 0
            farm = np.where(some, (np.nan_to_num(values) * weight).sum(axis=2), np.nan)
        elif name in NOT_OF_A_FARM:
            farm = np.full(values.shape[:2], np.nan)
        else:
            farm = values.sum(axis=2)
        arrays[name] = np.concatenate([values, farm[:, :, None]], axis=2)
    return arrays


def farm_quantities(plan: Plan, totals: Totals, region: Array) -> FarmQuantities:
    """All physical quantities that money follows from.

    Parameters
    ----------
    plan : Plan
    totals : Totals
    region : array, (trial, year) [1]
        Crop of the region relative to its mean.
    """
    found = totals.arrays
    return FarmQuantities(
        leaf=block_leaf(plan, found["trees_alive"].shape[1]),
        trees_planted=found["trees_planted"],
        trees_replanted=found["trees_replanted"],
        trees_ordered=found["trees_ordered"],
        trees_alive=found["trees_alive"],
        trees_removed=found["trees_removed"],
        spares_bought=totals.bought,
        spares_on_hand=found["spares_on_hand"],
        harvested_mass=found["harvested_mass"],
        packed_mass=found["packed_mass"],
        labour_hours=found["labour_hours"],
        irrigation_depth=found["irrigation_depth"],
        protection_hours=found["protection_hours"],
        protection_fuel=found["protection_fuel"],
        regional_crop=region,
        planted_area=np.array([money.geometry.planted_area for money in plan.money]),
        gross_area=np.array([money.geometry.gross_area for money in plan.money]),
    )


def _money(plan: Plan, totals: Totals, trials: range, streams: Streams, region: Array) -> dict[str, NDArray[Any]]:
    """Ledger and indicators of the unit's trials."""
    quantities = farm_quantities(plan, totals, region)
    cultivars = [money.cultivar for money in plan.money]
    prices = draw_prices(streams, trials, plan.market, region, cultivars)
    levels = draw_cost_levels(streams, trials, plan.costs)
    ledger = cash_flows(quantities, plan.money, plan.costs, plan.market, plan.finance, prices, levels)
    yearly, net = ledger.yearly(), ledger.net_cash_flow()
    books.check_ledger(yearly, net)
    measures = indicators(ledger, plan.finance)
    names = (
        "npv",
        "npv_without_remaining_value",
        "irr",
        "payback_year",
        "peak_borrowing",
        "peak_borrowing_year",
        "cash_balance_min",
    )
    return {"ledger": yearly, "net_cash_flow": net, **{name: getattr(measures, name) for name in names}}
