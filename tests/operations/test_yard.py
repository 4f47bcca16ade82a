"""The yard of a trial: orders, deliveries, planting, work, and books that close."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from experiments.working_place.calendar_of_work import work_calendar
from orchardsim.core.errors import IdentityError, InputError
from orchardsim.operations.crews import Job
from orchardsim.operations.draws import YardDraws, draw_operations
from orchardsim.operations.log import STOCK_KINDS, check_sums
from orchardsim.operations.parameters import (
    Crew,
    Replacement,
    YardParameters,
    check_capacity,
    check_crews,
    check_replacement,
)
from orchardsim.operations.yard import Yard
from orchardsim.simulation.crew_jobs import priority

YEARS = 12
LABELS = ("north", "south")
CREW = Crew("farm", workers=5, hours_per_day=8, days_per_week=6)


def parameters(**keys: object) -> YardParameters:
    keys = {"spare_death": 0.0, "shortfall_probability": 0.0, "delay_probability": 0.0, **keys}
    return YardParameters(Replacement(**keys), (CREW,), dict.fromkeys(LABELS, 1000))  # type: ignore[arg-type]


def drawn(seed: int) -> YardDraws:
    rngs = [np.random.default_rng((seed, number)) for number in range(3)]
    return draw_operations(rngs[0], rngs[1:], YEARS, 1)


def average_draws(years: int = YEARS, labels: int = 2) -> YardDraws:
    """Nothing unusual happens: a full crew, no short or late delivery, no trees at short notice, median deaths."""
    early, middle = ([[value] * labels for _ in range(years)] for value in (1.0, 0.5))
    return YardDraws(early, middle, middle, [1.0] * years, [1.0] * years, [[0.0] for _ in range(years)])


def test_an_order_comes_after_its_lead_time() -> None:
    """Ordered in year 1 with two years' lead time: planted in year 3, not in year 2."""
    yard = Yard(
        parameters(spares_at_planting=0.0, minimum_order=5, order_multiple=5, order_up_to=0.0),
        LABELS,
        average_draws(),
        trace=True,
    )
    yard.first_planting(0, dict.fromkeys(LABELS, 1000), 182, 227)
    assert yard.planting(1, 182, 227, {"north": 12}) == {"north": 0}
    assert yard.order_review(1, 273, {"north": 12}) == {"north": 15}
    assert yard.planting(2, 182, 227, {"north": 12}) == {"north": 0}
    assert yard.order_review(2, 273, {"north": 12}) == {"north": 0}
    assert yard.planting(3, 182, 227, {"north": 12}) == {"north": 12}
    yard.close()
    assert yard.on_hand[3, "north"] == 3
    assert yard.trees[3, "north", "delivered"] == 15


def test_nothing_is_ordered_that_would_come_too_late() -> None:
    """Refill to leaf 5, two years' lead time: an order in leaf 3 comes in leaf 5, one in leaf 4 too late."""
    yard = Yard(parameters(last_refill_leaf=5), LABELS, average_draws())
    assert yard.order_review(2, 273, {"north": 30}, leaf={"north": 4})["north"] == 0
    assert yard.order_review(3, 273, {"north": 30}, leaf={"north": 3})["north"] > 0


def test_spares_serve_first_and_only_their_own_label() -> None:
    """3 % of 1,000 trees are 30 spares; south's do not fill north's gaps."""
    yard = Yard(parameters(spares_at_planting=0.03), LABELS, average_draws())
    assert yard.first_planting(0, dict.fromkeys(LABELS, 1000), 182, 227) == dict.fromkeys(LABELS, 30)
    assert yard.planting(1, 182, 227, {"north": 40, "south": 3}) == {"north": 30, "south": 3}
    yard.close()
    assert yard.on_hand[1, "south"] == 27


def test_a_small_crew_fills_few_gaps() -> None:
    """5 workers x 8 h x 6/7 x 7 days x half fit = 120 hours: at 10 trees an hour 1,200, at 0.5 only 60."""
    base = parameters(spares_at_planting=0.5)
    for rate, expected in ((10.0, 500), (0.5, 60)):
        chosen = replace(base, rates=replace(base.rates, replanting=rate))
        yard = Yard(chosen, LABELS, average_draws())
        yard.first_planting(0, {"north": 1000}, 182, 227)
        yard.work(0, 0, 240, [], 1.0)
        assert yard.planting(1, 182, 189, {"north": 900}, 0.5) == {"north": expected}
        (done,) = yard.work(1, 0, 240, [Job("north", "thinning", 10, 182, 240)], 0.5).values()
        assert yard.hours[1, "north", "replanting"] == pytest.approx(expected / rate)
        assert done.mean_day > 182


