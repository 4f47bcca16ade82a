"""Crews: schedules worked by hand, scheduling theory, and what no schedule may do."""

from __future__ import annotations

import itertools
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchardsim.operations.crews import DAY_MINUTES, CrewWorld, Job
from orchardsim.operations.parameters import Crew

TEN = Crew("ten hours a day", workers=1, hours_per_day=10, days_per_week=7, tasks=("picking", "thinning"))
TWENTY = Crew("twenty hours a day", workers=2, hours_per_day=10, days_per_week=7, tasks=("picking",))


def work(crews: list[Crew], jobs: list[Job], end: float = 100.0, fraction: float = 1.0) -> tuple[list, list]:
    """Outcomes and stretches (crew, job, start day, end day, hours) of one phase."""
    stretches: list[tuple[str, int, float, float, float]] = []

    def hook(index: int, crew: str, start: int, stop: int, hours: float) -> None:
        stretches.append((crew, index, start / DAY_MINUTES, stop / DAY_MINUTES, hours))

    turnout = [1.0] * len(crews)
    done = CrewWorld(crews).work(0, jobs, 0.0, end, fraction, turnout, hook)
    # unwatched, crews that do not meet go without a clock
    assert CrewWorld(crews).work(0, jobs, 0.0, end, fraction, turnout) == done
    return done, stretches


def test_one_job_by_hand() -> None:
    """30 hours at 10 a day from day 5 take three days about day 6.5; half the days fit for work make it six."""
    (done,), _ = work([TEN], [Job("a", "picking", 30, 5, 20)])
    assert (done.share, done.mean_day, done.hours, done.end_day) == (1.0, 6.5, 30, 8.0)
    (done,), _ = work([TEN], [Job("a", "picking", 30, 5, 20)], fraction=0.5)
    assert (done.share, done.mean_day, done.end_day) == (1.0, 8.0, 11.0)


def test_a_window_that_closes_leaves_the_rest_undone() -> None:
    """30 hours wanted, two days open: 20 done; a job after the phase, without hours, or without a crew."""
    done, _ = work(
        [TEN],
        [
            Job("a", "picking", 30, 5, 7),
            Job("a", "picking", 10, 150, 160),
            Job("a", "picking", 0, 20, 30),
            Job("a", "training", 10, 0, 50),
        ],
    )
    assert done[0].share == pytest.approx(2 / 3)
    assert done[0].mean_day == pytest.approx(6.0)
    assert done[1].share == 0
    assert done[2] == (1.0, 25.0, 0.0, 20.0)
    assert done[3].share == 0
    assert done[3].hours == 0


def test_more_urgent_work_interrupts() -> None:
    """The urgent job opens on day 2 and takes days 2 to 4; the other works days 0 to 2 and 4 to 7: mean 3.7."""
    done, stretches = work([TEN], [Job("a", "picking", 50, 0, 90, 5), Job("b", "picking", 20, 2, 90, 1)])
    assert done[1].mean_day == 3.0
    assert done[0].end_day == 7.0
    assert done[0].mean_day == pytest.approx((20 * 1.0 + 30 * 5.5) / 50)
    assert [row[1] for row in stretches] == [0, 1, 0]


def test_ties_go_by_window_then_order() -> None:
    """Same priority: the window that closes first; same window: the job named first. No interruption by a tie."""
    done, stretches = work(
        [TEN],
        [
            Job("a", "picking", 10, 0, 50),
            Job("b", "picking", 10, 0, 40),
            Job("c", "picking", 10, 0, 50),
            Job("d", "picking", 10, 0.5, 30),
        ],
    )
    assert [row[1] for row in stretches] == [1, 3, 0, 2]
    assert [round(one.end_day, 6) for one in done] == [3.0, 1.0, 4.0, 2.0]


def test_two_crews_share_a_job() -> None:
    """10 and 20 hours a day finish 60 hours in two days when both are free; alone the thinner works on."""
    done, _ = work([TEN, TWENTY], [Job("a", "picking", 60, 0, 50), Job("b", "thinning", 10, 0, 50)])
    assert done[0].end_day == pytest.approx(2.0, abs=1e-3)
    assert done[1].end_day == pytest.approx(3.0, abs=1e-3)
    # with thinning more urgent, the two-handed crew takes both parts of the picking unless the other comes free
    done, _ = work([TEN, TWENTY], [Job("a", "picking", 60, 0, 50, 5), Job("b", "thinning", 30, 0, 50, 1)])
    assert done[1].end_day == pytest.approx(3.0, abs=1e-3)
    assert done[0].end_day == pytest.approx(3.0, abs=1e-3)


