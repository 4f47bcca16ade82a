"""An invented run for the tests of results and report: no model, no farm, every number made up.

The arrays only have the shape and the rough size of a run, so that tables, pages and pictures can be looked at.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from orchardsim.core.labels import BOX_COUNTS, CAUSES, GRADES, OUTLETS, TASKS
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.variables import RESULTS
from orchardsim.results import build_dataset

ATTRS: dict[str, Any] = {
    "title": "Invented farm: two blocks on wires",
    "plan_name": "invented",
    "display_units": "us",
    "currency": "USD",
    "price_year": 2024,
    "real_or_nominal": "real",
    "seed": 5,
    "trials": 200,
    "version": "0.0.0",
    "plan_hash": "0123456789abcdef",
    "weather_method": "years_independent",
    "weather_words": "whole years of the record, drawn independently",
    "baseline_years": (1991, 2020),
    "notes": ["the record has no rain; monthly normals of the plan serve instead"],
    "plan": {
        "stated": [],
        "assumed": [
            {
                "key": "replacement.share", "value": 0.03, "unit": "1", "status": "assumption",
                "source": "assumption: invented for the tests", "meaning": "spare trees held",
            },
            {
                "key": "market.price", "value": 0.62, "unit": "USD/kg", "status": "common practice",
                "source": "common practice, no source", "meaning": "price of extra fancy fruit",
            },
        ],
        "resolved": {},
    },
    "frost_years": [
        {
            "period": period, "years": years, "springs": springs, "block": "home", "cultivar": "Gala",
            "springs_that_killed_more_than_percent": {"30": some, "90": most},
        }
        for period, years, springs, some, most in (
            ("baseline", [1991, 2020], 30, 9, 4), ("whole_record", [1931, 2020], 86, 31, 15),
        )
    ],
    "bin_mass": 396.89,
    "box_mass": 19.05,
    "latitude": 42.0,
    "discount_rate": 0.05,
    "family_paid": True,
}  # fmt: skip


def invented_arrays(
    trials: int = 200, years: int = 20, planting_years: tuple[int, ...] = (0, 2), seed: int = 1, price: float = 0.62
) -> tuple[dict[str, np.ndarray], dict[str, Any]]:
    """Arrays and coords of an invented run with one block for each planting year (negative = old block)."""
    rng = np.random.default_rng(seed)
    blocks = len(planting_years)
    shape = (trials, years, blocks)
    area = np.array([8000.0, 20000.0, 12000.0][:blocks])
    planted_number = np.round(area / 3.5)
    leaf = np.arange(years)[:, None] - np.array(planting_years)[None, :] + 1

    season = rng.integers(1991, 2021, (trials, years))
    kill_of_year = rng.beta(0.35, 1.6, 30)
    kill = np.repeat(kill_of_year[season - 1991][:, :, None], blocks, 2)
    bloom = np.repeat((198 + 9 * rng.standard_normal(30))[season - 1991][:, :, None], blocks, 2)

    planted = np.where(leaf == 1, planted_number, 0.0) * np.ones(shape)
    lost = np.zeros((*shape, len(CAUSES)))
    replanted, ordered, spares, alive = (np.zeros(shape) for _ in range(4))
    for block in range(blocks):
        living = np.where(leaf[0, block] > 1, planted_number[block], 0.0) * np.ones(trials)
        gaps = np.zeros(trials)
        for year in range(years):
            living += planted[:, year, block]
            young = leaf[year, block] <= 6
            shares = np.array(
                [0.012 * (leaf[year, block] == 1), 0.006 * young, 0.0005, 0.002] + [0.0005] * (len(CAUSES) - 4)
            )
            bad = rng.gamma(0.7, 1 / 0.7, (trials, len(CAUSES)))
            deaths = rng.poisson(living[:, None] * shares * bad)
            deaths = np.minimum(deaths, np.floor(living[:, None] / len(CAUSES)))
            lost[:, year, block] = deaths
            living -= deaths.sum(1)
            ordered[:, year, block] = deaths.sum(1)
            spares[:, year, block] = np.round(0.02 * planted_number[block]) * (leaf[year, block] >= 1)
            filled = np.minimum(gaps, living)
            replanted[:, year, block] = filled
            living += filled
            gaps = deaths.sum(1).astype(float)
            alive[:, year, block] = living

    full = 55_000 / (1 + np.exp(-(leaf - 5.5) / 1.1)) * (leaf >= 2)
    spared = np.clip((1 - kill) * 3, 0, 1)
    crop = full * spared * np.exp(0.12 * rng.standard_normal(shape)) * area / 1e4
    harvested = crop * 0.96
    packed = harvested[..., None] * np.array([0.5, 0.25, 0.12, 0.06])[: len(GRADES)]
    fruit_mass = 170 + 15 * rng.standard_normal(shape)
    hours = np.abs(rng.normal(50, 5, (*shape, len(TASKS)))) * (leaf >= 1)[None, :, :, None]

    ledger = np.zeros((trials, years, blocks + 1, len(ITEM)))
    ledger[:, :, :blocks, ITEM["trees"]] = -9.0 * planted
    ledger[:, :, :blocks, ITEM["support"]] = -1.2 * area * (leaf == 1)
    ledger[:, :, :blocks, ITEM["planting"]] = -1.5 * planted
    ledger[:, :, :blocks, ITEM["upkeep"]] = -0.45 * area * (leaf >= 1)
    ledger[:, :, :blocks, ITEM["picking"]] = -0.08 * harvested
    market = price * np.exp(0.18 * rng.standard_normal((trials, years)))
    ledger[:, :, :blocks, ITEM["fresh_sales"]] = packed[..., 0] * market[..., None]
    ledger[:, :, blocks, ITEM["overhead"]] = -4000.0
    flow = ledger.sum(-1)
    farm = flow.sum(2)
    summed = farm.cumsum(1)
    low = summed - 0.25 * np.abs(ledger).sum((2, 3)) * 0.3
    rate = 1.05 ** -np.arange(years)
    below = summed < 0
    last_below = np.where(below.any(1), years - 1 - below[:, ::-1].argmax(1), -1)
    payback = np.where(last_below == years - 1, np.inf, last_below + 1.0)
    npv = (farm * rate).sum(1)

    sold = np.zeros((trials, years, len(OUTLETS), len(GRADES)))
    sold[:, :, OUTLETS.index("wholesale"), 0] = packed[..., 0].sum(axis=2)

    arrays = {
        "harvest_year": season,
        "leaf": leaf,
        "trees_planted": planted,
        "trees_alive": alive,
        "trees_lost": lost,
        "trees_replanted": replanted,
        "trees_ordered": ordered,
        "spares_on_hand": spares,
        "trunk_area_mean": np.clip(2.5 * leaf, 0.5, 60) * np.ones(shape),
        "canopy_height_mean": np.clip(0.8 * leaf, 0.5, 3.3) * np.ones(shape),
        "light_interception": np.clip(0.08 * leaf, 0, 0.6) * np.ones(shape),
        "bloom_day": bloom,
        "frost_kill": kill,
        "crop_load_mean": 5 * spared,
        "flower_clusters": crop * 4,
        "fruit_number": crop / 0.17,
        "fruit_mass_mean": fruit_mass,
        "crop_mass": crop,
        "harvested_mass": harvested,
        "packed_mass": packed,
        "boxed_mass": packed[..., :2].sum(-1)[..., None] * np.full(len(BOX_COUNTS), 1 / len(BOX_COUNTS)),
        "biennial_index": np.full((trials, blocks), 0.2),
        "labour_hours": hours,
        "pass_price": np.ones(shape),
        "size_price": np.ones(shape),
        "irrigation_depth": np.full(shape, 180.0),
        "ledger": ledger,
        "net_cash_flow": flow,
        "account_balance": np.stack([low + step for step in (9_000.0, 4_000.0, 0.0, 6_000.0)], axis=-1),
        "planted_area": area,
        "gross_area": area * 1.12,
        "npv": npv + 20_000,
        "npv_by_block": (flow * rate[:, None]).sum(axis=1) + 20_000 * (np.arange(flow.shape[2]) == blocks),
        "npv_without_remaining_value": npv,
        "irr": np.where(summed[:, -1] > 0, 0.02 + 2e-7 * summed[:, -1], -np.inf),
        "payback_year": payback,
        "peak_borrowing": np.maximum(-low.min(1), 0),
        "peak_borrowing_year": low.argmin(1),
        "peak_borrowing_quarter": np.full(trials, 2),
        "discounted_payback_year": np.where(np.isfinite(payback), np.minimum(payback + 1, years - 1), np.inf),
        "equivalent_annual_annuity": 0.08 * npv,
        "irr_without_remaining_value": np.where(summed[:, -1] > 0, 2e-7 * summed[:, -1], -np.inf),
        "irr_roots": np.ones(trials),
        "establishment_cost": np.full(trials, 250_000.0),
        "sold_mass": sold,
        "sold_revenue": sold * price,
        "price_luck": market / price if price > 0 else np.ones((trials, years)),
        "family_hours": np.full((trials, years), 120.0),
        "family_labour_value": np.full((trials, years), 2400.0),
        "negative_years": (farm < 0).sum(1),
        "debt_service_cover": np.where(low < 0, farm / np.maximum(-0.06 * low, 1.0), np.nan),
        "household_draw_bearable": np.maximum(summed[:, -1], 0.0) / years,
        "break_even_price": 0.3 + 0.02 * rng.standard_normal(trials),
    }
    sizes = {"trial": trials, "year": years, "block": blocks, "task": len(TASKS)}
    return nothing_else(arrays, sizes), {"block": ["home", "north", "creek"][:blocks]}


def nothing_else(arrays: dict[str, np.ndarray], sizes: dict[str, int]) -> dict[str, np.ndarray]:
    """The arrays, with zeros for all other variables that every run has."""
    zeros = {
        name: np.zeros([sizes[dim] for dim in row.dims])
        for name, row in RESULTS.items()
        if name not in arrays and "tree" not in row.dims and row.writer != "futures"
    }
    return arrays | zeros


def invented_dataset(attrs: dict[str, Any] | None = None, **arguments: Any):  # type: ignore[no-untyped-def]
    """Dataset of an invented run."""
    arrays, coords = invented_arrays(**arguments)
    trials = len(arrays["npv"])
    return build_dataset(arrays, coords, {**ATTRS, "trials": trials, **(attrs or {})})
