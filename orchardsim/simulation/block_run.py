"""One block in the year loop, and what becomes of its trees and fruit that needs no more than that block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import CAUSES
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.simulation import books
from orchardsim.simulation.backlog import Backlog
from orchardsim.simulation.totals import Totals
from orchardsim.trees import fruit, losses
from orchardsim.trees.block import BlockModel
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.variation import YearDraws

Array = NDArray[np.float64]


@dataclass
class BlockRun:
    """One block in the year loop: its fixed numbers, the state of its trees, and where its results go."""

    number: int
    resolved: ResolvedBlock
    model: BlockModel
    traits: losses.LossTraits
    columns: slice
    state: TreeState
    loss_site: NDArray[np.float32]
    backlog: Backlog
    planted: bool = False
    removed: bool = False
    alive: Array = field(default_factory=lambda: np.zeros(0))
    uncut: Array | None = None
    season: SeasonForTrees | None = None
    draws: YearDraws | None = None
    loss_draws: losses.LossDraws | None = None
    fruit_kept: Array = field(default_factory=lambda: np.zeros(0))
    fruit_thinned: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def standing(self) -> bool:
        """Whether there are trees (or gaps where trees were) this year."""
        return self.planted and not self.removed


def open_blocks(plan: Plan, rngs: Callable[[str, str], list[np.random.Generator]], trials: int) -> list[BlockRun]:
    """Land of a plan's blocks before any tree is planted.

    Parameters
    ----------
    rngs : callable
        Streams of the trials for a process and a place, for what does not change with the years.
    trials : int
    """
    runs = []
    column = 0
    for number, resolved in enumerate(plan.blocks):
        model = BlockModel(resolved.plan, plan.physiology)
        layout = resolved.plan.layout
        state = model.new_state(trials)
        state.site_vigor[...] = model.draw_persistent(rngs("soil", resolved.name))
        groups = len(resolved.labels)
        runs.append(
            BlockRun(
                number=number,
                resolved=resolved,
                model=model,
                traits=losses.loss_traits(resolved.plan, plan.hazards),
                columns=slice(column, column + groups),
                state=state,
                loss_site=losses.draw_site(
                    rngs("worn soil", resolved.name),
                    layout.rows,
                    layout.trees_per_row,
                    layout.row_spacing,
                    layout.tree_spacing,
                ),
                backlog=Backlog(trials, groups),
                alive=np.zeros((trials, groups)),
            )
        )
        column += groups
    return runs


def by_cause(block: BlockRun, cause: NDArray[np.int8]) -> Array:
    """Number of dead trees, (trial, group, cause)."""
    trials, groups = block.alive.shape
    at = np.flatnonzero(cause > 0)
    trial, position = np.divmod(at, cause.shape[1])
    cell = (trial * groups + block.model.position_group[position]) * len(CAUSES) + cause.reshape(-1)[at] - 1
    number = np.bincount(cell, minlength=trials * groups * len(CAUSES))
    return number.reshape(trials, groups, len(CAUSES)).astype(np.float64)


def cut_strikes(hazards: losses.Hazards, block: BlockRun, health_loss: NDArray[np.float32]) -> Array:
    """Cut out the strikes of fire blight that the plan's sanitation asks for; the others overwinter.

    Parameters
    ----------
    health_loss : array, (trial, position)
        Above 0 on trees struck this season.

    Returns
    -------
    array, (trial, group) [hour]
        Hours of cutting.
    """
    before = np.zeros(len(block.alive)) if block.uncut is None else block.uncut
    if not (health_loss.any() or before.any()):
        return np.zeros_like(block.alive)
    living, struck = block.model.total(block.state.alive), block.model.total(health_loss > 0)
    share = struck.sum(axis=1) / np.maximum(living.sum(axis=1), 1)
    block.uncut = np.asarray(losses.uncut_strikes(hazards, share, before), dtype=np.float64)
    return hazards.blight_sanitation * (struck + before[:, None] * living) * (hazards.blight_cut_minutes / 60)


def pack_boxes(plan: Plan, block: BlockRun, totals: Totals, rows: slice) -> None:
    """Fresh fruit of all years by number of fruit in the plan's box."""
    at, found, p = (rows, slice(None), block.columns), totals.arrays, plan.physiology
    spread = fruit.size_spread(found["crop_mass"][at], found["fruit_number"][at], totals.fruit_mass_square[at])
    mean = found["crop_mass"][at] / np.maximum(found["fruit_number"][at], 0.5)
    shares = fruit.box_count_shares(mean, np.hypot(spread, p.size_spread), plan.box_mass, p.fresh_mass)
    fresh = found["packed_mass"][at][..., :2].sum(axis=-1)
    found["boxed_mass"][at] = fresh[..., None] * shares
    books.check_flow("fresh fruit by box count", fresh, {"boxed": found["boxed_mass"][at].sum(axis=-1)}, 1e-9)


def pass_price(plan: Plan, block: BlockRun, share: Array) -> Array:
    """Wholesale price over the stated one of what was picked, by pass (trial, group); 1 where nothing was."""
    passes = np.arange(block.model.pass_count)
    stated = [plan.market.fruit[name].pass_price for name in block.resolved.cultivar_names]
    price = np.array([np.asarray(one)[np.minimum(passes, len(one) - 1)] for one in stated])
    picked = share * block.model.pass_share
    total = picked.sum(axis=-1)
    return np.where(total > 0, (picked * price).sum(axis=-1) / np.where(total > 0, total, 1.0), 1.0)
