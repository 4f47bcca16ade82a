"""Plans in the same futures: what each brings, their paired differences, and how sure those are."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.measures import MEASURES, plan_values, what_measures_read
from orchardsim.analysis.plan_contrasts import contrasts
from orchardsim.core.errors import InputError
from orchardsim.core.pool import worker_pool
from orchardsim.core.streams import Streams
from orchardsim.core.units import HECTARE
from orchardsim.plan import Plan, load_plan
from orchardsim.plan.model import UNNAMED
from orchardsim.results.comparison import LEVEL, Comparison, Difference, Measure, Pair, PlanFacts, decide
from orchardsim.results.farm import of_farm
from orchardsim.results.published import beside_published
from orchardsim.risk.bands import mean, quantile, quantile_interval, trials_needed, wilson_interval
from orchardsim.risk.comparison import luck_order, simultaneous_limit
from orchardsim.risk.record import SeasonsMet, record_errors
from orchardsim.simulation import simulate
from orchardsim.simulation.arguments import check_arguments

if TYPE_CHECKING:
    import xarray


Array = NDArray[np.float64]

LEAST_TRIALS: Final = 4
"""Fewer say nothing of a spread."""
FEW_TRIALS: Final = 100
"""Below this many trials the reader is warned: with fewer, a chance of one in twenty rests on under five trials."""
MOST_PLANS: Final = 12
SAME_AREA: Final = 0.03
"""Share by which plans' land may differ and still count as one field: whole trees and rows leave that much over."""
MOST_SEASONS: Final = 150
"""More distinct seasons than any record has: they were generated, not drawn from one."""


def compare(
    plans: Sequence[Plan | str | Path],
    *,
    trials: int = 200,
    years: int = 20,
    seed: int = 1,
    jobs: int = 1,
    progress: Callable[[int], Any] | None = None,
) -> Comparison:
    """Simulate plans in the same futures and compare them trial by trial.

    Raises InputError if there are fewer than two plans, or their money cannot be compared.

    Parameters
    ----------
    plans : sequence of Plan or path
        Two or more plans in one currency, price year and system of units.
    trials, years, seed, jobs
        As in :func:`orchardsim.simulate`; trial t meets the same seasons and prices under every plan.
    progress : callable, optional
        Called with the number of trials just finished, ``trials`` for each plan in all.

    Notes
    -----
    Seasons and prices are drawn by trial and year alone, so their share of the spread cancels in differences. The
    trees' own draws are the same only where a block of the same name has the same layout. Intervals of a measure are
    widened so that those of all pairs hold together (:func:`orchardsim.risk.comparison.simultaneous_limit`): whichever
    plan looks best, its lead is judged by an interval that allows for the choice.
    """
    check_arguments(trials=trials, years=years, seed=seed, jobs=jobs)
    read = [plan if isinstance(plan, Plan) else load_plan(plan) for plan in plans]
    check_plans(read)
    if trials < LEAST_TRIALS:
        raise InputError("trials", f"found {trials}, allowed {LEAST_TRIALS} or more")
    with worker_pool(jobs):  # the same workers for all plans
        datasets = [
            what_measures_read(simulate(plan, trials=trials, years=years, seed=seed, jobs=jobs, progress=progress))
            for plan in read
        ]
    return compare_results(read, datasets, seed)


def check_plans(plans: Sequence[Plan]) -> None:
    """Whether plans can be set side by side.

    Raises InputError: one line naming the plan, what was found and what is allowed.
    """
    if len(plans) < 2:
        raise InputError("compare", f"found {len(plans)} plan, allowed two or more plan files")
    if len(plans) > MOST_PLANS:
        raise InputError("compare", f"found {len(plans)} plans, allowed at most {MOST_PLANS}")
    first = plans[0]
    for plan in plans[1:]:
        for name, found, wanted in (
            ("currency", plan.currency, first.currency),
            ("units", plan.units, first.units),
            ("price_year", plan.price_year, first.price_year),
            ("finance.basis", plan.finance.basis, first.finance.basis),
            ("finance.discount_rate", plan.finance.discount_rate, first.finance.discount_rate),
        ):
            if found != wanted:
                raise InputError(
                    plan.where, f"{name}: found {found!r}, but {first.where} has {wanted!r}; allowed: the same in all"
                )


