"""What measured trees say of the levels that a plan leaves open, and the plan that carries it."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

import orchardsim
from orchardsim.analysis.bloom_needs import BloomDates, bloom_needs
from orchardsim.analysis.decision import base_tables
from orchardsim.analysis.learning import (
    DRAWS,
    ROWS,
    Answer,
    Conflict,
    Table,
    learn,
    learned_of,
    levels_of_parts,
    second_round,
    table_of,
)
from orchardsim.analysis.sights import SIGHT_KINDS, Seen, seen_of
from orchardsim.core.errors import InputError
from orchardsim.core.futures import HAZARD_CAUSES, OPEN_LEVELS, Learned
from orchardsim.core.streams import Streams
from orchardsim.core.text import Brief
from orchardsim.plan import Plan, load_plan
from orchardsim.plan.keys import with_keys
from orchardsim.plan.learned import LearnedFile, ground_of
from orchardsim.plan.measurements import (
    Measurement,
    Measurements,
    as_csv,
    parse_measurements,
    read_measurements,
    together,
)
from orchardsim.plan.rewriting import rewritten
from orchardsim.plan.row_group import RowGroup
from orchardsim.results.fit import (
    LEARNED_FILE,
    Band,
    BloomAnswer,
    ConflictAnswer,
    FitFindings,
    LevelAnswer,
    SightAnswer,
    WithoutAnswer,
)
from orchardsim.simulation.futures import Levels, draw_future, level_keys
from orchardsim.simulation.replay import FELT_LEVELS, GROWTH_SPREAD, Replay, Sight, unlinked

Array = NDArray[np.float64]
POINTS: Final = (5, 50, 95)
UNIT_SLIPS: Final = {
    10.0: "mm read as cm",
    2.54: "inches read as cm, or the reverse",
    3.1416: "girth read as diameter, or the reverse",
}
"""Factors between lengths that a wrong unit makes."""


@dataclass(frozen=True, repr=False)
class Fit(Brief):
    """What a fit gives.

    Attributes
    ----------
    learned : LearnedFile
        For the file beside the plan.
    plan, prior : Plan
        The plan that carries what was learned, and the one without it.
    next_season : int
        First year of the plan whose season begins after the last measurement.
    """

    findings: FitFindings
    learned: LearnedFile
    plan: Plan
    prior: Plan
    next_season: int

    def tables(self) -> dict[str, Any]:
        """Tables of ``prior``'s file: what bloom dates told is in them, what was learned of levels is not."""
        return _tables(self.prior, self.learned.needs, 1)

    def plan_text(self, text: str, record: str | None = None) -> str:
        """The plan's own text, changed where it now carries what was learned.

        Parameters
        ----------
        text : str
            The plan file that was fitted.
        record : str, optional
            Weather record's path as seen from there, where it has one.
        """
        changes: dict[tuple[str, str], Any] = {("futures", "learned"): LEARNED_FILE}
        for cultivar, needs in self.learned.needs.items():
            chill, heat = needs["chill_requirement"][1], needs["bloom_heat"][1]
            table = f'cultivar."{cultivar}"'
            changes[table, "chill_requirement"] = float(f"{chill:.4g}")
            changes[table, "bloom_heat"] = f"{heat:.4g} K day"
        if record is not None:
            changes["weather", "record"] = record
        return rewritten(text, changes, self.plan.where)


