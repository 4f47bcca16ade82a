"""Where the demo's money lies beside published budgets: each gap in dollars, one after another.

``python experiments/loss_chain/money.py`` writes ``money.txt`` beside itself. It starts at the demo's mean cash flows,
all levels known, and puts in one number of published budgets after another: crop, pack-out, price, packing, growing
cost, calendar. A line's gap is the change from the line above, so the gaps add up; what one closes hangs on those
before it. The budgets' numbers come from different books, so their sum is nobody's farm.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))
import orchardsim
from experiments.loss_chain.run import made
from orchardsim.core.ledger_items import items_of
from orchardsim.core.units import ACRE, BUSHEL, POUND
from orchardsim.economy.finance import irr
from orchardsim.report.columns import text_columns

Array = NDArray[np.float64]
HERE = Path(__file__).parent
YEARS: Final = 22
FIRST: Final = 10
"""First year of the run that counts as mature: leaf 9."""
BUDGET_BUSHELS: Final = (1200.0, 1000.0)
"""Gala and Honeycrisp, mature (Michigan State University 2025, read in the trade press)."""
BUDGET_PACK_OUT: Final = (0.80, 0.60)
"""Sold fresh: Gala 19 packs of 23.1 a bin, a packer of 2014; Honeycrisp 60 %, "a really good crop" of 2025 (Good Fruit
Grower, read, derived)."""
BUDGET_PRICE: Final = (0.55, 0.80)
"""USD/lb of best grade, count 100: the catalogue's own."""
BUDGET_PACKING: Final = 0.28
"""USD/lb packed, packing and selling, without storage (derived from Washington budgets of 2011 to 2014)."""
BUDGET_GROWING: Final = (9780.0, 10550.0)
"""USD/acre and year, full cost before packing: break-even times bins (Michigan State University 2025, derived)."""
GROWING: Final = ("training", "pruning", "thinning", "upkeep", "materials", "replacement_trees", "water_and_fuel",
                  "overhead", "land_charge", "blight_sprays")  # fmt: skip
RATE: Final = 0.05
"""1/year; the demo's own, as in a Washington budget of 2011."""


@dataclasses.dataclass
class Flows:
    """Mean yearly flows of one label [USD/acre], fruit [lb/acre] and capital, by year."""

    fresh: Array
    rest: Array
    packing: Array
    picking: Array
    growing: Array
    capital: Array
    picked: Array
    sold: Array

    @property
    def cash(self) -> Array:
        """All of them in a year."""
        return self.fresh + self.rest + self.packing + self.picking + self.growing + self.capital

    def scaled(self, fruit: Array | float) -> None:
        """Another crop: what goes by fruit goes along."""
        for name in ("fresh", "rest", "packing", "picking", "picked", "sold"):
            setattr(self, name, getattr(self, name) * fruit)


def flows(trials: int, jobs: int, keys: dict[str, Any] | None = None) -> list[Flows]:
    """Mean flows of the demo's labels, all levels known."""
    plan = made(keys or {})
    found = orchardsim.simulate(plan, trials=trials, years=YEARS, seed=1, jobs=jobs)
    items = [str(item) for item in found["ledger_item"].values]
    result = []
    for label in plan.labels:
        acres = float(found["planted_area"].sel(block=label)) / ACRE
        ledger = found["ledger"].sel(block=label).mean("trial").values / acres

        def of(*names: str, ledger: Array = ledger) -> Array:
            taken: Array = ledger[:, [items.index(name) for name in names]].sum(axis=1)
            return taken

        mass = found["packed_mass"].sel(block=label, grade=["extra_fancy", "fancy"]).sum("grade")
        mass = mass - found["storage_loss"].sel(block=label) - found["storage_surplus"].sel(block=label)
        lb = POUND * acres
        result.append(
            Flows(of("fresh_sales"), of("processing_sales"), of("packing_and_storage"), of("picking"), of(*GROWING),
                  of(*items_of("capital")), found["harvested_mass"].sel(block=label).mean("trial").values / lb,
                  mass.mean("trial").values / lb)
        )  # fmt: skip
    return result


def interest(cash: Array, rate: float) -> Array:
    """Interest on what is owed at the end of the year before, by year, below 0."""
    owed, paid = 0.0, np.zeros(len(cash))
    for year, amount in enumerate(cash):
        paid[year] = rate * min(owed, 0.0)
        owed += amount + paid[year]
    return paid