def compare_results(plans: Sequence[Plan], datasets: Sequence[xarray.Dataset], seed: int) -> Comparison:
    """Comparison of runs that already stand: same trials, years and seed for every plan."""
    facts = _facts(plans, datasets)
    measures = _measures(plans, datasets)
    areas = [plan.gross_area for plan in plans]
    deciding = "npv" if same_land(areas) or same_farm(plans) else "npv_per_area"
    gross = [area / HECTARE for area in areas]
    pairs = _pairs(plans, datasets, measures, deciding, seed)
    return Comparison(
        plans=facts,
        trials=int(datasets[0].sizes["trial"]),
        years=int(datasets[0].sizes["year"]),
        seed=seed,
        measures=measures,
        deciding=deciding,
        pairs=pairs,
        decision=decide(measures[deciding].values.mean(axis=1), pairs),
        contrasts=contrasts(plans),
        cash=np.stack([of_farm(dataset, "net_cash_flow").values.cumsum(axis=1) for dataset in datasets]),
        picked=np.stack(
            [of_farm(dataset, "harvested_mass").values / area for dataset, area in zip(datasets, gross, strict=True)]
        ),
        attrs=dict(datasets[0].attrs),
        notes=tuple(_notes(plans, datasets, facts, pairs)),
    )


def _pairs(
    plans: Sequence[Plan],
    datasets: Sequence[xarray.Dataset],
    measures: Mapping[str, Measure],
    deciding: str,
    seed: int,
) -> tuple[Pair, ...]:
    """All pairs of plans, with intervals of each measure that hold together."""
    numbers = list(itertools.combinations(range(len(plans)), 2))
    rng = Streams(seed)
    limits = {key: measure_limit(measure, rng.at("bootstrap", key)) for key, measure in measures.items()}
    pairs = []
    for first, second in numbers:
        a, b = measures[deciding].values[first], measures[deciding].values[second]
        differences = {
            key: difference(measure, first, second, limits[key])
            for key, measure in measures.items()
            if measure.known(first) and measure.known(second)
        }
        pairs.append(
            Pair(
                first,
                second,
                deciding,
                differences,
                luck_order(a, b, rng.at("bootstrap", f"{first}-{second}")),
                luck_order(b, a, rng.at("bootstrap", f"{first}-{second}")),
                same_tree_blocks(plans[first], plans[second]),
                _record_error(datasets[first], datasets[second], a - b),
                _trials_needed(differences[deciding], a.size, limits[deciding]),
            )
        )
    return tuple(pairs)


def measure_limit(measure: Measure, rng: np.random.Generator) -> float:
    """Half width of a measure's intervals: standard errors of a mean, or the level of one interval of a median.

    Notes
    -----
    Medians share the chance of error among the pairs (Bonferroni).
    """
    known = [plan for plan in range(len(measure.values)) if measure.known(plan)]
    pairs = list(itertools.combinations(known, 2))
    if not measure.has_mean:
        return 1 - (1 - LEVEL) / max(len(pairs), 1)
    gaps = [measure.values[first] - measure.values[second] for first, second in pairs]
    return simultaneous_limit(np.stack(gaps, axis=1), rng, LEVEL) if gaps else float("nan")


def difference(measure: Measure, first: int, second: int, limit: float) -> Difference:
    """One plan less another in one measure.

    ``limit``: half width of the interval, see :func:`measure_limit`; the level of the chance is :data:`LEVEL`.

    Notes
    -----
    A median has the interval of two order statistics (:func:`orchardsim.risk.bands.quantile_interval`).
    """
    a, b = measure.values[first], measure.values[second]
    same, won = a == b, a > b if measure.better == "high" else a < b
    with np.errstate(invalid="ignore"):
        gap = np.where(same, 0.0, a - b)
    if measure.has_mean:
        middle = mean(gap)
        low, high = (float(middle.value + sign * limit * middle.standard_error) for sign in (-1, 1))
    else:
        middle = quantile(gap, 0.5)
        low, high = (float(end) for end in quantile_interval(gap, 0.5, limit))
    constant = not (np.isfinite(a).all() and np.isfinite(b).all()) or a.std() == 0 or b.std() == 0
    return Difference(
        measure=measure.key,
        centre=float(middle.value),
        centre_is="mean" if measure.has_mean else "median",
        standard_error=float(middle.standard_error),
        low=low,
        high=high,
        spread_low=float(quantile(gap, 0.05).value),
        spread_high=float(quantile(gap, 0.95).value),
        chance_better=wilson_interval(int(won.sum()), a.size, LEVEL),
        ties=int(same.sum()),
        correlation=float("nan") if constant else float(np.corrcoef(a, b)[0, 1]),
    )