def test_planting_in_hand_leaves_fewer_hours_for_gaps() -> None:
    """240 crew hours in the week's window; 4,000 new trees take 50 of them, so gaps at one an hour get 190."""
    base = parameters(spares_at_planting=0.5)
    chosen = replace(base, rates=replace(base.rates, planting=80.0, replanting=1.0))
    yard = Yard(chosen, LABELS, average_draws())
    yard.first_planting(0, {"north": 4000}, 182, 189)
    assert yard.planting(0, 182, 189, {"north": 2000}) == {"north": 190}
    yard.work(0, 0, 240, [], 1.0)
    assert yard.hours[0, "north", "planting"] == pytest.approx(50)
    assert yard.hours[0, "north", "replanting"] == pytest.approx(190, abs=0.1)


def test_short_late_and_spot_deliveries() -> None:
    """A short delivery lacks its drawn share; a late one comes a year on; short notice fills the gap at once."""
    draws = average_draws()
    draws.short[2][0] = 0.0
    short = Yard(parameters(shortfall_probability=0.1, shortfall_share=0.4, order_up_to=0.1), LABELS, draws)
    assert short.order_review(0, 273, {"north": 0}) == {"north": 100}
    short.begin_year(2)
    assert short.stocks["north"].on_hand == 80
    draws = average_draws()
    draws.delay[2] = 0.0
    late = Yard(parameters(delay_probability=0.1, order_up_to=0.1), LABELS, draws)
    late.order_review(0, 273, {"north": 0})
    late.begin_year(2)
    assert late.stocks["north"].on_hand == 0
    late.begin_year(3)
    assert late.stocks["north"].on_hand == 100
    draws = average_draws()
    draws.spot[1] = 0.0
    spot = Yard(parameters(spot_probability=0.1), LABELS, draws)
    assert spot.planting(1, 182, 227, {"north": 7}) == {"north": 7}
    assert spot.planting(2, 182, 227, {"north": 7}) == {"north": 0}
    spot.close()
    assert spot.trees[1, "north", "spot"] == 7


def test_without_a_place_nothing_is_kept() -> None:
    """What is delivered and not planted in the window is thrown out."""
    yard = Yard(parameters(place="none", spares_at_planting=0.0, order_up_to=0.1), LABELS, average_draws())
    yard.order_review(0, 273, {"north": 0, "south": 0})
    assert yard.planting(2, 182, 227, {"north": 20}) == {"north": 20}
    assert yard.planting(2, 182, 227, {"south": 30}) == {"south": 30}
    yard.close()
    assert yard.trees[2, "north", "discarded"] == 80
    assert yard.on_hand[2, "north"] == 0


@pytest.mark.parametrize("seed", range(5))
def test_books_close_and_the_log_adds_up(seed: int) -> None:
    """Random years with every kind of trouble: stock balances by year, log sums equal totals, nothing negative."""
    rng = np.random.default_rng(seed)
    yard = Yard(
        parameters(
            spare_death=0.2,
            shortfall_probability=0.5,
            delay_probability=0.4,
            spot_probability=0.3,
            spares_at_planting=0.05,
            reorder_point=0.01,
            order_up_to=0.04,
            spare_age_limit=2,
            expected_loss=(0.0075,),
        ),
        LABELS,
        drawn(seed),
        trace=True,
    )
    yard.first_planting(0, dict.fromkeys(LABELS, 1000), 182, 227)
    gaps = dict.fromkeys(LABELS, 0)
    for year in range(YEARS):
        for label in LABELS:
            gaps[label] += int(rng.poisson(20))
        planted = yard.planting(year, 182, 227, gaps, float(rng.uniform(0.3, 1)))
        for label in LABELS:
            assert 0 <= planted[label] <= gaps[label]
            gaps[label] -= planted[label]
        jobs = [
            Job(label, task, float(rng.uniform(0, 900)), 60, 180, int(rng.integers(1, 4)))
            for label in LABELS
            for task in ("dormant_pruning", "training")
        ]
        yard.work(year, 0, 230, jobs, float(rng.uniform(0.3, 1)))
        yard.order_review(year, 273, gaps, leaf=dict.fromkeys(LABELS, 2))
    yard.close()
    assert min(yard.on_hand.values()) >= 0
    assert yard.log is not None
    for label in LABELS:
        total = {kind: sum(yard.trees.get((y, label, kind), 0) for y in range(YEARS)) for kind in STOCK_KINDS}
        came = total["bought"] + total["delivered"] + total["spot"]
        assert came == total["died"] + total["discarded"] + total["replanted"] + yard.on_hand[YEARS - 1, label]
        assert total["delivered"] <= total["ordered"]
    # the calendar of a year holds all of the year's hours
    lines = work_calendar(yard.log, 3)
    worked = sum(hours for (year, _, task), hours in yard.hours.items() if year == 3 and task != "upkeep")
    assert sum(line.hours for line in lines) == pytest.approx(worked)
    # a log with one event too many is noticed
    yard.log.add(yard.log.rows[0]._replace(kind="died", trees=1))
    with pytest.raises(IdentityError):
        check_sums(yard.log, yard.trees, yard.hours)