def fit(
    plan: Plan,
    measurements: str | Path | Measurements,
    *,
    seed: int = 1,
    before: LearnedFile | None = None,
    rows: int = ROWS,
    draws: int = DRAWS,
    say: Callable[[str], object] = lambda line: None,
) -> Fit:
    """Learn from measured trees.

    Raises InputError if the measurements do not fit the plan.

    Parameters
    ----------
    plan : Plan
        States ``calendar_year``. If it carries what was learned before, those measurements count with the new.
    measurements : path or Measurements
        CSV of :func:`orchardsim.plan.measurements.read_measurements`.
    seed : int
        Seed of the simulated rows and of the sampling.
    before : LearnedFile, optional
        File that the plan carries.
    rows, draws : int
        Simulated rows of each of two rounds; draws that are kept.
    say : callable
        Told what is being done.
    """
    where = "measurements" if isinstance(measurements, Measurements) else str(measurements)
    if plan.futures.learned is not None and before is None:
        raise InputError(
            plan.where, "futures.learned: the plan carries what was learned before; hand that file over too"
        )
    needs = {} if before is None else before.needs
    base = _with_needs(plan.with_futures(learned=None), needs, 0)
    new = measurements if isinstance(measurements, Measurements) else read_measurements(measurements, base)
    kept = () if before is None else parse_measurements(as_csv(before.rows), base, LEARNED_FILE).rows
    used = together(kept, new, where)
    bloom, needs, unknown = _bloom(base, used.of("bloom_date"), where)
    base = _with_needs(base, needs, 1)
    used = dataclasses.replace(used, rows=tuple(row for row in used.rows if row not in unknown))
    remarks = [*used.remarks, *_set_aside(base, unknown)]
    if not used.rows:
        raise InputError(where, f"nothing is left to learn from: {'; '.join(remarks)}")
    seen = seen_of(base, used.rows, where)
    if len(seen.sights):
        learned, told = _told_by_trees(base, seen, seed, rows, draws, say)
    else:
        learned, told = Learned((), np.zeros((draws, 0))), NOTHING_TOLD
        remarks.append("bloom dates alone tell of chill and heat, not of growth or crop")
    blocks = tuple(dict.fromkeys(row.block for row in used.rows))
    # the plan's own middles and spreads stay; what was learned stands beside them
    fitted = base.with_futures(learned=learned if learned.parts else None)
    file = LearnedFile(blocks, ground_of(fitted, blocks), learned, needs, tuple(row.cells for row in used.rows))
    findings = FitFindings(
        title=base.title,
        plan_name=base.path.name if base.path is not None else "plan",
        measurements=len(used.rows),
        trees=len({(row.block, row.row, row.tree) for row in used.rows if row.tree is not None}),
        seasons=tuple(str(base.harvest_year(year)) for year in sorted({row.year for row in used.rows})),
        levels=_level_answers(base, fitted, seed, draws),
        bloom=bloom,
        draws=draws,
        remarks=tuple(remarks),
        attrs={"version": orchardsim.__version__, "seed": seed, "plan_hash": plan.hash, "units": plan.units},
        **told,
    )
    return Fit(findings, file, fitted, base, max(row.year for row in used.rows) + 1)


NOTHING_TOLD: Final[dict[str, Any]] = {
    "sights": (), "without": (), "conflicts": (), "misfit": 1.0, "rows": 0, "steps": 0, "effective": 1.0, "unlike": 1.0,
    "lacking": (),
}  # fmt: skip
"""Findings of a fit without sights."""


def _told_by_trees(
    base: Plan, seen: Seen, seed: int, rows: int, draws: int, say: Callable[[str], object]
) -> tuple[Learned, dict[str, Any]]:
    """What trees tell of the levels, and the findings of :data:`NOTHING_TOLD`."""
    rng = np.random.default_rng(seed)
    replay = Replay(base, seen.sights, seed)
    say(f"growing {rows} rows again through {replay.years} seasons, twice")
    first = table_of(replay, range(rows))
    draft = learn(replay.plan, seen, first, rng, count=draws)
    table = Table.joined([first, second_round(replay, draft, rows)])
    say("weighing them by what was seen")
    answer = learn(replay.plan, seen, table, rng, count=draws, conflicts=draft.conflicts, prior=first)
    say("holding measurements back to check")
    sights, without = _sights(base, seen, answer, first, table, replay, rng)
    return learned_of(answer.parts, answer.found.draws), {
        "sights": sights,
        "without": without,
        "conflicts": tuple(_conflict(base, conflict, seen, first) for conflict in answer.conflicts),
        "misfit": answer.misfit,
        "rows": 2 * rows,
        "steps": answer.found.steps,
        "effective": answer.found.effective,
        "unlike": answer.found.unlike,
        "lacking": replay.lacking,
    }


def _with_needs(plan: Plan, needs: Mapping[str, Mapping[str, Sequence[float]]], which: int) -> Plan:
    """The plan with chill and heat needs before (0) or after (1) bloom dates.

    A plan from a file is resolved anew, for pollen too hangs on when cultivars bloom.
    """
    if not needs:
        return plan
    if plan.path is not None:
        resolved = load_plan(_tables(plan, needs, which), base=plan.path.parent)
        return dataclasses.replace(resolved, path=plan.path, futures=plan.futures)

    def adjusted(group: RowGroup) -> RowGroup:
        own = {key: float(pair[which]) for key, pair in needs.get(group.cultivar_name, {}).items()}
        return dataclasses.replace(group, phenology=dataclasses.replace(group.phenology, **own))

    return plan.with_groups(adjusted)


def _tables(plan: Plan, needs: Mapping[str, Mapping[str, Sequence[float]]], which: int) -> dict[str, Any]:
    """Tables of the plan's file without what was learned of levels, with needs before (0) or after (1) bloom dates."""
    changes: dict[str, Any] = {}
    for name, own in needs.items():
        table = f"cultivar.{json.dumps(name)}"
        changes[f"{table}.chill_requirement"] = own["chill_requirement"][which]
        changes[f"{table}.bloom_heat"] = f"{own['bloom_heat'][which]!r} K day"
    return with_keys(base_tables(plan), changes, plan.where)


