"""What filling a gap is worth, by the year in which it is filled, from small twin simulations.

Gaps of the simulated orchard are filled at once up to a year. One twin leaves the gaps of that year empty, the other
plants them; later gaps stay empty in both, and both meet the same seasons, prices and draws. The difference of their
margins is what the replants bring among grown neighbours, on the very places where trees die, less what the neighbours
lose by having them: crowding and poor places are the trees' own.
"""

from __future__ import annotations

import copy
import dataclasses
import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.policy_runs import Array, no_replacement
from orchardsim.core.handover import ArrayStruct
from orchardsim.core.ledger_items import columns_of
from orchardsim.core.streams import Streams
from orchardsim.economy.account import remaining_value
from orchardsim.economy.payments import growth
from orchardsim.plan import Plan
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.money import farm_ledger, farm_quantities
from orchardsim.simulation.rest_to_bloom import fill_all_gaps
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.step import Steps, replaced
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.trial_range import tiles
from orchardsim.simulation.year import YEAR

LEAVES: Final = (2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 30)
"""Leaves in which refilling is valued; years between are interpolated."""
RISK_YEARS: Final = 4
"""Years since planting with a risk of their own for replants; the last holds on."""


@dataclass(frozen=True)
class GapRun(ArrayStruct):
    """Twin runs; arrays (trial, valued year, label).

    Attributes
    ----------
    gain : array [money]
        Margin of the filled twin less that of the empty one, at year 0.
    filled : array [trees]
    replants_lost : array, (trial, valued year, label, year since planting) [trees]
        More trees lost in the filled twin than in the empty one.
    crop, usual_crop : array [kg/tree]
        Picked more in the filled twin from that year on, per replant; and picked per tree in the empty twin.
    """

    gain: Array
    filled: Array
    replants_lost: Array
    crop: Array
    usual_crop: Array


@dataclass(frozen=True)
class GapValue:
    """Worth of filling one gap.

    Attributes
    ----------
    years : int array, (valued year,)
    value, error : array, (valued year, label) [money/tree]
        At year 0, before the tree, its planting and its care are paid; nan where the label has no gaps to fill.
    trees : array, (valued year, label)
        Replants measured.
    crop_share : array, (valued year, label) [1]
        What a replant adds to the picked crop over the years left, of what a mean tree bears in them.
    loss : tuple of float [1/year]
        Chance that a replant dies in its first, second, ... year.
    """

    years: NDArray[np.int64]
    value: Array
    error: Array
    trees: Array
    crop_share: Array
    loss: tuple[float, ...]
    trials: int

    def by_year(self, years: int) -> Array:
        """Worth by year and label (year, label), interpolated; 0 where nothing was measured."""
        table = np.zeros((years, self.value.shape[1]))
        for label in range(self.value.shape[1]):
            known = np.isfinite(self.value[:, label])
            if known.any():
                at = self.years[known]
                table[:, label] = np.interp(np.arange(years), at, self.value[known, label], left=0.0)
        return table


def valued_years(plan: Plan, years: int) -> tuple[int, ...]:
    """Years in which refilling is valued: some leaves of every block, and the last year."""
    chosen = {years - 1}
    for block in plan.blocks:
        chosen |= {block.year_planted + leaf - 1 for leaf in LEAVES}
        chosen.add(max(block.year_planted + 1, 0))
    return tuple(sorted(year for year in chosen if 0 <= year < years))


def filled_to(last: float) -> Steps:
    """A year in which all gaps are filled up to a last year, from nowhere: what trees cost is counted elsewhere."""

    def meant(tile: Tile, block: BlockRun, year: int) -> bool:
        return year <= last

    return replaced(YEAR, "fill_gaps", functools.partial(fill_all_gaps, meant=meant))


