"""What `fit` found: levels before and after the measurements, checks, conflicts, and what stays in doubt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from orchardsim.core.text import Brief
from orchardsim.results.next import NextAnswer, WaitAnswer
from orchardsim.results.written import plain

LEARNED_FILE: Final = "learned.json"
SHEET_TABLE: Final = "field_sheet.csv"
SHEET_PAPER: Final = "field_sheet.html"
Band = tuple[float, float, float]
"""5, 50 and 95 % points."""
LITTLE: Final = 0.1
"""Share of a spread below which its loss is called nothing."""


@dataclass(frozen=True)
class LevelAnswer:
    """One level before and after.

    Attributes
    ----------
    key : str
        "site_growth of next_rows", "growth of first_row", ...
    words : str
        For people.
    before, after : tuple
        5, 50 and 95 % points.
    told : float [1]
        Share of the spread that the measurements took away; below 0 where they widened it.
    """

    key: str
    words: str
    unit: str
    before: Band
    after: Band
    told: float

    @property
    def unexpected(self) -> bool:
        """Whether it now lies, on the middle, outside the 90 % band that it had before."""
        return not self.before[0] <= self.after[1] <= self.before[2]


@dataclass(frozen=True)
class SightAnswer:
    """What was seen of some trees, and what had been expected of them, in the measure's unit.

    Attributes
    ----------
    before, after : tuple
        5, 50 and 95 % points of such a reading, before and after learning from all of them.
    held_back : tuple or None
        The same from all other families and seasons; None where nothing else was measured.
    """

    measure: str
    label: str
    season: str
    unit: str
    trees: int
    measured: float
    before: Band
    after: Band
    held_back: Band | None

    @property
    def foretold(self) -> bool | None:
        """Whether what was held back lies in its 90 % band."""
        if self.held_back is None:
            return None
        return self.held_back[0] <= self.measured <= self.held_back[2]


@dataclass(frozen=True)
class WithoutAnswer:
    """A level's middle, learned from all but one kind and season of readings."""

    key: str
    family: str
    season: str
    middle: float


@dataclass(frozen=True)
class ConflictAnswer:
    """Sights that do not agree with what was known before: in words, and how unlikely they are."""

    family: str
    season: str
    chance: float
    hint: str


@dataclass(frozen=True)
class BloomAnswer:
    """Chill and heat needs of a cultivar before and after bloom dates: mean and standard deviation."""

    cultivar: str
    dates: int
    chill_before: tuple[float, float]
    chill_after: tuple[float, float]
    heat_before: tuple[float, float]
    heat_after: tuple[float, float]
    error_before: float
    """Mean distance of a bloom date from what was expected [day]."""
    error_held_back: float
    """The same for each date from all others; NaN for a single one."""


@dataclass(frozen=True, repr=False)
class FitFindings(Brief):
    """All that a fit found.

    Attributes
    ----------
    kept : tuple of LevelAnswer
        Levels of the whole plan, the coming blocks among them.
    misfit : float
        Factor on the errors' variance because measurements do not agree with each other; 1 where they do.
    effective : float [1]
        Least share of the draws that counted after a step of tempering.
    unlike : float [1]
        Share of the kept draws that differ.
    lacking : tuple of int
        Seasons since planting that the weather record does not hold.
    """

    title: str
    plan_name: str
    measurements: int
    trees: int
    seasons: tuple[str, ...]
    levels: tuple[LevelAnswer, ...]
    sights: tuple[SightAnswer, ...]
    without: tuple[WithoutAnswer, ...]
    conflicts: tuple[ConflictAnswer, ...]
    misfit: float
    bloom: tuple[BloomAnswer, ...]
    rows: int
    draws: int
    steps: int
    effective: float
    unlike: float
    lacking: tuple[int, ...]
    remarks: tuple[str, ...]
    attrs: Mapping[str, Any]


@dataclass(frozen=True)
class Kept:
    """All that a page of a fit shows."""

    found: FitFindings
    following: NextAnswer | None = None
    waiting: WaitAnswer | None = None


def fit_document(kept: Kept) -> dict[str, Any]:
    """The findings, and what to measure next and waiting where asked for, as plain JSON values, six digits."""
    document: dict[str, Any] = plain(kept.found)
    return document | {"next": plain(kept.following), "waiting": plain(kept.waiting)}