# ---- bloom dates ----------------------------------------------------------------------------------------------------


def _bloom(
    plan: Plan, rows: Sequence[Measurement], where: str
) -> tuple[tuple[BloomAnswer, ...], dict[str, dict[str, list[float]]], list[Measurement]]:
    """What bloom dates tell of each cultivar, its needs, and the dates whose season the record does not hold."""
    unknown: list[Measurement] = []
    if not rows:
        return (), {}, unknown
    if plan.weather.record is None:
        raise InputError(
            where, f"line {rows[0].line}: bloom dates need a weather record (weather.record) of their seasons"
        )
    groups = {group.label: group for group in plan.groups}
    years = [row.year for row in rows]
    look = [Sight("trunk_area", max(years), 0, rows[0].block, (0,))]
    seasons = Replay(plan, look, 0).library(range(1)).sample
    known = {int(seasons.seasons.harvest_year[row]): int(row) for row in seasons.history}
    by_cultivar: dict[str, list[Measurement]] = {}
    for row in rows:
        if row.label is None:
            raise InputError(
                where, f"line {row.line}: the bloom date of block {row.block} needs its row group; it has several"
            )
        if plan.harvest_year(row.year) not in known:
            unknown.append(row)
            continue
        by_cultivar.setdefault(groups[row.label].cultivar_name, []).append(row)
    answers, needs = [], {}
    for cultivar, own in by_cultivar.items():
        before = next(group.phenology for group in plan.groups if group.cultivar_name == cultivar)
        dates = BloomDates(
            np.array([known[plan.harvest_year(row.year)] for row in own]),
            np.array([float(row.day) for row in own]),
            np.array([row.error for row in own]),
        )
        answer = bloom_needs(seasons.seasons, cultivar, dates, before)
        answers.append(answer)
        # four digits, as the plan writes them
        chill, heat = (float(f"{value:.4g}") for value in (answer.chill_after[0], answer.heat_after[0]))
        needs[cultivar] = {
            "chill_requirement": [before.chill_requirement, chill],
            "bloom_heat": [before.bloom_heat, heat],
        }
    return tuple(answers), needs, unknown


def _set_aside(plan: Plan, unknown: Sequence[Measurement]) -> list[str]:
    """Bloom dates that were set aside, in words."""
    return [
        f"the bloom date {row.date.isoformat()} of {row.label} was set aside: of the weather record's whole seasons in "
        f"use none is {plan.harvest_year(row.year)}"
        for row in unknown
    ]


# ---- answers --------------------------------------------------------------------------------------------------------

WORDS: Final = {
    "growth": "growth of trees in {}",
    "site_growth": "growth of the ground of {}",
    "stock_by_site": "growth of {} on this ground",
    "cultivar_by_site": "growth of {} on this ground",
    "fruit_set": "fruit set of {}",
    "fruit_size": "fruit size of {}",
    "thinning_skill": "thinners' share of the excess taken off",
    "winter_cold": "coldest nights over the station's",
    "hazard_level": "losses by {}",
}


def _level_answers(before: Plan, after: Plan, seed: int, draws: int) -> tuple[LevelAnswer, ...]:
    trials = range(draws)
    old, new = (draw_future(plan, Streams(seed), trials) for plan in (before, after))
    answers = []
    for column, label in enumerate(before.labels):
        pair = old.growth[:, column], new.growth[:, column]
        answers.append(_level_answer("growth", label, *pair))
    for level in FELT_LEVELS:
        keys = level_keys(before, level)
        for key in dict.fromkeys(keys):
            pair = _column(old, level, keys.index(key)), _column(new, level, keys.index(key))
            answers.append(_level_answer(level, key, *pair))
    return tuple(answers)


def _column(levels: Levels, level: str, column: int) -> Array:
    return levels.values[level][:, column]


def _level_answer(level: str, key: str, before: Array, after: Array) -> LevelAnswer:
    row = OPEN_LEVELS.get(level)
    natural = row is not None and row.family == "normal"
    spreads = [float(np.std(values if natural else np.log(values))) for values in (before, after)]
    told = 1.0 - spreads[1] / spreads[0] if spreads[0] > 0 else 0.0
    name = key.replace("_", " ") if key in HAZARD_CAUSES else key
    return LevelAnswer(
        f"{level} of {key}" if key else level,
        WORDS[level].format(name),
        "" if row is None or row.unit == "1" else row.unit,
        _band(before),
        _band(after),
        told,
    )


def _band(values: Array) -> Band:
    low, middle, high = (float(value) for value in np.percentile(values, POINTS))
    return low, middle, high