def run_gaps(plan: Plan, library: SeasonLibrary | None, trials: range, years: int, seed: int) -> GapRun:
    """Twin runs of a range of trials, one pair per valued year.

    ``plan``: its replacement policy plays no part.
    """
    streams = Streams(seed)
    plan = dataclasses.replace(plan, costs=dataclasses.replace(plan.costs, replant_care=0.0, trunk_guard=0.0))
    if library is None:
        library = build_library(plan, streams, trials, years, "sampled")
    chosen = valued_years(plan, years)
    labels = len(plan.labels)
    shape = (len(trials), len(chosen), labels)
    gain, filled, lost = np.zeros(shape), np.zeros(shape), np.zeros((*shape, RISK_YEARS))
    crop, usual = np.zeros(shape), np.zeros(shape)
    for part in tiles(plan, trials):
        rows = slice(part.start - trials.start, part.stop - trials.start)
        for number, empty, full in _twins(plan, library, streams, part, years, chosen):
            year = chosen[number]
            filled[rows, number] = full.arrays["trees_replanted"][:, year]
            gain[rows, number] = _margin(plan, library, full, part, streams) - _margin(
                plan, library, empty, part, streams
            )
            picked, standing = empty.arrays["harvested_mass"][:, year:], empty.arrays["trees_alive"][:, year:]
            added = (full.arrays["harvested_mass"][:, year:] - picked).sum(axis=1)
            crop[rows, number] = added / np.maximum(filled[rows, number], 1)
            usual[rows, number] = (picked / np.maximum(standing, 1)).sum(axis=1)
            more = (full.arrays["trees_lost"] - empty.arrays["trees_lost"]).sum(axis=-1)[:, year : year + RISK_YEARS]
            lost[rows, number, :, : more.shape[1]] = np.moveaxis(more, 1, 2)
    return GapRun(gain, filled, lost, crop, usual)


def _twins(plan: Plan, library: SeasonLibrary, streams: Streams, part: range, years: int, chosen: Sequence[int]):  # type: ignore[no-untyped-def]
    totals = Totals(len(part), years, plan.labels)
    rules = no_replacement(plan)
    tile = Tile(plan, library, streams, part, years, totals, part.start, steps=filled_to(np.inf), rules=rules)
    tile.open()
    for year in range(years):
        if year in chosen and tile.standing:
            pair = []
            for last in (year - 1, year):
                twin = tile.copied(copy.deepcopy(totals), steps=filled_to(last))
                for later in range(year, years):
                    twin.walk(later)
                twin.close()
                pair.append(twin.totals)
            yield chosen.index(year), *pair
        tile.walk(year)


def _margin(plan: Plan, library: SeasonLibrary, totals: Totals, trials: range, streams: Streams) -> Array:
    """Margin of each label at year 0, what its living trees are worth at the end included: (trial, label) [money].

    Interest and income tax are the farm's, and left out.
    """
    years = totals.arrays["trees_alive"].shape[1]
    quantities = farm_quantities(plan, totals)
    ledger = farm_ledger(plan, totals, trials, streams, library.region[library.met(trials, years)])
    items = columns_of("sales", "capital", "running")
    labels = len(plan.labels)
    flows = ledger.yearly()[:, :, :labels, items].sum(axis=-1)
    flows[:, -1] += ledger.receivable[:, :labels]
    costs = dataclasses.replace(plan.costs, overhead_farm=0.0)
    index = growth(costs.cost_trend, plan.finance, years)
    for label in range(labels):
        alone = dataclasses.replace(quantities, leaf=quantities.leaf[:, label : label + 1])
        money = plan.money[label : label + 1]
        flows[:, -1, label] += remaining_value(
            ledger.flows[:, :, :, label : label + 1], alone, money, costs, plan.finance, index
        ).sum(axis=1)
    discount = (1 + plan.finance.discount_rate) ** -np.arange(years, dtype=float)
    worth: Array = (flows * discount[:, None]).sum(axis=1)
    return worth


def gap_value(plan: Plan, run: GapRun, years: int) -> GapValue:
    """Means over trials, with their standard errors (of a ratio of sums)."""
    trials = run.gain.shape[0]
    trees = run.filled.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.where(trees > 0, run.gain.sum(axis=0) / trees, np.nan)
        rest = run.gain - np.nan_to_num(value) * run.filled
        spread = np.sqrt((rest**2).sum(axis=0) * trials / max(trials - 1, 1))
        error = np.where(trees > 0, spread / trees, np.nan)
        share = (run.crop * run.filled).sum(axis=0) / trees / run.usual_crop.mean(axis=0)
    return GapValue(
        np.array(valued_years(plan, years)), value, error, trees, share, _replant_risk(plan, run, years), trials
    )


def _replant_risk(plan: Plan, run: GapRun, years: int) -> tuple[float, ...]:
    """Chance of death by year since planting, over all twins in which that year lies within the run."""
    chosen = np.array(valued_years(plan, years))
    risk = []
    for age in range(RISK_YEARS):
        inside = chosen + age < years
        at_risk = run.filled[:, inside].sum() - run.replants_lost[:, inside, :, :age].sum()
        lost = run.replants_lost[:, inside, :, age].sum()
        risk.append(float(np.clip(lost / at_risk, 0, 1)) if at_risk > 0 else 0.0)
    return tuple(risk)
