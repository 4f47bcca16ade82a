"""The numbers of a plan to state first, as they were found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class FirstNumber:
    """One number that a plan leaves open.

    Attributes
    ----------
    key : str
        Under which a plan states it.
    value : object
        As it stands now, in ``unit``; None where it is a level of the whole simulation.
    change : float [money]
        What a tenth more does to NPV, mean over the trials.
    error : float [money]
        Its standard error from the number of trials.
    """

    key: str
    meaning: str
    value: Any
    unit: str
    status: str
    change: float
    error: float


@dataclass(frozen=True)
class FirstNumbers:
    """The numbers that move a plan's result most, those first.

    Attributes
    ----------
    npv : float [money]
        Mean of the trials.
    trials, years, looked_at : int
        Trials and years simulated, numbers tried.
    lacking : tuple of (str, float, float)
        Task that the crews cannot finish; hours asked and done in its busiest year, means over the trials [hour].
    unpicked : float [1]
        Share of all fruit grown that hangs for want of pickers.
    """

    numbers: tuple[FirstNumber, ...]
    npv: float
    trials: int
    years: int
    looked_at: int
    seconds: float
    lacking: tuple[tuple[str, float, float], ...] = ()
    unpicked: float = 0.0
