"""Runs that something bad befalls in a year or a run of years, from the trajectory that they share until then.

Trees, yard and results of the run without the shock are kept as they stand before each year in which one starts, and a
copy goes on from there: the years before are walked once for all of them.
"""

from __future__ import annotations

import copy
import dataclasses
import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import ArrayStruct
from orchardsim.core.labels import FRESH
from orchardsim.core.streams import Streams
from orchardsim.economy.account import before_interest, reserve_needed
from orchardsim.economy.indicators import indicators
from orchardsim.operations.draws import YardDraws
from orchardsim.plan import Plan
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.harvest_to_leaf_fall import mark_by_hail
from orchardsim.simulation.losing_trees import lose_trees_in_season, lose_trees_in_winter, usual_hazards
from orchardsim.simulation.money import farm_ledger
from orchardsim.simulation.seasons import SeasonLibrary
from orchardsim.simulation.step import Steps, replaced
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.year import YEAR
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_traits import LossTraits

Array = NDArray[np.float64]
MONEY_ROWS: Final = 240
"""Runs whose ledgers are worked out at once: some 30 MB for a plan of two row groups over 20 years."""
NEVER_IN_TIME: Final = -1.0
"""A draw below any chance: what hangs on it happens."""


@dataclass(frozen=True)
class Shock:
    """What differs from the usual run in some years running. Whatever is not named stays as it would have been.

    Attributes
    ----------
    span : range
        Years of the plan in which anything differs.
    seasons : mapping from year to int array, (trial,)
        Season of the library that each of its trials meets.
    hail : float [1]
        Share of the fruit marked by hail, at least; without a net.
    hazards : mapping from name of a hazard to factor [1]
    transplant_loss : float [1]
        Share of trees planted in these years, lost in their first leaf at least.
    crew_share : float [1]
        What is there of every crew.
    delivers : bool
        Whether the nursery delivers replacement trees; else they come later.
    price_lost : float [1]
        Share by which all prices are lower.
    """

    span: range
    seasons: Mapping[int, NDArray[np.int64]] = field(default_factory=dict)
    hail: float = 0.0
    hazards: Mapping[str, float] = field(default_factory=dict)
    transplant_loss: float = 0.0
    crew_share: float = 1.0
    delivers: bool = True
    price_lost: float = 0.0

    @property
    def money_only(self) -> bool:
        """Whether the orchard itself stays as it was."""
        trees = self.seasons or self.hail or self.hazards or self.transplant_loss
        return not trees and self.delivers and self.crew_share == 1.0

    def steps(self) -> Steps:
        """The order of a year, in which the years of the shock meet its hazards and its hail."""
        steps = YEAR
        if self.hazards or self.transplant_loss:
            for loss in (lose_trees_in_winter, lose_trees_in_season):
                steps = replaced(steps, loss.name, functools.partial(loss.run, hazards_of=self.hazards_of))
        if self.hail:
            steps = replaced(steps, "mark_by_hail", self.mark_by_hail)
        return steps

    def hazards_of(self, tile: Tile, block: BlockRun, year: int) -> tuple[Hazards, LossTraits]:
        """Hazards, and what decides those of a block's trees, in a year."""
        hazards, traits = usual_hazards(tile, block, year)
        if year not in self.span:
            return hazards, traits
        changed = {name: getattr(hazards, name) * factor for name, factor in self.hazards.items()}
        if self.transplant_loss:
            least = np.float32(-np.log1p(-self.transplant_loss))
            traits = dataclasses.replace(traits, transplant=np.maximum(traits.transplant, least))
        return dataclasses.replace(hazards, **changed), traits

    def mark_by_hail(self, tile: Tile, year: int) -> None:
        """The usual hail, and at least that of the shock."""
        mark_by_hail.run(tile, year, self.hail if year in self.span else 0.0)

    def befall(self, tile: Tile, totals: Totals) -> Tile:
        """A copy of a tile that meets the shock from here on; see :meth:`Tile.copied`."""
        return tile.copied(
            totals,
            steps=self.steps(),
            library=tile.library.with_season_rows(self.seasons),
            yards=[yard.copied(self._draws(yard.draws)) for yard in tile.yards],
        )

    def _draws(self, draws: YardDraws) -> YardDraws:
        late = () if self.delivers else self.span
        delay = [NEVER_IN_TIME if year in late else draw for year, draw in enumerate(draws.delay)]
        return dataclasses.replace(draws, delay=delay, crew_share=dict.fromkeys(self.span, self.crew_share))