def same_land(areas: Sequence[float]) -> bool:
    """Whether areas are those of one field."""
    return max(areas) <= (1 + SAME_AREA) * min(areas)


def same_farm(plans: Sequence[Plan]) -> bool:
    """Whether all plans name the same place: then money of the whole farm is compared, whatever land they use."""
    places = {(plan.site_name, plan.weather.latitude, plan.weather.elevation) for plan in plans}
    return len(places) == 1 and plans[0].site_name != UNNAMED


def same_tree_blocks(first: Plan, second: Plan) -> tuple[str, ...]:
    """Blocks whose trees meet the same draws in both plans: the same name, rows, trees per row and spacings."""

    def layouts(plan: Plan) -> dict[str, tuple[float, ...]]:
        return {
            block.name: (
                block.geometry.rows,
                block.geometry.trees_per_row,
                block.geometry.trees,
                block.geometry.row_spacing,
                block.geometry.tree_spacing,
            )
            for block in plan.blocks
        }

    own, other = layouts(first), layouts(second)
    return tuple(name for name, layout in own.items() if other.get(name) == layout)


def _facts(plans: Sequence[Plan], datasets: Sequence[xarray.Dataset]) -> tuple[PlanFacts, ...]:
    names: list[str] = []
    for place, plan in enumerate(plans):
        name = plan.scenario or (plan.path.stem if plan.path is not None else f"plan {place + 1}")
        taken = sum(other == name or other.startswith(f"{name} (") for other in names)
        names.append(f"{name} ({taken + 1})" if taken else name)
    return tuple(
        PlanFacts(
            label="ABCDEFGHIJKL"[place],
            name=name,
            title=plan.title,
            plan_hash=plan.hash,
            planted_area=plan.planted_area,
            gross_area=plan.gross_area,
            trees=sum(block.geometry.trees for block in plan.blocks),
            plants=any(block.year_planted >= 0 for block in plan.blocks),
            beside=beside_published(dataset),
        )
        for place, (plan, name, dataset) in enumerate(zip(plans, names, datasets, strict=True))
    )


def _measures(plans: Sequence[Plan], datasets: Sequence[xarray.Dataset]) -> dict[str, Measure]:
    by_plan = [plan_values(plan, dataset) for plan, dataset in zip(plans, datasets, strict=True)]
    measures = {}
    for key, measure in MEASURES.items():
        values = np.stack([own[key] for own in by_plan])
        if not np.isnan(values).all():
            measures[key] = Measure(**vars(measure), values=values)
    return measures


def _trials_needed(apart: Difference, trials: int, limit: float) -> int | None:
    """Trials at which the interval of a difference of this size would just leave out zero."""
    if apart.told_apart or apart.centre == 0:
        return None
    return trials_needed(apart.standard_error, trials, abs(apart.centre) / limit)


def _record_error(first: xarray.Dataset, second: xarray.Dataset, gap: Array) -> float:
    seasons = first["harvest_year"].values
    distinct, season_rows = np.unique(seasons, return_inverse=True)
    drawn = (seasons > 0).all() and distinct.size <= MOST_SEASONS and not (seasons == seasons[:1]).all()
    if not drawn or not np.array_equal(seasons, second["harvest_year"].values):
        return float("nan")
    luck = np.concatenate(
        [dataset["price_luck"].values.mean(axis=1, keepdims=True) for dataset in (first, second)], axis=1
    )
    errors = record_errors(gap[:, None], SeasonsMet(season_rows.reshape(seasons.shape), distinct.size, luck))
    error, seen_from = float(errors.error[0]), float(errors.seen_from[0])
    return error if error >= seen_from or np.isnan(error) else 0.0


def _last_leaves(dataset: xarray.Dataset) -> str:
    """Leaves in which living blocks stand in the last year, as "leaf 19", "leaf 16 to 19" or "none"."""
    leaf = dataset["leaf"].isel(year=-1).values
    standing = sorted({int(age) for age in leaf[:-1] if age >= 1})
    if not standing:
        return "none"
    return f"leaf {standing[0]}" if len(standing) == 1 else f"leaf {standing[0]} to {standing[-1]}"


