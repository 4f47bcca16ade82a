"""What a study declared and found: its design, and the answers drawn from every cell's trials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.text import Brief
from orchardsim.results.next import WaitAnswer

if TYPE_CHECKING:
    import pandas

    from orchardsim.risk.bands import Side

Array = NDArray[np.float64]
POINTS: Final = (5, 50, 95)
"""Percent points that each cell's table gives."""


@dataclass(frozen=True)
class StudyDesign:
    """What was declared, as tables and pages tell it.

    Attributes
    ----------
    kind : {"factorial", "latin_hypercube"}
    factors : mapping
        Factor -> names of its levels; of a range that a Latin hypercube samples, what each cell drew.
    sets : mapping
        Factor -> what each level sets in the plan, in words; of a range, its key and ends.
    levels : int array, (cell, factor)
        Number of each cell's level.
    values : mapping
        Factor -> drawn number of each cell, of the ranges of a Latin hypercube.
    held : mapping
        Keys that the study sets in every cell.
    known_trials : int
        Trials of each cell that were run again with every open level at its middle.
    attrs : mapping
        Units, currency, masses and money basis of the base plan, its weather, its name and hash, all its numbers with
        their sources (JSON), and the version.
    """

    title: str
    kind: str
    factors: Mapping[str, tuple[str, ...]]
    sets: Mapping[str, tuple[str, ...]]
    levels: NDArray[np.int64]
    values: Mapping[str, tuple[float, ...]]
    held: Mapping[str, Any]
    trials: int
    known_trials: int
    years: int
    seed: int
    decide_by: str
    attrs: Mapping[str, Any]

    @property
    def factorial(self) -> bool:
        """Whether every level of a factor meets every level of the others."""
        return self.kind == "factorial"

    @property
    def cells(self) -> int:
        """Number of cells."""
        return int(self.levels.shape[0])

    def names(self, cell: int) -> dict[str, str]:
        """Factor -> name of its level in a cell."""
        return {
            name: levels[number]
            for (name, levels), number in zip(self.factors.items(), self.levels[cell].tolist(), strict=True)
        }

    def label(self, cell: int) -> str:
        """A cell by its levels."""
        return ", ".join(self.names(cell).values())


@dataclass(frozen=True)
class MeasureFacts:
    """What a measure is.

    Attributes
    ----------
    key : str
    name, meaning : str
        For people.
    unit : str
        "money", "money/ha", "money/money", "money/hour", "kg/ha", "kg/hour", "hour/ha", "hour", "g", "year", "1/year"
        or "1".
    better : {"low", "high"}
    has_mean : bool
        Whether a mean makes sense; where not, differences are told by their median.
    """

    key: str
    name: str
    meaning: str
    unit: str
    better: Side
    has_mean: bool = True

    @property
    def whole(self) -> bool:
        """Whether its values are whole numbers."""
        return self.unit == "year"


@dataclass(frozen=True)
class CellAnswer:
    """One measure in one cell over its trials: mean with its error, percent points, and both doubts.

    Attributes
    ----------
    luck : (float, float) or None
        5 and 95 % points were every open level known; None where no such trials were run.
    not_knowing : float or None [1]
        Share of the variance that goes away when every open level is known.
    not_knowing_limits : (float, float) or None [1]
        5 and 95 % limits of that share, by the number of such trials.
    """

    cell: int
    levels: Mapping[str, str]
    mean: float
    standard_error: float
    points: Mapping[int, float]
    luck: tuple[float, float] | None
    not_knowing: float | None
    not_knowing_limits: tuple[float, float] | None


@dataclass(frozen=True)
class Contrast:
    """A paired difference between two levels of a factor, or two cells, with limits that hold for all together.

    Levels of a factorial are means over all other factors; those of a Latin hypercube come from the regression over its
    cells within each trial, a range by its highest and lowest draw.

    Attributes
    ----------
    spread : float
        Standard deviation of the difference over futures: what more trials do not shrink.
    not_knowing : float or None
        Standard deviation of what the open levels add to the difference, season for season; None where no trials with
        known levels were run.
    """

    kind: str
    factor: str
    first: str
    second: str
    mean: float
    standard_error: float
    low: float
    high: float
    futures_better: float
    spread: float
    not_knowing: float | None

    @property
    def words(self) -> str:
        """What is contrasted, such as "stock: M.9 less MM.106"."""
        return f"{self.factor}: {self.first} less {self.second}" if self.factor else f"{self.first} less {self.second}"

    @property
    def told_apart(self) -> bool:
        """Whether the limits leave out zero."""
        return self.low > 0 or self.high < 0

    @property
    def effect_size(self) -> float:
        """Mean difference in standard deviations of what is not known; nan where that moves nothing."""
        return self.mean / self.not_knowing if self.not_knowing else float("nan")


@dataclass(frozen=True)
class Share:
    """Share of the variance between cell means that goes with a factor, or with a pair beyond its two factors.

    Of a Latin hypercube: that goes with a factor in the regression over its cells.
    """

    factors: tuple[str, ...]
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Interaction:
    """What two levels add together beyond what each adds, with limits that hold for all pairs together."""

    factors: tuple[str, str]
    levels: tuple[str, str]
    mean: float
    standard_error: float
    low: float
    high: float


@dataclass(frozen=True)
class Assumption:
    """How a contrast hangs on one level that nobody knows, told from chance."""

    contrast: str
    level: str
    slope: float
    standard_error: float
    share: float


@dataclass(frozen=True)
class MeasureAnswer:
    """All that a study says of one measure.

    Attributes
    ----------
    foretold : float or None [1]
        Share of the variance between the cells of a Latin hypercube that the regression foretells of cells left out of
        it; below zero where it does worse than their mean.
    places : array, (cell, place)
        Share of futures in which a cell takes a place.
    places_of_means : array, (cell, place)
        Share of resamples in which a cell's mean takes a place.
    """

    facts: MeasureFacts
    cells: tuple[CellAnswer, ...]
    contrasts: tuple[Contrast, ...]
    shares: tuple[Share, ...]
    interactions: tuple[Interaction, ...]
    assumptions: tuple[Assumption, ...]
    critical: float
    foretold: float | None
    places: Array
    places_of_means: Array


@dataclass(frozen=True, repr=False)
class StudyFindings(Brief):
    """All that a study found.

    Attributes
    ----------
    drawn_levels : tuple of str
        Open levels that varied between trials.
    answers : tuple of MeasureAnswer
        The measure that decides first.
    waiting : tuple of (circumstance, WaitAnswer)
        Where the study weighs planting later.
    """

    design: StudyDesign
    drawn_levels: tuple[str, ...]
    answers: tuple[MeasureAnswer, ...]
    waiting: tuple[tuple[str, WaitAnswer], ...] = ()

    def answer(self, measure: str | None = None) -> MeasureAnswer:
        """Answers on one measure; on the one that decides where none is named.

        Raises
        ------
        KeyError
            If the study has no such measure.
        """
        if measure is None:
            return self.answers[0]
        for one in self.answers:
            if one.facts.key == measure:
                return one
        raise KeyError(f"no measure {measure!r}; there are: {', '.join(one.facts.key for one in self.answers)}")

    def table(self, name: str = "contrasts") -> pandas.DataFrame:
        """One of :data:`orchardsim.results.study_tables.TABLES` as a pandas table: ``table("cells").query(...)``."""
        import pandas

        from orchardsim.results.study_tables import TABLES

        return pandas.DataFrame(TABLES[name](self))