@dataclass(frozen=True)
class Outcome(ArrayStruct):
    """What runs came to, whole farm: results of these names, over (run, trial, year) or (run, trial); and

    Attributes
    ----------
    fresh_mass : (run, trial, year) [kg]
        Fruit packed in the two fresh grades.
    present_cash : (run, trial) [money]
        Net present value, living blocks worth nothing at the end.
    reserve : (run, trial) [money]
        Smallest own cash at the start with which the farm stays within its credit line (none stated: no credit).
    """

    harvested_mass: Array
    fresh_mass: Array
    trees_alive: Array
    trees_lost: Array
    flower_clusters: Array
    net_cash_flow: Array
    present_cash: Array
    payback_year: Array
    peak_borrowing: Array
    reserve: Array


def run_shocks(
    plan: Plan,
    library: SeasonLibrary,
    shocks: Sequence[Shock],
    trials: range,
    years: int,
    seed: int,
) -> Outcome:
    """Run a tile of trials without any shock, and once with each of the shocks.

    Returns: run 0 is the one without a shock, run k that of ``shocks[k - 1]``.

    Parameters
    ----------
    library : SeasonLibrary
        Holds every season that a shock names.
    trials : range
        Of the library's trials; a tile, so some tens at most.

    Raises
    ------
    IdentityError
        If a book does not balance.
    """
    streams = Streams(seed)
    totals = Totals(len(trials), years, plan.labels)
    tile = Tile(plan, library, streams, trials, years, totals, trials.start)
    finished: dict[int, tuple[Totals, SeasonLibrary]] = {}
    tile.open()
    for year in range(years):
        for number, shock in enumerate(shocks):
            if shock.span.start != year or shock.money_only:
                continue
            twin = shock.befall(tile, copy.deepcopy(totals))
            for later in range(year, years):
                twin.walk(later)
            twin.close()
            twin.totals.check_bounds()
            finished[number] = twin.totals, twin.library
        tile.walk(year)
    tile.close()
    totals.check_bounds()
    runs = [(totals, library, Shock(range(0)))]
    for number, shock in enumerate(shocks):
        runs.append((*finished.get(number, (totals, library)), shock))
    step = max(1, MONEY_ROWS // len(trials))
    return Outcome.joined(
        [outcome_of(plan, runs[start : start + step], trials, streams) for start in range(0, len(runs), step)]
    )


def outcome_of(
    plan: Plan, runs: Sequence[tuple[Totals, SeasonLibrary, Shock]], trials: range, streams: Streams
) -> Outcome:
    """Money and measures of runs of the same trials, worked out at once."""
    count, wide = len(runs), len(runs) * len(trials)
    years = runs[0][0].arrays["trees_alive"].shape[1]
    joined = Totals(wide, years, plan.labels)
    for name in joined.arrays:
        joined.arrays[name] = np.concatenate([totals.arrays[name] for totals, _, _ in runs])
    region = np.concatenate([library.region[library.met(trials, years)] for _, library, _ in runs])
    slump = np.ones((count, len(trials), years))
    for number, (_, _, shock) in enumerate(runs):
        slump[number, :, shock.span.start : shock.span.stop] = 1.0 - shock.price_lost
    ledger = farm_ledger(plan, joined, list(trials) * count, streams, region, slump.reshape(wide, years))
    net = ledger.net_cash_flow()
    measures = indicators(ledger, plan.finance)

    def by_run(values: NDArray[np.floating]) -> Array:
        return np.asarray(values, dtype=np.float64).reshape(count, len(trials), *values.shape[1:])

    results = joined.arrays
    return Outcome(
        harvested_mass=by_run(results["harvested_mass"].sum(axis=2)),
        fresh_mass=by_run(results["packed_mass"][..., FRESH].sum(axis=(2, 3))),
        trees_alive=by_run(results["trees_alive"].sum(axis=2)),
        trees_lost=by_run(results["trees_lost"].sum(axis=(2, 3))),
        flower_clusters=by_run(results["flower_clusters"].sum(axis=2)),
        net_cash_flow=by_run(net.sum(axis=2)),
        present_cash=by_run(measures.npv_without_remaining_value),
        payback_year=by_run(measures.payback_year),
        peak_borrowing=by_run(measures.peak_borrowing),
        reserve=by_run(reserve_needed(before_interest(ledger.flows, plan.finance), plan.finance)),
    )