def test_tracing_changes_nothing() -> None:
    """The same trial with and without its log."""
    results = []
    for trace in (False, True):
        yard = Yard(parameters(spare_death=0.1), LABELS, drawn(9), trace=trace)
        yard.first_planting(0, dict.fromkeys(LABELS, 1000), 182, 227)
        done = [yard.work(year, 0, 230, [Job("north", "dormant_pruning", 1000, 60, 170)], 0.7) for year in range(YEARS)]
        yard.close()
        results.append((done, dict(yard.trees), dict(yard.hours), yard.on_hand))
    assert results[0] == results[1]


def test_draws_of_a_label_do_not_hang_on_the_others() -> None:
    """Same streams, other order and company: a label keeps its draws."""
    streams = {name: lambda name=name: np.random.default_rng(sum(map(ord, name))) for name in ("farm", *LABELS)}
    both = draw_operations(streams["farm"](), [streams["north"](), streams["south"]()], YEARS, 1)
    alone = draw_operations(streams["farm"](), [streams["south"]()], YEARS, 1)
    assert [row[1] for row in both.death] == [row[0] for row in alone.death]
    assert both.turnout == alone.turnout


def test_work_that_outlasts_a_phase_goes_on() -> None:
    """500 hours of building from day 150 to 300: what phase 0 leaves at day 160 goes on after it, behind thinning.

    5 x 8 x 6/7 = 34.29 hours a day: 342.9 done by day 160; 34.29 hours of thinning take day 200 to 201; the rest of
    157.1 hours is done by day 165 if nobody thins, in the call of the next phase.
    """
    yard = Yard(parameters(), LABELS, average_draws(), trace=True)
    daily = 5 * 8 * 6 / 7
    (first,) = yard.work(0, 0, 160, [Job("north", "support_building", 500, 150, 300, 4)], 1.0).values()
    assert first.hours == pytest.approx(10 * daily)
    (thinning,) = yard.work(0, 160, 250, [Job("north", "thinning", daily, 160, 240, 1)], 1.0).values()
    assert thinning.end_day == pytest.approx(161, abs=1e-3)
    assert yard.hours[0, "north", "support_building"] == pytest.approx(500)
    yard.close()
    # a year's end leaves undone what is still waiting
    yard = Yard(parameters(), LABELS, average_draws(), trace=True)
    yard.work(0, 0, 160, [Job("north", "support_building", 500, 150, 300)], 1.0)
    yard.begin_year(1)
    assert yard.log is not None
    (undone,) = (row for row in yard.log.rows if row.kind == "unfinished")
    assert undone.hours == pytest.approx(500 - 10 * daily)


def test_one_crew_serves_two_blocks_by_rank_and_the_calendar_says_who_waited() -> None:
    """Ten crew days of thinning in each of two blocks from day 230: the better rank is done on day 240, the other
    begins then; work of a more urgent task that opens on day 235 takes two days between."""
    yard = Yard(parameters(), LABELS, average_draws(), trace=True)
    daily = 5 * 8 * 6 / 7
    jobs = [
        Job("north", "thinning", 10 * daily, 230, 260, priority("thinning", 6)),
        Job("south", "thinning", 10 * daily, 230, 260, priority("thinning", 5)),
        Job("north", "picking", 2 * daily, 235, 245, priority("picking", 9)),
    ]
    yard.work(0, 200, 300, jobs, 1.0)
    yard.close()
    assert yard.log is not None
    lines = {(line.task, line.label): line for line in work_calendar(yard.log, 0)}
    south, north, picked = lines["thinning", "south"], lines["thinning", "north"], lines["picking", "north"]
    days = (south.first_day, south.last_day, north.first_day, north.last_day, picked.first_day, picked.last_day)
    assert days == pytest.approx((230, 242, 242, 252, 235, 237), abs=1e-3)
    assert (south.waited, picked.waited) == pytest.approx((0, 0), abs=1e-3)
    assert north.waited == pytest.approx(12, abs=1e-3)
    assert north.undone == 0
    worked = sorted((row.start_day, row.end_day) for row in yard.log.rows if row.kind == "worked")
    assert all(end <= start + 1e-9 for (_, end), (start, _) in itertools.pairwise(worked))


