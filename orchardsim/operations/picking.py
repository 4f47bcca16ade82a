"""Picking in passes: when each is due, what it needs, and what a late one loses."""

from __future__ import annotations

from collections.abc import Sequence

from scipy.special import ndtri

from orchardsim.operations.crews import Job

MASS_FLOOR = 1e-9
"""kg; below it a pass is nothing to send a crew for."""


def pass_days(harvest_day: float, ripening_spread: float, shares: Sequence[float]) -> list[float]:
    """Days on which passes are due: each takes the next ripest share of the fruit at that share's median day.

    Parameters
    ----------
    harvest_day : float [day of season]
        Mean day of ripeness.
    ripening_spread : float [day]
        Standard deviation of ripeness between fruit; normal.
    shares : sequence of float [1]
        Shares of the crop by pass; they sum to 1.

    Examples
    --------
    >>> pass_days(340.0, 5.0, [1.0])
    [340.0]
    >>> [round(day, 2) for day in pass_days(340.0, 5.0, [0.5, 0.5])]
    [336.63, 343.37]
    """
    days = []
    before = 0.0
    for share in shares:
        days.append(harvest_day + ripening_spread * float(ndtri(min(max(before + share / 2, 1e-6), 1 - 1e-6))))
        before += share
    return days


def picking_jobs(
    label: str,
    masses: Sequence[float],
    days: Sequence[float],
    rate: float,
    *,
    tolerance: float = 10.0,
    priority: int = 1,
) -> list[Job]:
    """Picking jobs of one label, one per pass.

    Parameters
    ----------
    masses : sequence of float [kg]
        Fruit by pass.
    days : sequence of float [day of season]
        Day on which each pass is due (:func:`pass_days`); it may start half a pass interval, at most 3 days, before.
    rate : float [kg/hour]
        Fruit picked per labour hour.
    tolerance : float [day]
        Days after the due day on which picking still pays (common practice, no source: 7 to 14 days by cultivar).
    """
    jobs = []
    for number, (mass, day) in enumerate(zip(masses, days, strict=True)):
        lead = min(3.0, (day - days[number - 1]) / 2) if number else 3.0
        hours = mass / rate if mass > MASS_FLOOR else 0.0
        jobs.append(Job(label, "picking", hours, day - lead, day + tolerance, priority, number))
    return jobs
