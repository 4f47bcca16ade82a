"""What to measure next, what waiting is worth, and the sheet to measure on."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Candidate:
    """One thing that could be measured.

    Attributes
    ----------
    measure, label : str
    year : int
        Of the plan.
    worth, error : float [currency]
        What it is worth to know it before deciding, with its standard error.
    changed : float [1]
        Chance that it changes the decision.
    """

    measure: str
    label: str
    year: int
    calendar_year: int
    when: str
    trees: int
    worth: float
    error: float
    changed: float


@dataclass(frozen=True)
class FieldSheet:
    """Trees to measure, and what on each.

    Attributes
    ----------
    trees : tuple of (label, row, tree)
        Rows and trees count from 1.
    measures : tuple of (measure, unit, tool, when)
        On every tree, in the order of the season.
    whole : tuple of (label, measure, unit, tool, when)
        Of whole row groups.
    meanings : mapping
        Measure -> how it is taken.
    """

    title: str
    season: str
    trees: tuple[tuple[str, int, int], ...]
    measures: tuple[tuple[str, str, str, str], ...]
    whole: tuple[tuple[str, str, str, str, str], ...]
    meanings: Mapping[str, str]

    def text(self) -> str:
        """The sheet as an empty table, one line a tree, which `fit` reads once values and days are filled in."""
        stream = io.StringIO()
        writer = csv.writer(stream, lineterminator="\n")
        units = {measure: unit for measure, unit, *_ in (*self.measures, *(one[1:] for one in self.whole))}
        cause = ["cause"] if "dead_trees" in units else []
        columns = [f"{measure} [{unit}]" if unit else measure for measure, unit in units.items()]
        header = ["block", "row", "tree", *columns, *cause, "note"]
        empty = [""] * (len(header) - 3)
        writer.writerow(header)
        writer.writerow(["date", "", "", *empty])
        writer.writerows([label, row, tree, *empty] for label, row, tree in self.trees)
        writer.writerows([label, "", "", *empty] for label in dict.fromkeys(one[0] for one in self.whole))
        return stream.getvalue()


@dataclass(frozen=True)
class NextAnswer:
    """What to measure next.

    Attributes
    ----------
    before, now : tuple of float [currency]
        Mean NPV of each option before any measurement, and with what is known now.
    before_error, now_error : tuple of float
        Standard errors of the differences to the option that was best before.
    candidates : tuple of Candidate
        The most worth first.
    together : (worth, error, changed)
        Of all of them.
    perfect : (worth, error)
        Of knowing the levels exactly: no measurement of trees can be worth more.
    trials, rows : int
    """

    options: tuple[str, ...]
    before: tuple[float, ...]
    now: tuple[float, ...]
    before_error: tuple[float, ...]
    now_error: tuple[float, ...]
    candidates: tuple[Candidate, ...]
    together: tuple[float, float, float]
    perfect: tuple[float, float]
    trials: int
    rows: int
    currency: str
    sheet: FieldSheet


@dataclass(frozen=True)
class WaitRow:
    """One way to go about it: plant all now, or after some years of measuring the first row.

    Attributes
    ----------
    years : int
        Of waiting; 0 for now.
    mean, error : float [currency]
        Mean NPV over now, with its standard error; of 0 years the mean itself.
    low : float [currency]
        5 % point of NPV.
    peak_borrowing : float [currency]
        Middle.
    loss : float [1]
        Chance of an NPV below 0.
    changed, changed_error : float [1]
        Chance that the row changes the choice, with its standard error.
    delay : float [currency]
        What waiting costs where nothing is learned.
    learning : float [currency]
        What learning brings in these years.
    shares : tuple of float [1]
        How often each option is chosen.
    """

    years: int
    mean: float
    error: float
    low: float
    peak_borrowing: float
    loss: float
    changed: float
    changed_error: float
    delay: float
    learning: float
    shares: tuple[float, ...]


@dataclass(frozen=True)
class WaitAnswer:
    """What waiting is worth; the options of each row are the same, the last is not to plant."""

    options: tuple[str, ...]
    rows: tuple[WaitRow, ...]
    trials: int
    horizon: int
    currency: str
