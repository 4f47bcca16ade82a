"""Numbers of the one-page sheet that the headline does not hold: land, bill, cash through the years, worst things."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.ledger_items import LEDGER_ITEMS
from orchardsim.results.bad_years import worst_things
from orchardsim.results.block_results import undone_work
from orchardsim.results.dataset import attribute, resolved
from orchardsim.results.doubts import OpenLevelsOfRun
from orchardsim.results.farm import farm_mean, of_farm, parts_of_farm
from orchardsim.results.notices import alternating, unpicked_share
from orchardsim.results.published import beside_published
from orchardsim.results.statistics import PERCENT_POINTS
from orchardsim.results.written import number

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

BILL_YEARS: Final = 6
"""Years of the bill on the sheet: to the first full crops of a close planting."""


def sheet_numbers(dataset: xarray.Dataset) -> dict[str, Any]:
    """Content of ``sheet`` in ``summary.json``.

    Returns
    -------
    dict
        ``land`` (blocks as laid out, metres), ``bill_by_year`` (mean money paid by group of ledger items),
        ``cash_summed_by_year`` (percent points over trials), ``paid_back_by_year`` (share of trials), ``worst`` (what
        can happen in a year, how bad and how often, and what it costs, with its error), ``published`` (the middle
        beside published budgets; null where they say nothing of such a plan), ``npv_of_parts`` (percent points of
        NPV of the new planting and of the standing blocks, where there are both), ``undone`` (share of each task's
        hours that crews leave undone), ``unpicked`` (share of the fruit grown that hangs for want of pickers),
        ``alternating`` (index of biennial bearing of labels that bear by turns).
    """
    years = [int(year) for year in dataset["year"].values]
    payback = dataset["payback_year"].values
    return {
        "land": _land(dataset),
        "bill_by_year": _bill(dataset, years),
        "cash_summed_by_year": cash_summed(dataset, OpenLevelsOfRun.of(dataset)),
        "paid_back_by_year": {str(year): number(float((payback <= year).mean())) for year in years},
        "worst": worst_things(dataset),
        "published": _published(dataset),
        "npv_of_parts": _npv_of_parts(dataset),
        "undone": {task: number(share) for task, share in undone_work(dataset).shares.items()},
        "unpicked": number(unpicked_share(dataset)),
        "alternating": {label: number(index) for label, index in alternating(dataset).items()},
        "rests_on": _rests_on(dataset),
        "learned": list(dict.fromkeys(level for level, _ in attribute(dataset, "learned") or [])),
    }


def _published(dataset: xarray.Dataset) -> dict[str, Any] | None:
    beside = beside_published(dataset)
    words = {"rate": "none", "payback": "never"}
    if beside is None:
        return None
    return {name: number(value, words.get(name, "infinite")) for name, value in asdict(beside).items()}


def _npv_of_parts(dataset: xarray.Dataset) -> dict[str, dict[str, Any]]:
    parts = parts_of_farm(dataset)
    values = {name: dataset["npv_by_block"].sel(block=labels).sum("block").values for name, labels in parts.items()}
    return {
        name: {f"p{point}": number(float(np.quantile(one, point / 100))) for point in PERCENT_POINTS}
        for name, one in values.items()
    }


def cash_summed(dataset: xarray.Dataset, levels: OpenLevelsOfRun | None) -> dict[str, Any]:
    """Cash summed since year 0, percent points over trials by year; with levels also those by luck alone."""
    summed = of_farm(dataset, "net_cash_flow").values.astype(np.float64).cumsum(axis=1)
    known = None if levels is None else levels.at_middles(summed)
    return {
        str(int(year)): {
            f"p{point}": number(float(np.quantile(summed[:, place], point / 100))) for point in PERCENT_POINTS
        }
        | _by_luck(None if known is None else known[:, place])
        for place, year in enumerate(dataset["year"].values)
    }


def _by_luck(known: Array | None) -> dict[str, Any]:
    """Percent points by luck alone; nothing where luck and not knowing cannot be told apart."""
    if known is None:
        return {}
    points = {f"p{share}": number(float(np.quantile(known, share / 100))) for share in (5, 50, 95)}
    return {"were_the_levels_known": points}


def _land(dataset: xarray.Dataset) -> list[dict[str, Any]]:
    blocks = resolved(dataset).get("blocks", [])
    return [
        {
            "name": block["name"],
            "year_planted": block["plan"]["year_planted"],
            "rows": block["plan"]["layout"]["rows"],
            "trees_per_row": block["plan"]["layout"]["trees_per_row"],
            "row_spacing_m": number(block["plan"]["layout"]["row_spacing"]),
            "tree_spacing_m": number(block["plan"]["layout"]["tree_spacing"]),
            "headland_m": number(block["plan"]["layout"]["headland"]),
            "pollinizers": [
                {name: one[name] for name in ("cultivar", "every_tree", "every_row")} for one in block["pollinizers"]
            ],
            "groups": [
                {
                    "cultivar": group["cultivar_name"],
                    "rootstock": group["stock_name"],
                    "training": group["training_name"],
                    "rows": group["rows"],
                    "trees": group["trees"],
                }
                for group in block["plan"]["groups"]
            ],
        }
        for block in blocks
    ]


def _rests_on(dataset: xarray.Dataset) -> list[dict[str, Any]]:
    """The few numbers that a plan rests on most, inside units, with their status."""
    plan = resolved(dataset)
    if "market" not in plan or "blocks" not in plan:
        return []
    status = {one["key"]: one["status"] for one in attribute(dataset, "plan")["assumed"]}
    cultivars = list(
        dict.fromkeys(group["cultivar_name"] for block in plan["blocks"] for group in block["plan"]["groups"])
    )
    prices = [
        (f"{name}, best grade, packed", ("market", "fruit", name, "wholesale_extra_fancy"), "money/kg")
        for name in cultivars
        if name in plan["market"]["fruit"]
    ]
    rows = [
        *prices[:3],
        *_packing(plan, cultivars)[:3],
        ("wage of pickers", ("costs", "wage_picking"), "money/hour"),
        ("discount rate", ("finance", "discount_rate"), "1/year"),
    ]
    found = []
    for what, path, unit in rows:
        value: Any = plan
        for name in path:
            value = value[name]
        how = status.get(".".join(path), "stated")
        row = {"what": what, "value": number(float(value)), "unit": unit, "status": how}
        if path[-1] == "wholesale_extra_fancy":
            falls = plan["market"]["fruit"][path[2]]["premium_erosion"]
            row["premium_falls"] = number(falls if value > plan["market"]["commodity_price"] else 0.0)
        found.append(row)
    return found


def _packing(plan: dict[str, Any], cultivars: list[str]) -> list[tuple[str, tuple[str, ...], str]]:
    """Charges of packing and selling: a cultivar's own, and the common one where any has none."""
    own = [name for name in cultivars if isinstance(plan["market"]["fruit"].get(name, {}).get("packing"), float | int)]
    rows: list[tuple[str, tuple[str, ...], str]] = [
        (f"packing and selling, {name}", ("market", "fruit", name, "packing"), "money/kg") for name in own
    ]
    if len(own) < len(cultivars):
        what = "packing and selling, other cultivars" if own else "packing and selling"
        rows.append((what, ("costs", "packing"), "money/kg"))
    return rows


def _bill(dataset: xarray.Dataset, years: list[int]) -> dict[str, dict[str, Any]]:
    """Mean money paid in each of the first years, by group of items; sales apart."""
    ledger = farm_mean(dataset, "ledger")
    groups = list(dict.fromkeys(row.group for row in LEDGER_ITEMS if row.kind != "sales"))
    found: dict[str, dict[str, Any]] = {}
    for year in years[:BILL_YEARS]:
        found[str(year)] = {}
        for group in groups:
            items = [row.name for row in LEDGER_ITEMS if row.group == group and row.kind != "sales"]
            paid = -float(ledger.sel(year=year, ledger_item=items).sum())
            found[str(year)][group] = number(paid + 0.0)
    return found
