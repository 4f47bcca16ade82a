"""Plain sentences for the grower: the crop, the money it swallows, and when it comes back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from orchardsim.core.labels import FARM
from orchardsim.report.run.headline_rows import YieldRow, band, weak, yield_rows
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import shares
from orchardsim.results.block_results import credit_broken, failed_crops
from orchardsim.results.headline import invests

if TYPE_CHECKING:
    import xarray

FULL_CROP_LEAF = 10
"""Leaf at which a block is spoken of as in full crop (assumption: wording only, nothing is computed from it)."""


def plain_sentences(dataset: xarray.Dataset) -> list[str]:
    """Sentences without terms of statistics or finance, under thirty words each.

    Parameters
    ----------
    dataset : xarray.Dataset
        Result of a run.

    Returns
    -------
    list of str
        The crop, and the frost behind crops that fail; the deepest debt, and the credit line where one is stated; the
        year by which the plan has paid for itself.
    """
    formats = RunFormats.of(dataset.attrs)
    found = [
        _crop(dataset, formats),
        _frost(dataset),
        debt_sentence(dataset, formats),
        _credit(dataset, formats),
        _payback(dataset),
    ]
    return [sentence for sentence in found if sentence]


def _crop(dataset: xarray.Dataset, formats: RunFormats) -> str:
    rows = yield_rows(dataset, FARM, formats)
    unit = f"bins of {formats.mass(formats.bin_mass)} an acre" if formats.us else "tonnes a hectare"
    if not rows:
        return "No trees come into leaf within the years of this run, so there is no crop to tell of."
    full = next((row for row in rows if row.leaf >= FULL_CROP_LEAF), rows[-1])
    level = f"a typical crop is {full.band.middle:.3g} {unit}"
    about = "about " if weak(full.band) else ""
    bad = f"one in twenty below {about}{full.band.low:.3g}"
    if rows[0].leaf > 1:
        usual = sorted(rows, key=lambda row: row.band.middle)[len(rows) // 2]
        level = (
            f"a typical crop is {usual.band.middle:.3g} {unit}, the middle of leaves {rows[0].leaf} to {rows[-1].leaf}"
        )
        about = "about " if weak(usual.band) else ""
        return f"From these standing trees {level}; one in twenty is below {about}{usual.band.low:.3g}."
    first = _first_crop(rows, full)
    start = f"The first crop worth picking comes in leaf {first.leaf}; by" if first else "By"
    return f"{start} leaf {full.leaf} {level}, {bad}."


def _frost(dataset: xarray.Dataset) -> str:
    """How many crops fail, where frost is behind most of them; empty where it is not."""
    found = failed_crops(dataset)
    if found is None or found[1] < 0.5:
        return ""
    failed, frosted = found
    return (
        f"Of 100 crops {100 * failed:.2g} fail (less than half of a typical one), {100 * frosted:.0f} of 100 of these "
        "after a frost that kills nine flowers in ten."
    )


def _first_crop(rows: list[YieldRow], full: YieldRow) -> YieldRow | None:
    # A tenth of the full crop is what we call worth a picker's walk; wording only.
    found = next((row for row in rows if row.band.middle >= 0.1 * full.band.middle and row.band.middle > 0), None)
    return found if found is not None and found.leaf < full.leaf else None


def debt_sentence(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """The deepest debt, and when it is owed."""
    debt = band(dataset["peak_borrowing"].values, worst="high")
    year = int(np.median(dataset["peak_borrowing_year"].values))
    if debt.high <= 0:
        return "The farm's account stays above zero in at least nineteen of twenty futures tried."
    if debt.middle <= 0:
        return (
            "In more than half of the futures tried the farm never has to borrow; in one of twenty it owes more than "
            f"{formats.money(debt.high)} at some time."
        )
    return (
        f"At its deepest, around year {year} of the plan, the farm owes about {formats.money(debt.middle)}, "
        f"and in one future of twenty more than {formats.money(debt.high)}."
    )


def _credit(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """In how many futures the stated credit line is broken, and when first; empty where none is stated."""
    first = credit_broken(dataset)
    if first is None:
        return ""
    line = f"The credit line of {formats.money(float(dataset.attrs['credit_line']))}"
    broken = first[first >= 0]
    if not broken.size:
        return f"{line} holds in all {first.size:,} futures tried."
    when = f"for the first time in year {int(broken.min())}"
    usual = int(np.median(broken))
    if usual > broken.min():
        when += f" at the earliest, mostly about year {usual}"
    return f"{line} is broken in {broken.size:,} of {first.size:,} futures tried, {when}."


def _payback(dataset: xarray.Dataset) -> str:
    if not invests(dataset):
        return "The plan invests nothing, so it has no payback year and no rate of return."
    payback = dataset["payback_year"].values
    trials = len(payback)
    years = dataset.sizes["year"]
    chance = shares(dataset)["never_pays_back"]
    never, share = chance.count, chance.value
    sure = f" (in truth {100 * chance.low:.0f} to {100 * chance.high:.0f} of 100)"
    if never == trials:
        return f"In none of the {trials:,} futures tried has the plan paid for itself within {years} years."
    if share >= 0.5:
        return f"In {never:,} of {trials:,} futures tried{sure} the plan has not paid for itself within {years} years."
    middle = int(np.sort(payback)[int(np.ceil(trials / 2)) - 1])
    if middle == 0:
        start = "In most futures tried the plan pays its own way from the first year"
    else:
        start = f"In half of the futures tried the plan pays for itself by year {middle}"
    if never == 0:
        tail = f"in all {trials:,} it does so within {years} years"
    else:
        tail = f"in {never:,} of {trials:,}{sure} not within {years} years"
    return f"{start}; {tail}."
