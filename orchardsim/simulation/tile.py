"""The year loop: a tile of a few trials walked through all years, so that its arrays stay in cache.

Order of a year, for every block:

1. rest to bloom: winter losses; trees grow a leaf older; pruning and training work; planting, replanting
2. bloom to closed canopy: frost, pollination, set, drop; thinning work
3. closed canopy to harvest: growth; losses of the season; summer pruning and picking work
4. harvest to leaf fall: crop by grade; reserves, trunk, next spring's flowers; removal; orders
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.labels import TASKS
from orchardsim.core.streams import Streams
from orchardsim.core.units import HECTARE
from orchardsim.operations.crews import Done, Job
from orchardsim.operations.picking import pass_days, picking_jobs
from orchardsim.operations.yard import Yard
from orchardsim.plan import Plan
from orchardsim.season.hail import DRAWS as HAIL_DRAWS
from orchardsim.season.hail import hail_damage
from orchardsim.simulation import books, work
from orchardsim.simulation.block_run import BlockRun, by_cause, cut_strikes, open_blocks, pack_boxes, pass_price
from orchardsim.simulation.seasons import SeasonLibrary
from orchardsim.simulation.totals import Totals
from orchardsim.simulation.yards import book_yards, hours_done, open_yards, work_phase
from orchardsim.trees import losses, unfinished
from orchardsim.trees import model as trees
from orchardsim.trees.grading import after_hail
from orchardsim.trees.season import SeasonForTrees
from orchardsim.trees.variation import draw_year

Array = NDArray[np.float64]
BEFORE_YEAR_0: Final = 1000
"""Added to the year in an address, so that years before year 0 have addresses too."""
NET_LEAF: Final = 2
"""First leaf with the hail net closed: the economy room buys it in the year after planting."""
MASS_TOLERANCE: Final = 1e-5
"""Largest gap in the books of fruit and mass as a share of the gross flow (float32 sums)."""


class Tile:
    """A few trials of a plan.

    Parameters
    ----------
    plan : Plan
    library : SeasonLibrary
    streams : Streams
    trials : range
        Trial numbers of the tile.
    years : int
    totals : Totals
        Receives the results, at rows ``trials - first``.
    first : int
        Trial number of the first row of ``totals``.
    single_trees : dict or None
        Receives per-tree arrays of this tile's trials when not None: (trial, block number) -> name -> list by year.
    """

    def __init__(
        self,
        plan: Plan,
        library: SeasonLibrary,
        streams: Streams,
        trials: range,
        years: int,
        totals: Totals,
        first: int,
        single_trees: dict[tuple[int, int], dict[str, list[NDArray[np.float32]]]] | None = None,
    ) -> None:
        self.plan = plan
        self.library = library
        self.streams = streams
        self.trials = trials
        self.years = years
        self.totals = totals
        self.rows = slice(trials.start - first, trials.stop - first)
        self.single_trees = single_trees
        self.blocks = open_blocks(plan, lambda process, place: self._rngs(process, place, -BEFORE_YEAR_0), len(trials))
        self.yards = self._open_yards()
        self.pick = np.zeros(len(trials), dtype=np.int64)

    def _rngs(self, process: str, place: str, year: int) -> list[np.random.Generator]:
        return [self.streams.at(process, place, trial=t, year=year + BEFORE_YEAR_0) for t in self.trials]

    def _open_yards(self) -> list[Yard]:
        return open_yards(self.plan, self.streams, self.trials, self.years)

    # ---- the loop ------------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Walk the tile through all years, established blocks through the years before year 0 first."""
        self.open()
        for year in range(self.years):
            self.walk(year)
        self.close()

    def open(self) -> None:
        """Grow established blocks through the years before year 0."""
        for block in self.blocks:
            self._grow_before_year_0(block)

    def walk(self, year: int) -> None:
        """Walk the tile through one year; years go in order."""
        self.pick = self.library.pick(self.trials, year)
        for block in self.blocks:
            self._open_year(block, year)
        self._rest_to_bloom(year)
        self._bloom_to_closed_canopy(year)
        self._closed_canopy_to_harvest(year)
        self._close_year(year)

    def copied(self, totals: Totals) -> Tile:
        """A tile in the same state, between two years, that goes its own way from here.

        Parameters
        ----------
        totals : Totals
            Receives the results of the copy; a copy of this tile's own, for what has been.
        """
        twin = copy.copy(self)
        twin.totals, twin.single_trees = totals, None
        # Draws are written anew each year into the same memory, so each tile needs its own.
        twin.blocks = [
            dataclasses.replace(
                block,
                state=copy.deepcopy(block.state),
                backlog=copy.deepcopy(block.backlog),
                alive=block.alive.copy(),
                draws=None,
                loss_draws=None,
            )
            for block in self.blocks
        ]
        twin.yards = [yard.copied() for yard in self.yards]
        return twin

    def close(self) -> None:
        """Book what is known only at the end."""
        for block in self.blocks:
            index = trees.biennial_index(block.model, block.state)
            self.totals.biennial_index[self.rows, block.columns] = index
            pack_boxes(self.plan, block, self.totals, self.rows)
        book_yards(self.yards, self.plan.labels, self.totals, self.rows.start)

    def _open_year(self, block: BlockRun, year: int) -> None:
        block.season = self._season_for_trees(block, year)
        self._weather_results(block, year)
        if block.standing or year == block.resolved.year_planted:
            self._draw(block, year)

    def _draw(self, block: BlockRun, year: int) -> None:
        """Draw a block's year into the arrays that it keeps for that."""
        layout, name = block.resolved.plan.layout, block.resolved.name
        block.draws = draw_year(self._rngs("tree year", name, year), block.model.positions, block.draws)
        block.loss_draws = losses.draw_losses(
            self._rngs("loss", name, year),
            layout.rows,
            layout.trees_per_row,
            layout.row_spacing,
            layout.tree_spacing,
            block.loss_draws,
        )

    def _season_for_trees(self, block: BlockRun, year: int) -> SeasonForTrees:
        """What the trees see of the year's season; frost protection works or breaks down, once for the whole spring."""
        season, site = self.library.for_trees(block.number, self.pick), block.resolved.site
        if site.protection == "none":
            return season
        uniform = np.array([rng.random() for rng in self._rngs("frost protection", block.resolved.name, year)])
        failed = self.library.of(block.number, "frost_kill_failed", self.pick)
        kill = np.where((uniform < site.protection_failure)[:, None], failed, season.frost_kill)
        return dataclasses.replace(season, frost_kill=kill)

    def _weather_results(self, block: BlockRun, year: int) -> None:
        def put(name: str, values: Array) -> None:
            self.totals.put(name, self.rows, year, block.columns, values)

        assert block.season is not None
        put("bloom_day", self.library.of(block.number, "bloom_day", self.pick))
        put("frost_kill", block.season.frost_kill)
        if not (block.standing or year == block.resolved.year_planted):
            return
        hectares = np.array([money.geometry.planted_area for money in block.resolved.money]) / HECTARE
        for name in ("protection_hours", "protection_nights", "protection_water"):
            put(name, self.library.of(block.number, name, self.pick))
        put("protection_fuel", self.library.of(block.number, "protection_fuel", self.pick) * hectares)
        labour = self.library.of(block.number, "protection_labour", self.pick) * hectares
        task = TASKS.index("frost_protection")
        self.totals.arrays["labour_hours"][self.rows, year, block.columns, task] += labour

    def _rest_to_bloom(self, year: int) -> None:
        jobs: list[list[Job]] = [[] for _ in self.trials]
        for block in self.blocks:
            if block.standing:
                self._rest_losses(block, year)
            work_asked = trees.rest_to_bloom(block.model, block.state) if block.standing else None
            pruning = work_asked.pruning_hours if work_asked else np.zeros_like(block.alive)
            training = work_asked.training_hours if work_asked else np.zeros_like(block.alive)
            first = self._plant(block, year)
            again = self._replant(block, year) if block.standing and not first else None
            if first:
                training = training + trees.first_leaf_hours(block.model, block.model.total(block.state.alive))
            elif again is not None:
                training = training + trees.first_leaf_hours(block.model, again)
            if block.standing:
                self._dormant_jobs(block, year, jobs, pruning, training)
        self._work(year, 0, jobs)
        for block in self.blocks:
            if not block.standing:
                continue
            passed_over = self._settle(block, year, "dormant_pruning")
            if passed_over or block.state.overgrown is not None:
                unfinished.leave_unpruned(block.model, block.state, *block.backlog.place("dormant_pruning"))

    def _rest_losses(self, block: BlockRun, year: int) -> None:
        season = self.library.for_losses(block.number, self.pick)
        assert block.loss_draws is not None
        cause = losses.rest_losses(self.plan.hazards, block.traits, block.state, season, block.loss_draws)
        self._take_out(block, year, cause)
        injury = losses.winter_injury(self.plan.hazards, block.traits, season)
        if injury.any():
            block.state.health *= 1 - block.model.expand(injury)

    def _plant(self, block: BlockRun, year: int) -> bool:
        if year != block.resolved.year_planted:
            return False
        assert block.draws is not None
        block.model.plant(block.state, block.draws)
        block.planted = True
        planted = block.model.total(block.state.alive)
        self.totals.put("trees_planted", self.rows, year, block.columns, planted)
        policy = self.plan.replacement
        extra = {money.label: money.geometry.extra_trees for money in block.resolved.money}
        for row, yard in enumerate(self.yards):
            numbers = {label: int(n) for label, n in zip(block.resolved.labels, planted[row], strict=True)}
            yard.first_planting(year, numbers, policy.window_start, policy.window_end, extra)
        return True

    def _replant(self, block: BlockRun, year: int) -> Array:
        policy = self.plan.replacement
        leaf = block.resolved.leaf(year)
        counts = np.zeros(block.alive.shape, dtype=np.int64)
        if leaf > 1 and (meant := leaf <= self._last_leaves(block)).any():
            gaps = (block.model.group_trees - block.model.total(block.state.alive)) * meant
            fit = self.library.of(block.number, "work_fraction", self.pick)[:, 0, 0]
            for row, yard in enumerate(self.yards):
                wanted = {label: int(n) for label, n in zip(block.resolved.labels, gaps[row], strict=True)}
                done = yard.planting(year, policy.window_start, policy.window_end, wanted, float(fit[row]))
                counts[row] = [done.get(label, 0) for label in block.resolved.labels]
        assert block.draws is not None
        planted = block.model.replant(block.state, counts, block.draws) if counts.any() else counts.astype(float)
        books.check_flow("trees planted into gaps", counts.astype(float), {"planted": planted}, 0.0)
        self.totals.put("trees_replanted", self.rows, year, block.columns, planted)
        return planted

    def _last_leaves(self, block: BlockRun) -> Array:
        """Last leaf of the block in which gaps of each row group are filled, (group,)."""
        return np.array([self.plan.rules(label).last_refill_leaf for label in block.resolved.labels], dtype=float)

    def _dormant_jobs(self, block: BlockRun, year: int, jobs: list[list[Job]], pruning: Array, training: Array) -> None:
        drivers, backlog = self.library.drivers[block.number], block.backlog
        building = np.zeros_like(block.alive)
        for group, money in enumerate(block.resolved.money):
            support_year = money.year_planted + max(money.support_leaf - 1, 0)
            if year == support_year and money.year_planted >= 0:
                building[:, group] = money.support_hours
        pruning = backlog.ask("dormant_pruning", pruning)
        training = backlog.ask("training", training)
        building = backlog.ask("support_building", building)
        ranks = block.resolved.crew_ranks
        planted = self.plan.replacement.window_start if year == block.resolved.year_planted else 0.0
        for group, label in enumerate(block.resolved.labels):
            season, rank = drivers[group], ranks[group]
            for row, season_row in enumerate(self.pick.tolist()):
                hours = float(pruning[row, group]), float(training[row, group])
                row_jobs = work.dormant_jobs(label, season, season_row, *hours, rank, planted)
                if building[row, group] > 0:
                    row_jobs.append(work.support_job(label, season, season_row, float(building[row, group]), rank))
                jobs[row].extend(row_jobs)

    def _settle(self, block: BlockRun, year: int, task: str) -> bool:
        """Book what the crews did of a task of the year; returns whether they passed over any tree."""
        return block.backlog.settle(task, hours_done(self.yards, year, block.resolved.labels, task))

    def _bloom_to_closed_canopy(self, year: int) -> None:
        jobs: list[list[Job]] = [[] for _ in self.trials]
        standing = [block for block in self.blocks if block.standing]
        for block in standing:
            assert block.season is not None and block.draws is not None
            bloom = trees.bloom_to_closed_canopy(block.model, block.state, block.season, block.draws)
            block.fruit_kept = bloom.kept
            self._check_flowers(bloom)
            drivers = self.library.drivers[block.number]
            for group, label in enumerate(block.resolved.labels):
                for row, season_row in enumerate(self.pick.tolist()):
                    hours = float(bloom.thinning_hours[row, group])
                    rank = block.resolved.crew_ranks[group]
                    jobs[row].append(work.thinning_job(label, drivers[group], season_row, hours, rank))
        outcome = self._work(year, 1, jobs)
        place = 0
        for block in standing:
            shape = block.alive.shape
            share, late = np.ones(shape), np.zeros(shape)
            for group in range(shape[1]):
                bloom_day = self.library.drivers[block.number][group].bloom_day
                for row, season_row in enumerate(self.pick.tolist()):
                    done = outcome[row][place + group]
                    share[row, group] = done.share
                    late[row, group] = work.thinning_delay(done, bloom_day[season_row])
            place += shape[1]
            block.fruit_thinned = trees.thin(block.model, block.state, share, late)

    @staticmethod
    def _check_flowers(bloom: trees.Bloom) -> None:
        uses = {name: getattr(bloom, name) for name in ("frosted", "stripped", "unset", "dropped", "sprayed", "kept")}
        books.check_flow("flowers", bloom.flowers, uses, MASS_TOLERANCE)

    def _closed_canopy_to_harvest(self, year: int) -> None:
        jobs: list[list[Job]] = [[] for _ in self.trials]
        standing = [block for block in self.blocks if block.standing]
        rate = self.plan.work_rates.picking
        for block in standing:
            assert block.season is not None
            trees.closed_canopy_to_harvest(block.model, block.state, block.season)
            lost_fruit = self._season_losses(block, year)
            ripe = trees.ripe_fruit(block.model, block.state, block.season)
            uses = {"thinned": block.fruit_thinned, "lost with trees": lost_fruit, "ripe": ripe.number.sum(axis=-1)}
            books.check_flow("fruit", block.fruit_kept, uses, MASS_TOLERANCE)
            drivers = self.library.drivers[block.number]
            block.backlog.ask("summer_pruning", ripe.summer_pruning_hours)
            for group, label in enumerate(block.resolved.labels):
                spread = block.resolved.plan.cultivars[group].ripening_spread
                due = pass_days(0.0, spread, block.model.pass_share[group])
                for row, season_row in enumerate(self.pick.tolist()):
                    season = drivers[group]
                    hours = float(ripe.summer_pruning_hours[row, group])
                    rank = block.resolved.crew_ranks[group]
                    jobs[row].append(work.summer_pruning_job(label, season, season_row, hours, rank))
                    days = [season.harvest_day[season_row] + day for day in due]
                    masses, urgency = ripe.mass[row, group].tolist(), work.priority("picking", rank)
                    jobs[row].extend(
                        picking_jobs(label, masses, days, rate, tolerance=work.PICK_TOLERANCE, priority=urgency)
                    )
        outcome = self._work(year, 2, jobs)
        place = 0
        for block in standing:
            groups, passes = block.alive.shape[1], block.model.pass_count
            share = np.ones((len(self.trials), groups, passes))
            late = np.zeros((len(self.trials), groups))
            for group in range(groups):
                start = place + group * (1 + passes) + 1
                for row in range(len(self.trials)):
                    done = outcome[row][start : start + passes]
                    share[row, group] = [one.share for one in done]
                    late[row, group] = work.picking_delay(jobs[row][start : start + passes], done)
            place += groups * (1 + passes)
            self._leave_undone(block, year)
            self._harvest(block, year, share, late)
            if self._settle(block, year, "training"):
                unfinished.leave_unbent(block.model, block.state, *block.backlog.place("training"))
            self._settle(block, year, "support_building")

    def _leave_undone(self, block: BlockRun, year: int) -> None:
        """Fruit of trees that missed their summer pruning is judged again."""
        if self._settle(block, year, "summer_pruning"):
            assert block.season is not None
            place = block.backlog.place("summer_pruning")
            unfinished.leave_summer_growth(block.model, block.state, block.season, *place)

    def _season_losses(self, block: BlockRun, year: int) -> Array:
        assert block.loss_draws is not None
        held = np.ones_like(block.alive)
        if year >= 0:
            held = block.backlog.supported(hours_done(self.yards, year, block.resolved.labels, "support_building"))
        found = losses.season_losses(
            self.plan.hazards,
            block.traits,
            block.state,
            self.library.for_losses(block.number, self.pick),
            block.loss_draws,
            block.loss_site,
            block.resolved.leaf(year),
            unfinished.left_trees(block.model, held) if (held < 1).any() else None,
            block.uncut,
        )
        lost = self._take_out(block, year, found.cause)
        if found.health_loss.any():
            block.state.health *= 1 - found.health_loss
        cutting = cut_strikes(self.plan.hazards, block, found.health_loss)
        if year >= 0:
            task = TASKS.index("upkeep")
            self.totals.arrays["labour_hours"][self.rows, year, block.columns, task] += cutting
        return lost

    def _take_out(self, block: BlockRun, year: int, cause: NDArray[np.int8]) -> Array:
        """Remove dead trees, book them by cause, and return the fruit that was on them (trial, group)."""
        if not cause.any():
            return np.zeros_like(block.alive)
        if year >= 0:
            self.totals.add("trees_lost", self.rows, year, block.columns, by_cause(block, cause))
        return block.model.kill(block.state, cause > 0)["fruit"]

    def _harvest(self, block: BlockRun, year: int, share: Array, late: Array) -> None:
        assert block.season is not None
        crop = trees.harvest(block.model, block.state, share, late)
        ripe = block.state.totals["crop_mass"]
        books.check_flow("fruit mass", ripe, {"picked": crop.harvested_mass, "dropped": crop.dropped_mass}, 1e-5)
        uses = {"packed": crop.packed_mass.sum(axis=-1), "culled": crop.culled_mass}
        books.check_flow("picked mass", crop.harvested_mass, uses, MASS_TOLERANCE)
        trees.harvest_to_leaf_fall(block.model, block.state, block.season)
        marked = self._hail(block, year)
        put = self.totals.put
        put("hail_fraction", self.rows, year, block.columns, marked)
        self.totals.fruit_mass_square[self.rows, year, block.columns] = block.state.totals["fruit_mass_square"]
        put("harvested_mass", self.rows, year, block.columns, crop.harvested_mass)
        put("pass_price", self.rows, year, block.columns, pass_price(self.plan, block, share))
        put("packed_mass", self.rows, year, block.columns, after_hail(crop.packed_mass, marked))

    def _hail(self, block: BlockRun, year: int) -> Array:
        """Share of the fruit marked by hail (trial, group): the farm's blocks meet the same storms."""
        site = block.resolved.site
        uniforms = np.stack([rng.random(HAIL_DRAWS) for rng in self._rngs("hail", "", year)])
        net = site.netting and block.resolved.leaf(year) >= NET_LEAF
        marked = hail_damage(uniforms, site.hail_storms, site.hail_damage, net)
        return np.repeat(marked[:, None], block.alive.shape[1], axis=1)

    def _close_year(self, year: int) -> None:
        for block in self.blocks:
            if not block.standing:
                continue
            self._observe(block, year)
            if year == block.resolved.plan.year_removed:
                self._remove(block, year)
                block.backlog.drop()
            for task, hours in block.backlog.carried.items():
                self.totals.arrays["labour_carried"][self.rows, year, block.columns, TASKS.index(task)] = hours
            self._check_trees(block, year)
        policy = self.plan.replacement
        for row, yard in enumerate(self.yards):
            gaps: dict[str, int] = {}
            leaf: dict[str, int] = {}
            for block in self.blocks:
                end = block.resolved.plan.year_removed
                if not block.planted or (end is not None and year < end <= year + policy.lead_time):
                    continue  # a tree ordered now would come for a block that is gone
                missing = (
                    np.zeros_like(block.alive[row]) if block.removed else block.model.group_trees - block.alive[row]
                )
                gaps.update({label: int(n) for label, n in zip(block.resolved.labels, missing, strict=True)})
                # past its last leaf with refilling a block's spares are thrown out
                ages = self._last_leaves(block) if block.removed else np.full(len(missing), block.resolved.leaf(year))
                leaf.update({label: int(age) for label, age in zip(block.resolved.labels, ages, strict=True)})
            yard.order_review(year, policy.order_day, gaps, leaf=leaf)

    def _observe(self, block: BlockRun, year: int) -> None:
        for name, values in trees.observe(block.model, block.state).items():
            self.totals.put(name, self.rows, year, block.columns, values)
        irrigation = self.library.of(block.number, "irrigation_depth", self.pick)
        depth = block.model.water(irrigation, block.state.cover)
        self.totals.put("irrigation_depth", self.rows, year, block.columns, depth)
        if self.single_trees is not None:
            for name, single in trees.tree_output(block.state).items():
                for row, trial in enumerate(self.trials):
                    store = self.single_trees.setdefault((trial, block.number), {})
                    store.setdefault(name, []).append(single[row].copy())

    def _remove(self, block: BlockRun, year: int) -> None:
        standing = block.model.total(block.state.alive)
        self.totals.put("trees_removed", self.rows, year, block.columns, standing)
        self.totals.put("trees_alive", self.rows, year, block.columns, np.zeros_like(standing))
        block.state.clear(block.state.alive.copy())
        block.removed = True

    def _check_trees(self, block: BlockRun, year: int) -> None:
        def of(name: str) -> Array:
            return self.totals.arrays[name][self.rows, year, block.columns]

        after = of("trees_alive")
        lost = of("trees_lost").sum(axis=-1)
        books.check_trees(block.alive, of("trees_planted"), of("trees_replanted"), lost, of("trees_removed"), after)
        block.alive = after.copy()

    def _work(self, year: int, phase: int, jobs: Sequence[Sequence[Job]]) -> list[list[Done]]:
        """Let each trial's crews work through a phase's jobs."""
        standing = [one for block in self.blocks if block.standing for one in self.library.drivers[block.number]]
        return work_phase(self.yards, standing, self.pick, year, phase, jobs)

    # ---- before year 0 -------------------------------------------------------------------------------------------

    def _grow_before_year_0(self, block: BlockRun) -> None:
        """Grow an established block through the record's own seasons, or set it to its measured size."""
        resolved = block.resolved
        first = resolved.year_planted
        if first >= 0:
            return
        if resolved.plan.trunk_area_at_start is not None:
            draws = draw_year(self._rngs("tree year", resolved.name, first), block.model.positions)
            block.model.plant_established(
                block.state, draws, -first, resolved.plan.trunk_area_at_start, resolved.plan.crop_at_start
            )
            block.planted = True
        else:
            for year in range(first, 0):
                self._grow_one_year(block, year)
        block.alive = block.model.total(block.state.alive)

    def _grow_one_year(self, block: BlockRun, year: int) -> None:
        """One year before year 0: all work is done in time, gaps of the first leaves are filled."""
        model, state = block.model, block.state
        self.pick = self.library.pick(self.trials, year)
        block.season = self._season_for_trees(block, year)
        self._draw(block, year)
        assert block.draws is not None
        if block.planted:
            self._rest_losses(block, year)
            trees.rest_to_bloom(model, state)
            meant = block.resolved.leaf(year) <= self._last_leaves(block)
            if meant.any():
                gaps = (model.group_trees - model.total(state.alive)) * meant
                model.replant(state, gaps.astype(np.int64), block.draws)
        else:
            model.plant(state, block.draws)
            block.planted = True
        trees.bloom_to_closed_canopy(model, state, block.season, block.draws)
        trees.thin(model, state, np.ones_like(block.alive), np.zeros_like(block.alive))
        trees.closed_canopy_to_harvest(model, state, block.season)
        self._season_losses(block, year)
        trees.ripe_fruit(model, state, block.season)
        trees.harvest(model, state, np.ones((*block.alive.shape, model.pass_count)), np.zeros_like(block.alive))
        trees.harvest_to_leaf_fall(model, state, block.season)