def test_a_shared_job_ends_for_all_crews_at_once() -> None:
    """The crew that was busy before takes its own third of the 90 hours all the same: both end three days on."""
    jobs = [Job("b", "thinning", 20, 0, 50), Job("a", "picking", 90, 5, 50)]
    done, stretches = work([TEN, TWENTY], jobs)
    assert done[1].end_day == pytest.approx(8.0, abs=1e-3)
    hours = {crew: hours for crew, index, _, _, hours in stretches if index == 1}
    assert hours["ten hours a day"] == pytest.approx(30)
    assert hours["twenty hours a day"] == pytest.approx(60)


jobs_drawn = st.lists(
    st.builds(
        lambda label, task, hours, first, length, priority: Job(label, task, hours, first, first + length, priority),
        st.sampled_from(["a", "b", "c"]),
        st.sampled_from(["picking", "thinning"]),
        st.floats(0.01, 150),
        st.floats(0, 60),
        st.floats(0.01, 60),
        st.integers(1, 4),
    ),
    min_size=1,
    max_size=14,
)


@given(jobs_drawn, st.sampled_from([[TEN], [TEN, TWENTY], [TWENTY, TEN, TEN]]), st.floats(0.1, 1.0))
def test_no_schedule_breaks_the_rules(jobs: list[Job], crews: list[Crew], fraction: float) -> None:
    """A crew is in one place at a time, works within windows and its hours, and hours add up to what is reported."""
    crews = [
        Crew(f"{number}", crew.workers, crew.hours_per_day, crew.days_per_week, crew.tasks)
        for number, crew in enumerate(crews)
    ]
    done, stretches = work(crews, jobs, 90.0, fraction)
    by_crew = defaultdict(list)
    by_job: dict[int, float] = defaultdict(float)
    for crew, index, start, stop, hours in stretches:
        by_crew[crew].append((start, stop))
        by_job[index] += hours
        assert jobs[index].task in crews[int(crew)].tasks
        assert start >= jobs[index].earliest - 1 / DAY_MINUTES
        assert stop <= min(jobs[index].latest, 90.0) + 1 / DAY_MINUTES
        daily = crews[int(crew)].workers * crews[int(crew)].hours_per_day * fraction
        assert hours <= daily * (stop - start) + 1e-9
    for crew in by_crew.values():
        crew.sort()
        assert all(before[1] <= after[0] for before, after in itertools.pairwise(crew))
    for index, (job, one) in enumerate(zip(jobs, done, strict=True)):
        assert one.hours == pytest.approx(by_job[index], abs=1e-9)
        assert one.share == pytest.approx(one.hours / job.hours, abs=1e-9)
        assert 0 <= one.share <= 1


@given(
    st.lists(st.tuples(st.floats(0.5, 60), st.floats(1, 80)), min_size=1, max_size=12),
)
def test_earliest_due_date_finishes_what_can_be_finished(wanted: list[tuple[float, float]]) -> None:
    """One crew, all work open from day 0, equal priority: if any order meets every window's end, this one does.

    Jackson's rule of 1955 (earliest due date minimises the largest lateness on one machine; from memory, a standard
    result of scheduling theory). Feasible when for each due day the work due by then fits; a minute per job is
    allowed for whole-minute times.
    """
    jobs = [Job("a", "picking", hours, 0, due) for hours, due in wanted]
    done, _ = work([TEN], jobs)
    ordered = sorted(wanted, key=lambda job: job[1])
    total, feasible = 0.0, True
    for number, (hours, due) in enumerate(ordered, start=1):
        total += hours
        feasible &= total / 10 + number / DAY_MINUTES <= due - 1 / DAY_MINUTES
    if feasible:
        assert all(one.share == 1 for one in done)
    if total / 10 > max(due for _, due in wanted) + 1 / DAY_MINUTES:
        assert any(one.share < 1 for one in done)


def test_years_follow_on_one_clock() -> None:
    """Days count from the year's own start; work that runs over the year's end delays the next year's first day."""
    world = CrewWorld([TEN])
    (done,) = world.work(0, [Job("a", "picking", 100, 360, 380)], 300, 400, 1.0, [1.0])
    assert (done.share, done.end_day) == (1.0, 370.0)
    (done,) = world.work(1, [Job("a", "thinning", 10, 0, 50)], 0, 200, 1.0, [1.0])
    assert done.end_day == 6.0