def measures(found: list[Flows], loan: float = 0.0) -> tuple[float, float, float, int | None]:
    """Mature year before capital, NPV [USD/acre], rate of return [1/year], year in which the money is back.

    Interest at the rate ``loan`` enters the mature year and the money back; NPV and rate of return leave it out.
    """
    cash = np.mean([one.cash for one in found], axis=0)
    paid = interest(cash, loan)
    margin = np.mean([(one.cash - one.capital)[FIRST:].mean() for one in found]) + paid[FIRST:].mean()
    value = (cash / (1 + RATE) ** np.arange(len(cash))).sum()
    rate = float(irr(cash[None]).rate[0])
    cash = cash + paid
    below = np.flatnonzero(cash.cumsum() < 0)
    year = int(below[-1]) + 1 if below.size else 0
    return float(margin), float(value), rate, year if year < len(cash) else None


def chain(trials: int, jobs: int) -> list[tuple[str, tuple[float, float, float, int | None]]]:
    """Name of each line and its measures."""
    demo = flows(trials, jobs)
    now = [dataclasses.replace(one) for one in demo]
    rows = [("the demo, all levels known", measures(now))]

    def put(what: str) -> None:
        rows.append((what, measures(now)))

    for one, bushels in zip(now, BUDGET_BUSHELS, strict=True):
        one.scaled(bushels * BUSHEL / POUND / one.picked[FIRST:].mean())
    put("crop: 1,200 and 1,000 bushels an acre, all years in proportion")
    for one, share in zip(now, BUDGET_PACK_OUT, strict=True):
        ratio = share * one.picked[FIRST:].sum() / one.sold[FIRST:].sum()
        left = (1 - share) * one.picked[FIRST:].sum() / (one.picked - one.sold)[FIRST:].sum()
        one.fresh, one.packing, one.sold, one.rest = (
            one.fresh * ratio, one.packing * ratio, one.sold * ratio, one.rest * left,
        )  # fmt: skip
    put("pack-out: 80 and 60 % sold fresh, storage losses in it")
    steady = flows(trials, jobs, {"market.fruit.Honeycrisp.premium_erosion": "0 /year"})
    for one, with_premium, without in zip(now, steady, demo, strict=True):
        one.fresh = one.fresh * with_premium.fresh / np.where(without.fresh > 0, without.fresh, 1)
    put("price: Honeycrisp keeps today's premium")
    for one, price in zip(now, BUDGET_PRICE, strict=True):
        one.fresh = one.sold * price
    put("price: every fresh pound at best grade, count 100")
    for one in now:
        one.packing = -BUDGET_PACKING * one.sold
    put("packing 0.28 a pound, no storage")
    for one, cost in zip(now, BUDGET_GROWING, strict=True):
        yearly = -one.capital.sum() * RATE / (1 - (1 + RATE) ** -YEARS)
        mature = -(one.growing + one.picking)[FIRST:].mean()
        one.growing = one.growing * (1 + (cost - yearly - mature) / -one.growing[FIRST:].mean())
    put("growing and picking: full cost of a Michigan budget")
    for one in now:
        for field in dataclasses.fields(Flows):
            values = getattr(one, field.name)
            early = np.concatenate([values[1:], values[-1:]])
            early[0] += values[0]
            setattr(one, field.name, early)
    put("planted in the year of the order")
    finance = made({}).finance
    loan = (1 + finance.loan_rate) / (1 + finance.inflation) - 1
    rows.append((f"the last line, {loan:.1%} interest on what is owed", measures(now, loan)))
    rows.append((f"the demo, {loan:.1%} interest on what is owed", measures(demo, loan)))
    return rows


def main() -> None:
    """Run, print and write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=100)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    rows = chain(options.trials, options.jobs)
    cells = [["USD an acre", "mature year", "change", "NPV", "change", "IRR %", "money back"]]
    demo = before = rows[0][1]
    for what, (margin, value, rate, year) in rows:
        before = demo if what.startswith("the demo") else before
        gaps = f"{margin - before[0]:+,.0f}", f"{value - before[1]:+,.0f}"
        earned = f"{100 * rate:.1f}" if np.isfinite(rate) else "none"
        cells.append([what, f"{margin:,.0f}", gaps[0], f"{value:,.0f}", gaps[1], earned, str(year or "never")])
        before = (margin, value, rate, year)
    note = (
        f"Mean of Gala and Honeycrisp, {options.trials} futures, {YEARS} years, NPV at {RATE:.0%}, before tax and,\n"
        f"but for the two last lines, interest; mature year: from year {FIRST} on, before capital.\n"
        "Published: 7.5 to 11.1 %, back in year 10 to 13 (Robinson et al. 2005), 8 to 9 (Washington budgets)."
    )
    text = "\n".join([note, "", *text_columns(cells)])
    (HERE / "money.txt").write_text(text + "\n", encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
