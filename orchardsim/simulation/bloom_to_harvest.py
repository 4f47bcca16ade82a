"""Steps of a year from bloom to harvest: set and thinning, growth, summer pruning and picking."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.operations.crews import Job
from orchardsim.operations.picking import pass_days, picking_jobs
from orchardsim.simulation import balances, crew_jobs
from orchardsim.simulation.block_run import BlockRun
from orchardsim.simulation.step import step
from orchardsim.simulation.yards import Answers, hours_done, work_phase
from orchardsim.trees import model as trees

if TYPE_CHECKING:
    from orchardsim.simulation.tile import Tile

Array = NDArray[np.float64]
COUNT_ERROR: Final = 0.1
"""Log standard deviation of the fruit that thinners leave on a row group in a year, over what they were told to: orders
rest on counts, and a block's fruit as counted differs from what is picked by a coefficient of variation of 0.08 to 0.12
(11 of 14 orchards within 10 %, two about 20 % off: ASABE paper 29974, derived)."""


@step(
    reads=(
        "draws season standing trees.flower_clusters trees.health trees.height trees.leaf trees.overgrown "
        "trees.ground trees.reserves trees.site_vigor trees.spread trees.trunk_area trees.uncut trees.vigor"
    ),
    writes=(
        "fruit_kept asked.thinning trees.bloom_clusters trees.counted_crop trees.cover trees.drive trees.excess "
        "trees.expressed_trunk trees.flower_clusters trees.fruit_dry_mass trees.fruit_number trees.fruitlets "
        "trees.held trees.leaf_area trees.leaf_paid trees.lit_land trees.pool "
        "trees.roots_left trees.source trees.spent trees.sprayed trees.stopped trees.stripped "
        "trees.target trees.thinned_mass trees.totals"
    ),
)
def set_fruit(tile: Tile, year: int) -> None:
    """Leaf opens, flowers set, fruitlets drop; trees with too many ask to be thinned."""
    for block in tile.standing:
        assert block.season is not None and block.draws is not None
        bloom = trees.bloom_to_closed_canopy(block.model, block.state, block.season, block.draws)
        uses = {name: getattr(bloom, name) for name in ("frosted", "stripped", "unset", "dropped", "sprayed", "kept")}
        balances.check_flow("flowers", bloom.flowers, uses, balances.MASS_TOLERANCE)
        block.fruit_kept = bloom.kept
        block.asked.hours["thinning"] = bloom.thinning_hours


@step(
    reads="alive backlog season_rows standing yards asked.thinning",
    writes="yards done.supported done.thinned done.thinned_late",
)
def do_thinning(tile: Tile, year: int) -> None:
    """Crews thin, and go on building, up to closed canopy."""
    jobs: list[list[Job]] = [[] for _ in tile.trials]
    for block in tile.standing:
        asked = {"thinning": block.asked.hours["thinning"]}
        crew_jobs.add_jobs(jobs, block.groups, tile.library.drivers[block.number], tile.season_rows, asked)
    answers = work_phase(tile, year, 1, jobs)
    for block in tile.standing:
        _take_thinning(tile, block, answers)
        built = hours_done(tile.yards, year, block.labels, "support_building")
        block.done.supported = block.backlog.supported(built)


def _take_thinning(tile: Tile, block: BlockRun, answers: Answers) -> None:
    share, late = np.ones_like(block.alive), np.zeros_like(block.alive)
    for group, label in enumerate(block.labels):
        bloom_day = tile.library.drivers[block.number][group].bloom_day[tile.season_rows].tolist()
        for row, own in enumerate(answers):
            done = own[label, "thinning", 0]
            share[row, group] = done.share
            late[row, group] = crew_jobs.thinning_delay(done, bloom_day[row])
    block.done.thinned, block.done.thinned_late = share, late


@step(
    reads=(
        "standing done.thinned done.thinned_late trees.counted_crop trees.excess trees.fruit_dry_mass "
        "trees.fruit_number trees.pool trees.thinned_mass"
    ),
    writes=(
        "fruit_thinned trees.counted_crop trees.excess trees.fruit_dry_mass trees.fruit_number trees.pool "
        "trees.stunted trees.thinned trees.thinned_mass"
    ),
)
def apply_thinning(tile: Tile, year: int) -> None:
    """Fruit above the target comes off the trees that were thinned, as well as the thinners know their job.

    They know it by skill, which is the farm's, and by counts, which err anew each year.
    """
    skill = tile.levels.of_farm("thinning_skill")
    for block in tile.standing:
        done, state, groups = block.done, block.state, len(block.groups)
        normals = np.array([rng.standard_normal(groups) for rng in tile.rngs("thinning", block.resolved.name, year)])
        trees.misjudge(block.model, state, skill, np.expm1(COUNT_ERROR * normals))
        block.fruit_thinned = trees.apply_thinning(block.model, block.state, done.thinned, done.thinned_late)


@step(
    reads=(
        "season standing trees.alternation_sum trees.alternation_terms trees.cover trees.drive trees.expressed_trunk "
        "trees.fruit_dry_mass trees.fruit_number trees.last_crop trees.leaf trees.leaf_area trees.lit_land "
        "trees.overgrown trees.pool trees.source trees.stunted trees.totals trees.trunk_area"
    ),
    writes=(
        "trees.alternation_sum trees.alternation_terms trees.fruit_dry_mass trees.last_crop trees.leaf_light "
        "trees.lit_spurs trees.pool trees.shoot_leaf trees.spur_leaf trees.totals trees.upkeep trees.wood"
    ),
)
def grow_fruit(tile: Tile, year: int) -> None:
    """Fruit grows to harvest on the full canopy."""
    for block in tile.standing:
        assert block.season is not None
        trees.closed_canopy_to_harvest(block.model, block.state, block.season)


@step(
    reads=(
        "fruit_kept fruit_lost fruit_thinned standing trees.fruit_dry_mass trees.fruit_number trees.leaf "
        "trees.shoot_leaf trees.totals"
    ),
    writes="asked.ripe_mass asked.summer_pruning trees.totals",
)
def ask_harvest_work(tile: Tile, year: int) -> None:
    """Ripe fruit is counted and weighed; it asks for light and for pickers."""
    for block in tile.standing:
        ripe = trees.ask_harvest_work(block.model, block.state)
        number = ripe.number.sum(axis=-1)
        uses = {"thinned": block.fruit_thinned, "lost with trees": block.fruit_lost, "ripe": number}
        balances.check_flow("fruit", block.fruit_kept, uses, balances.MASS_TOLERANCE)
        block.asked.hours["summer_pruning"], block.asked.ripe_mass = ripe.summer_pruning_hours, ripe.mass


@step(
    reads="alive backlog season_rows standing yards asked.ripe_mass asked.summer_pruning",
    writes="backlog yards done.picked done.picked_late done.summer_pruned done.trained",
)
def do_harvest_work(tile: Tile, year: int) -> None:
    """Crews prune in summer and pick up to the last pass; what the year left undone is settled."""
    jobs: list[list[Job]] = [[] for _ in tile.trials]
    for block in tile.standing:
        _harvest_jobs(tile, block, jobs)
    asked = [{job.key: job for job in own} for own in jobs]
    answers = work_phase(tile, year, 2, jobs)
    for block in tile.standing:
        _take_picking(block, asked, answers)
        done = {
            task: block.backlog.settle(task, hours_done(tile.yards, year, block.labels, task))
            for task in ("summer_pruning", "training", "support_building")
        }
        block.done.summer_pruned, block.done.trained = done["summer_pruning"], done["training"]


def _harvest_jobs(tile: Tile, block: BlockRun, jobs: list[list[Job]]) -> None:
    drivers, rate = tile.library.drivers[block.number], tile.plan.work_rates.picking
    summer = {"summer_pruning": block.backlog.ask("summer_pruning", block.asked.hours["summer_pruning"])}
    crew_jobs.add_jobs(jobs, block.groups, drivers, tile.season_rows, summer)
    for group, own in enumerate(block.groups):
        harvest, urgency = drivers[group].harvest_day, crew_jobs.priority("picking", own.crew_rank)
        due = pass_days(0.0, own.cultivar.ripening_spread, block.model.pass_share[group])
        for row, ripe in enumerate(harvest[tile.season_rows].tolist()):
            days = [ripe + day for day in due]
            masses = block.asked.ripe_mass[row, group].tolist()
            jobs[row].extend(
                picking_jobs(own.label, masses, days, rate, tolerance=crew_jobs.PICK_TOLERANCE, priority=urgency)
            )


def _take_picking(block: BlockRun, asked: list[dict[tuple[str, str, int], Job]], answers: Answers) -> None:
    share, late = np.ones_like(block.asked.ripe_mass), np.zeros_like(block.alive)
    for group, label in enumerate(block.labels):
        passes = [(label, "picking", number) for number in range(block.model.pass_count)]
        for row, own in enumerate(answers):
            done = [own[key] for key in passes]
            share[row, group] = [outcome.share for outcome in done]
            late[row, group] = crew_jobs.picking_delay([asked[row][key] for key in passes], done)
    block.done.picked, block.done.picked_late = share, late


@step(
    reads=(
        "season standing done.summer_pruned trees.expressed_trunk trees.fruit_number trees.last_crop "
        "trees.leaf trees.leaf_light trees.totals"
    ),
    writes="trees.clean trees.coloured trees.mass_square trees.totals trees.usable",
)
def apply_summer_pruning(tile: Tile, year: int) -> None:
    """Fruit colours in the light that summer pruning lets in, and is judged once."""
    for block in tile.standing:
        assert block.season is not None
        trees.apply_summer_pruning(block.model, block.state, block.season, block.done.summer_pruned)
