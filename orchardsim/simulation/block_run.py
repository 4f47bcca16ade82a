"""One block in the year loop: its fixed numbers, the state of its trees, and what goes to and fro in a year."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import Address
from orchardsim.core.handover import Reach
from orchardsim.plan import Plan, ResolvedBlock
from orchardsim.plan.row_group import RowGroup
from orchardsim.simulation.backlog import Backlog
from orchardsim.trees.block import BlockModel
from orchardsim.trees.loss_draws import LossDraws, draw_site
from orchardsim.trees.loss_traits import LossTraits, loss_traits
from orchardsim.trees.losses import WornSoil
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.state import TreeState
from orchardsim.trees.variation import YearDraws

Array = NDArray[np.float64]


@dataclass
class WorkAsked:
    """Work that a block asks of the crews in a year, arrays (trial, group) unless said.

    Attributes
    ----------
    hours : dict from task to array [hour]
        Of the year itself, without what it inherits.
    ripe_mass : array, (trial, group, pass) [kg]
        Fruit that each picking pass finds ripe.
    """

    hours: dict[str, Array]
    ripe_mass: Array


@dataclass
class WorkDone:
    """What the crews did in a block this year; everything, in time, until they say otherwise.

    Attributes
    ----------
    pruned, trained, summer_pruned : Reach or None
        Trees that they came to; None: all.
    supported : array, (trial, group) [1]
        Share of the trees whose support stands, of those due.
    thinned, picked : array, (trial, group) and (trial, group, pass) [1]
        Share done.
    thinned_late, picked_late : array, (trial, group) [day]
        Days by which the mean fruit was thinned or picked too late.
    """

    supported: Array
    thinned: Array
    thinned_late: Array
    picked: Array
    picked_late: Array
    pruned: Reach | None = None
    trained: Reach | None = None
    summer_pruned: Reach | None = None


@dataclass
class BlockRun:
    """One block in the year loop; arrays (trial, group) unless said.

    Attributes
    ----------
    columns : slice
        Place of its row groups on the results' block axis.
    soil : WornSoil
        Worn soil under each position, for the whole run.
    alive : array
        Trees at the last leaf fall.
    uncut_strikes : array, (trial,) or None [1]
        Share of the trees with strikes of fire blight left to overwinter; None before the first.
    season, draws, loss_draws
        What the year brings; None before the first.
    asked, done
        Work of the year.
    fruit_kept, fruit_thinned, fruit_lost : array [1]
        Fruit after the drop, thinned off, and lost with trees that died.
    """

    number: int
    resolved: ResolvedBlock
    model: BlockModel
    traits: LossTraits
    columns: slice
    state: TreeState
    soil: WornSoil
    backlog: Backlog
    alive: Array
    asked: WorkAsked = field(init=False)
    done: WorkDone = field(init=False)
    planted: bool = False
    removed: bool = False
    uncut_strikes: Array | None = None
    season: SeasonForTrees | None = None
    draws: YearDraws | None = None
    loss_draws: LossDraws | None = None
    fruit_kept: Array = field(default_factory=lambda: np.zeros(0))
    fruit_thinned: Array = field(default_factory=lambda: np.zeros(0))
    fruit_lost: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        self.asked, self.done = self.ask_nothing(), self.all_in_time()

    @property
    def standing(self) -> bool:
        """Whether there are trees (or gaps where trees were) this year."""
        return self.planted and not self.removed

    @property
    def groups(self) -> tuple[RowGroup, ...]:
        """The block's row groups."""
        return self.resolved.groups

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the block's row groups."""
        return self.resolved.labels

    def gaps(self) -> Array:
        """Positions without a tree, (trial, group)."""
        return self.model.group_trees - self.model.total(self.state.alive)

    def ask_nothing(self) -> WorkAsked:
        """No work asked yet."""
        none = np.zeros_like(self.alive)
        tasks = ("dormant_pruning", "training", "thinning", "summer_pruning")
        return WorkAsked(dict.fromkeys(tasks, none), np.zeros((*none.shape, self.model.pass_count)))

    def all_in_time(self) -> WorkDone:
        """A year's work done as it is asked."""
        one, zero = np.ones_like(self.alive), np.zeros_like(self.alive)
        return WorkDone(one, one, zero, np.ones((*one.shape, self.model.pass_count)), zero)


def open_blocks(
    plan: Plan,
    rngs: Callable[[str, str], list[np.random.Generator]],
    address: Callable[[str, str], Address],
    trials: int,
) -> list[BlockRun]:
    """Land of a plan's blocks before any tree is planted.

    Parameters
    ----------
    rngs : callable
        Streams of the trials for a process and a place, for what does not change with the years.
    address : callable
        The same for compiled draws.
    """
    runs = []
    column = 0
    for number, resolved in enumerate(plan.blocks):
        model = BlockModel(resolved.plan, plan.physiology)
        layout = resolved.plan.layout
        state = model.new_state(trials)
        state.site_vigor[...] = model.draw_persistent(rngs("soil", resolved.name))
        groups = len(resolved.labels)
        places = layout.rows, layout.trees_per_row, layout.row_spacing, layout.tree_spacing
        runs.append(
            BlockRun(
                number=number,
                resolved=resolved,
                model=model,
                traits=loss_traits(resolved.plan, plan.hazards),
                columns=slice(column, column + groups),
                state=state,
                soil=WornSoil(draw_site(address("worn soil", resolved.name), *places)),
                backlog=Backlog(trials, groups),
                alive=np.zeros((trials, groups)),
            )
        )
        column += groups
    return runs
