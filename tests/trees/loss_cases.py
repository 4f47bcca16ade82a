"""Blocks, trees, seasons and draws that the tests of losses share."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.draws import address
from orchardsim.core.labels import CAUSES
from orchardsim.core.streams import Streams
from orchardsim.trees.competing import CODE
from orchardsim.trees.hazards import Hazards
from orchardsim.trees.loss_draws import (
    LossDraws,
    draw_losses,
    draw_site,
)
from orchardsim.trees.loss_traits import (
    LossSeason,
    LossTraits,
)
from orchardsim.trees.losses import WornSoil
from orchardsim.trees.parameters import BlockPlan, Cultivar, Layout, Stock, Training, TreeGrade, TreesOfGroup
from orchardsim.trees.state import TreeState

# Susceptible and resistant stock, common cultivar and grade: invented numbers on the scales of the parameters.
DWARF = Stock(
    size=1.0,
    shoots=1.0,
    precocity=0.0,
    fire_blight=1.0,
    crown_rot=0.3,
    replant_tolerance=0.2,
    root_hardiness=-10.0,
    anchorage=0.0,
)
RESISTANT = replace(DWARF, fire_blight=0.05, crown_rot=0.15, replant_tolerance=0.8, root_hardiness=-16.0)
SCION = Cultivar(biennial=0.2, fruit_mass_potential=0.2, fire_blight=1.0, hardiness=-30.0, colour_need=0.5)
FEATHERED = TreeGrade(trunk_diameter=16, height=1.5, feathers=8, transplant_loss=0.02)
BENCH_GRAFT = TreeGrade(trunk_diameter=8, height=0.6, feathers=0, transplant_loss=0.3)
SPINDLE = Training(
    height_limit=3,
    spread_limit=1.5,
    canopy_fill=0.7,
    pruning=(0.1,),
    support="wires",
    training_minutes=(1,),
    pruning_minutes=(1,),
    summer_pruning_minutes=(1,),
)
QUIET = Hazards(
    patchiness=0,
    frailty=0,
    transplant_carry=0,
    blight_strike=0,
    blight_level_spread=0,
    blight_lethal_scion=0.2,
    blight_lethal_stock=0.4,
    blight_age_scale=8.0,
    vole=0,
    deer=0,
    trunk_injury=0,
    decline=0,
    maimed=0,
    woolly_aphid=0,
    crown_rot=0,
    crown_rot_spread=0,
    crown_rot_spread_drained=0,
    crown_rot_spread_undrained=0,
    drought=0,
    wind=0,
    collapse=0,
    replant=0,
    old_age=0,
    acclimation_kill=40,
)
"""No hazard at all in a mild season; tests switch on one at a time."""


def block(
    rows: int,
    per_row: int,
    stock: Stock = DWARF,
    grade: TreeGrade = FEATHERED,
    training: Training = SPINDLE,
    **changes: object,
) -> BlockPlan:
    layout = Layout(rows, per_row, rows * per_row, 3.5, 1.0, row_direction=0.0, group=(0,) * rows)
    group = TreesOfGroup(
        label="b",
        stock=stock,
        cultivar=SCION,
        grade=grade,
        training=training,
        crop_load_target=(6.0,),
        pollen_distance=10.0,
        pollen_overlap=1.0,
    )
    plan = BlockPlan(name="b", layout=layout, groups=(group,), year_planted=0)
    return replace(plan, **changes)  # type: ignore[arg-type]


def trees(trials: int, traits: LossTraits, leaf: int = 10, fruit: float = 1.5) -> TreeState:
    state = TreeState.empty(trials, traits.rows * traits.per_row, 1)
    values = {"alive": True, "leaf": leaf, "trunk_area": 20, "height": 3, "fruit_dry_mass": fruit, "health": 1}
    for name, value in values.items():
        getattr(state, name)[...] = value
    return state


def season(trials: int, cold: float = 0, blight: float = 0, wet: float = 0, dry: float = 0) -> LossSeason:
    return LossSeason(*(np.full(trials, float(value)) for value in (cold, 0.29 * cold, 0, blight, wet, dry)))


def draws_of(trials: int, traits: LossTraits, seed: int = 0, year: int = 0) -> LossDraws:
    place = address(Streams(seed), "place", "", range(trials), year)
    return draw_losses(place._replace(key=place.key + np.uint32(1)), place, traits.rows, traits.per_row)


def site_of(trials: int, traits: LossTraits, seed: int = 0) -> WornSoil:
    return WornSoil(draw_site(address(Streams(seed), "soil", "b", range(trials), 0), traits.rows, traits.per_row))


def even(draws: LossDraws) -> LossDraws:
    """The same draws with uniforms that step evenly through (0, 1): sampling error becomes rounding."""
    steps = (np.arange(draws.rest.size, dtype=np.float64) + 0.5) / draws.rest.size
    steps = steps.reshape(draws.rest.shape).astype(np.float32)
    return replace(draws, rest=steps, season=steps.copy())


def shares(cause: np.ndarray) -> dict[str, float]:
    counts = np.bincount(cause.reshape(-1), minlength=len(CAUSES) + 1) / cause.size
    return {name: counts[CODE[name]] for name in CAUSES if counts[CODE[name]]}


def neighbour_ratio(lost: NDArray[np.bool_], rows: int, per_row: int) -> float:
    """Pairs of neighbours in the row that are both lost, relative to losses strewn at random within each trial.

    ``lost``, (trial, position).

    Notes
    -----
    A join count: with m of n trees lost at random, a given pair is lost with probability m (m - 1) / (n (n - 1)).
    """
    grid = lost.reshape(-1, rows, per_row)
    pairs = float(np.count_nonzero(grid[:, :, 1:] & grid[:, :, :-1]))
    number = grid.reshape(grid.shape[0], -1).sum(axis=1, dtype=np.float64)
    trees = rows * per_row
    expected = float(np.sum(number * (number - 1))) / (trees * (trees - 1)) * rows * (per_row - 1)
    return pairs / expected if expected > 0 else math.nan