def test_planting_is_done_in_its_window_whatever_the_phase() -> None:
    """500 trees at 80 an hour: 6.25 hours booked in a phase that ends before the window, or has no other work."""
    for start, end in ((0, 100), (0, 0), (230, 250)):
        yard = Yard(parameters(), LABELS, average_draws(), trace=True)
        yard.first_planting(0, {"north": 500}, 182, 227)
        assert yard.work(0, start, end, [], 1.0) == {}
        assert yard.hours[0, "north", "planting"] == pytest.approx(6.25)
        assert yard.log is not None
        (row,) = (row for row in yard.log.rows if row.kind == "worked")
        assert 182 <= row.start_day < row.end_day <= 227


def test_spares_are_thrown_out_when_nothing_is_left_to_refill() -> None:
    """In the last leaf of refilling, 30 spares go; a leaf earlier they stay."""
    for leaf, held in ((4, 30), (5, 0)):
        yard = Yard(parameters(), LABELS, average_draws())
        yard.first_planting(0, {"north": 1000}, 182, 227)
        yard.order_review(0, 273, {"north": 0}, leaf={"north": leaf})
        yard.close()
        assert yard.on_hand[0, "north"] == held


@pytest.mark.parametrize(("expected", "steady"), [((), 20), ((0.01,), 0)])
def test_ordering_ahead_has_the_trees_there_when_the_gaps_open(expected: tuple[float, ...], steady: int) -> None:
    """Ten of 1,000 trees die each winter and an order takes two years: who orders gaps alone always has two years'
    gaps open, who orders for the losses expected over the lead time has none from the first delivery on."""
    policy = {"spares_at_planting": 0.0, "order_up_to": 0.0, "minimum_order": 1, "order_multiple": 1}
    chosen = parameters(**policy, expected_loss=expected, last_refill_leaf=80)
    yard = Yard(chosen, LABELS, average_draws())
    gaps, left_open = 0, []
    for year in range(1, YEARS):
        gaps += 10
        gaps -= yard.planting(year, 182, 227, {"north": gaps})["north"]
        left_open.append(gaps)
        yard.order_review(year, 273, {"north": gaps}, leaf={"north": year})
    assert left_open[4:] == [steady] * (YEARS - 5)
    yard.close()
    assert yard.on_hand[YEARS - 1, "north"] == 0


def test_bad_policies_and_crews_are_named() -> None:
    """One clear line each: where, what was found, what is allowed."""
    with pytest.raises(InputError, match="spares need a place"):
        check_replacement("r", Replacement(place="none"))
    with pytest.raises(InputError, match="order_up_to"):
        check_replacement("r", Replacement(reorder_point=0.2, order_up_to=0.1))
    with pytest.raises(InputError, match="window_end"):
        check_replacement("r", Replacement(window_start=200, window_end=200))
    check_replacement("r", Replacement())
    with pytest.raises(InputError, match="can never finish"):
        check_crews("crews", [Crew("idle", workers=0)], ["picking"])
    with pytest.raises(InputError, match="no crew does 'picking'"):
        check_crews("crews", [Crew("thinners", tasks=("thinning",))], ["picking"])
    with pytest.raises(InputError, match="stands twice"):
        check_crews("crews", [Crew(), Crew()], [])
    check_crews("crews", [Crew()], ["picking", "replanting"])
    with pytest.raises(InputError, match="can never finish the planting"):
        check_capacity("crews", [Crew(workers=0.001)], {"planting": 10})
    (remark,) = check_capacity("crews", [Crew(workers=1)], {"planting": 10, "dormant_pruning": 5000})
    assert "never finish: dormant pruning (5,000 hours" in remark
    assert check_capacity("crews", [Crew()], {"planting": 10, "dormant_pruning": 500}) == []


def test_years_do_not_run_backwards() -> None:
    """A yard asked for a year that is over stops."""
    yard = Yard(parameters(), LABELS, average_draws())
    yard.begin_year(3)
    with pytest.raises(IdentityError):
        yard.begin_year(2)


def test_planting_rate_lies_within_the_published_ones() -> None:
    """Input check T20: 67 trees per labour hour (Fraser & Oakes 1999) to 96 (2009 press report)."""
    rate = YardParameters(Replacement(), (), {}).rates.planting
    assert 67 * 0.75 <= rate <= 96 * 1.25