def _notes(
    plans: Sequence[Plan], datasets: Sequence[xarray.Dataset], facts: Sequence[PlanFacts], pairs: Sequence[Pair]
) -> list[str]:
    notes = []
    years = [dataset["harvest_year"].values for dataset in datasets]
    other = [facts[place].label for place in range(1, len(plans)) if not np.array_equal(years[0], years[place])]
    same_weather = [plan.weather == plans[0].weather for plan in plans]
    if other:
        notes.append(
            f"Drawn from other weather years than plan {facts[0].label}: {', '.join(other)}. Their seasons are not the "
            "same, and differences are less sharp."
        )
    elif not all(same_weather):
        unlike = [fact.label for fact, same in zip(facts, same_weather, strict=True) if not same]
        notes.append(
            f"Seasons are the same by number, but the weather settings differ from those of plan {facts[0].label} in "
            f"{', '.join(unlike)}."
        )
    else:
        notes.append("In each future all plans meet the same seasons and the same prices.")
    shared = [pair for pair in pairs if pair.same_trees]
    if shared:
        words = "; ".join(
            f"{facts[pair.first].label} and {facts[pair.second].label} in {', '.join(pair.same_trees)}"
            for pair in shared
        )
        notes.append(f"The trees' own luck is the same where name and layout of a block are the same: {words}.")
    if len(shared) < len(pairs):
        whose = "In all other pairs each plan's trees have" if shared else "Each plan's trees have"
        notes.append(
            f"{whose} their own luck (soil patches, single losses), since blocks and layouts differ; the intervals "
            "count it."
        )
    ends = [_last_leaves(dataset) for dataset in datasets]
    if len(set(ends)) > 1:
        words = ", ".join(f"{fact.label} {end}" for fact, end in zip(facts, ends, strict=True))
        notes.append(
            f"At the end of the run the blocks stand in different leaves: {words}. What they are still worth counts "
            "in NPV, and not where nothing is counted at the end. Later plantings have had fewer years to be picked in."
        )
    areas = [plan.gross_area for plan in plans]
    if (1 + SAME_AREA) * min(areas) >= max(areas) > 1.001 * min(areas):
        notes.append(
            f"The plans' land differs by {100 * (max(areas) / min(areas) - 1):.1f} %, what whole rows and trees leave "
            "of one field. It counts as the same land, and rows per area are each of its own."
        )
    if not same_land(areas):
        notes.append(_land_note(plans, facts))
    notes += _unfair_notes(plans, facts)
    trials = datasets[0].sizes["trial"]
    if trials < FEW_TRIALS:
        notes.append(f"{trials} futures are few; differences and bad years are rough below {FEW_TRIALS}.")
    return notes


def _land_note(plans: Sequence[Plan], facts: Sequence[PlanFacts]) -> str:
    areas = [plan.gross_area for plan in plans]
    if not same_farm(plans):
        return (
            "The plans are of different farms on different areas of land, so NPV per area decides; money of the whole "
            "farm is not comparable."
        )
    less = [fact.label for fact, area in zip(facts, areas, strict=True) if not same_land([area, max(areas)])]
    return (
        f"The plans are of one farm, but {', '.join(less)} use less land. What the rest would cost or earn is not "
        "counted; state it as [[idle_land]]."
    )


def _unfair_notes(plans: Sequence[Plan], facts: Sequence[PlanFacts]) -> list[str]:
    """New plantings that pay nothing for old trees which another plan keeps on the farm."""
    keeping = [
        fact.label
        for fact, plan in zip(facts, plans, strict=True)
        if any(block.year_planted < 0 for block in plan.blocks)
    ]
    free = [
        fact.label
        for fact, plan in zip(facts, plans, strict=True)
        if fact.label not in keeping
        and any(money.year_planted >= 0 and not money.clears_old_orchard for money in plan.money)
    ]
    if not keeping or not free or not same_land([plan.gross_area for plan in plans]):
        return []
    return [
        f"Old trees stand on the land in {', '.join(keeping)}. New ones in {', '.join(free)} are planted on it without "
        "paying for their removal. A fair pair: configs/keep_old_block.toml, configs/replace_old_block.toml."
    ]