def _sights(
    plan: Plan, seen: Seen, answer: Answer, first: Table, table: Table, replay: Replay, rng: np.random.Generator
) -> tuple[tuple[SightAnswer, ...], tuple[WithoutAnswer, ...]]:
    """Every sight beside what was expected: before, after, and from all other families and seasons.

    And what growth would be without each family and season.
    """
    held: dict[int, Band] = {}
    without: list[WithoutAnswer] = []
    groups = list(dict.fromkeys(seen.groups))
    for group in groups:
        # Dead trees say nothing of growth: beside them alone it would be held against what was known before.
        if any(other != group and other[0] != "losses" for other in groups):
            out = [place for place, own in enumerate(seen.groups) if own == group]
            rest = [place for place in range(len(seen.sights)) if place not in out]
            conflicts = tuple(conflict for conflict in answer.conflicts if (conflict.family, conflict.year) != group)
            other = learn(
                replay.plan, seen.part(rest), table.part(rest), rng, count=len(answer.found.draws) // 2,
                conflicts=conflicts, prior=first.part(rest),
            )  # fmt: skip
            levels = levels_of_parts(replay.plan, other.parts, other.found.draws)
            without += _growth_without(plan, replay.plan, group, levels)
            bands = _expected(seen, answer, levels, rng)
            held |= {place: bands[place] for place in out}
    noise = rng.multivariate_normal(np.zeros(len(seen.values)), seen.errors, size=len(first.values))
    before = [_unlinked_band(sight.measure, (first.values + noise)[:, k]) for k, sight in enumerate(seen.sights)]
    levels = levels_of_parts(replay.plan, answer.parts, answer.found.draws)
    after = _expected(seen, answer, levels, rng)
    answers = tuple(
        SightAnswer(
            sight.measure + (f" of {sight.cause}" if sight.cause else ""),
            seen.labels[place],
            _season(plan.harvest_year(sight.year), sight.day, sight.measure),
            SIGHT_KINDS[sight.measure].unit,
            seen.trees[place],
            float(unlinked(sight.measure, seen.values[place])),
            before[place],
            after[place],
            held.get(place),
        )
        for place, sight in enumerate(seen.sights)
    )
    return answers, tuple(without)


def _growth_without(plan: Plan, replayed: Plan, group: tuple[str, int], levels: Array) -> list[WithoutAnswer]:
    """Growth of each measured row group at levels (draw, level) as trees feel them, learned without some sights."""
    season = str(plan.harvest_year(group[1]))
    middles = np.exp(GROWTH_SPREAD * np.median(levels[:, : len(replayed.labels)], axis=0))
    return [
        WithoutAnswer(f"growth of {label}", group[0], season, float(middle))
        for label, middle in zip(replayed.labels, middles, strict=True)
    ]


def _season(year: int, day: int, measure: str) -> str:
    if SIGHT_KINDS[measure].family != "growth":
        return str(year)
    return f"{year}, after leaf fall" if day >= 365 else f"{year}, day {day} of the season"


def _expected(seen: Seen, answer: Answer, levels: Array, rng: np.random.Generator) -> list[Band]:
    """Bands of what would be seen at some levels, rows' luck and all errors within."""
    mean = answer.emulator.mean(levels)
    spread = answer.emulator.covariance + seen.errors
    values = mean + rng.multivariate_normal(np.zeros(len(seen.values)), spread, size=len(mean))
    return [_unlinked_band(sight.measure, values[:, place]) for place, sight in enumerate(seen.sights)]


def _unlinked_band(measure: str, values: Array) -> Band:
    low, middle, high = (float(unlinked(measure, value)) for value in np.percentile(values, POINTS))
    return low, middle, high


HINTS: Final = {
    "growth": "trees far from what stock, cultivar and ground let one expect: check labels, units and the stock",
    "bloom": "bloom far from what age and last crop let one expect: check the cultivar and how it was counted",
    "crop": "a crop that no season since planting explains: a frost or hail that the record lacks, poor pollen, or "
    "another cultivar",
    "fruit size": "fruit of a size that no season since planting explains: check the cultivar and the unit",
    "losses": "more or fewer losses than any season since planting explains: check the cause",
}


def _conflict(plan: Plan, conflict: Conflict, seen: Seen, first: Table) -> ConflictAnswer:
    hint = HINTS[conflict.family]
    for place, (sight, group) in enumerate(zip(seen.sights, seen.groups, strict=True)):
        if group == (conflict.family, conflict.year) and sight.measure == "trunk_area":
            ratio = float(np.exp(abs(seen.values[place] - np.median(first.values[:, place])) / 2))
            slips = [words for factor, words in UNIT_SLIPS.items() if abs(np.log(ratio / factor)) < 0.25]
            if slips:
                hint = f"the trunk is {ratio:.2g} times off: {' or '.join(slips)}?"
    return ConflictAnswer(conflict.family, str(plan.harvest_year(conflict.year)), conflict.chance, hint)
