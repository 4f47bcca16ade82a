"""The first screen of a run: what it is, what to know before any number, the headline, and plain sentences."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

import numpy as np

from orchardsim.core.handover import WeatherMethod
from orchardsim.core.labels import FARM
from orchardsim.core.numbers import percent
from orchardsim.report.columns import SCREEN_LINES, SCREEN_WIDTH, text_columns
from orchardsim.report.run.block_tables import alternate_lines, undone_lines
from orchardsim.report.run.headline_rows import OF_NEW, MoneyRow, YieldRow, band, money_rows, weak, yield_rows
from orchardsim.report.run.published import published_gap
from orchardsim.report.run_formats import RunFormats, farm_area, years_text
from orchardsim.results import attribute, of_farm, shares
from orchardsim.results.block_results import credit_broken, failed_crops, undone_work
from orchardsim.results.dataset import resolved
from orchardsim.results.farm import parts_of_farm
from orchardsim.results.headline import invests
from orchardsim.results.notices import SELDOM, alternating, deadliest_cause, loose_targets, price_share, unpicked_share
from orchardsim.results.published import beside_published

if TYPE_CHECKING:
    import xarray

FULL_CROP_LEAF: Final = 10
"""Leaf at which a block is spoken of as in full crop (assumption: wording only, nothing is computed from it)."""
FAR_CROP: Final = 0.1
"""Share by which a usual crop differs from the stated last one before it is told (wording only)."""
SEASONS: Final[dict[WeatherMethod, str]] = {
    "years_independent": "whole biological years of the record",
    "years_in_runs": "whole biological years of the record",
    "record_in_order": "the record's years replayed in order",
    "generated_from_record": "parametric generator",
    "generated_from_normals": "generated from monthly normals",
}
"""Ways of drawing seasons, in a few words."""
ROWS: Final = ("picked to leaf 10", "trees lost", "peak borrowing", "payback year", "NPV", "IRR")
"""Rows of the long table that stand on the first screen."""


def first_screen(dataset: xarray.Dataset, *, whole: bool = False) -> str:
    """Lines of at most 80 columns: title, notices, headline, sentences.

    ``whole``: say all even where it is more than a screen; else, as far as room is wanting, the weight of one price is
    left out, then the amounts of the debt, which the headline tells too, then the debt.
    """
    formats = RunFormats.of(dataset.attrs)
    opening = [str(dataset.attrs["title"]), *_size(dataset, formats), *notices(dataset, formats)]
    headline = headline_lines(dataset, formats)
    sentences = [*plain_sentences(dataset), published_gap({"the middle": beside_published(dataset)}, formats)]
    price, debt = dict.fromkeys(price_notice(dataset, formats), ""), debt_sentence(dataset, formats)
    shorter = [{}, price, price | {debt: _debt_year(dataset)}, price | {debt: ""}]
    for said in shorter[: 1 if whole else None]:
        text = [
            *_wrapped([said.get(line, line) for line in opening], "  "),
            *headline,
            *_wrapped([said.get(line, line) for line in sentences]),
        ]
        if len(text) <= SCREEN_LINES:
            break
    return "\n".join(text)


def _wrapped(lines: list[str], indent: str = "") -> list[str]:
    return [part for line in lines for part in textwrap.wrap(line, SCREEN_WIDTH, subsequent_indent=indent)]


def _size(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Land, trials and seasons."""
    planted, gross = formats.area(float(of_farm(dataset, "planted_area"))), formats.area(farm_area(dataset))
    trials = f"{dataset.sizes['trial']:,} futures of {dataset.sizes['year']} years, seed {dataset.attrs['seed']}"
    years = years_text(attribute(dataset, "baseline_years"))
    seasons = SEASONS[dataset.attrs["weather_method"]]
    return [f"{planted} planted ({gross} with headlands); {trials}", f"Seasons: {seasons}, {years}"]


def notices(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """What to know before any number, a sentence each."""
    lines = [*climate_notices(dataset), *standing_notices(dataset, formats), *learned_notice(dataset)]
    deaths = deadliest_cause(dataset)
    if deaths is not None:
        share, cause, part = deaths
        lines.append(
            f"Trees die: {percent(share)} of all in these years, {percent(part)} of them by {cause.replace('_', ' ')}. "
            "Their rows cost on unless year_removed is stated."
        )
    loose = ", ".join(f"{one.label} {one.carried:.2g} of {one.target:g}" for one in loose_targets(dataset))
    if loose:
        lines.append(
            f"Crop targets reached in under {percent(SELDOM)} of crops (bloom or fruit_per_land); fruit/cm2: {loose}."
        )
    lines += alternate_lines(alternating(dataset))
    lines += undone_lines(undone_work(dataset).shares, unpicked_share(dataset))
    return [*lines, *place_in_line(dataset, formats), *price_notice(dataset, formats)]


def place_in_line(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Whose fruit comes first at an outlet with a limit, where new planting stands beside older blocks."""
    outlets = resolved(dataset).get("market", {}).get("outlets", {})
    limits = ", ".join(
        f"{name.replace('_', ' ')} {formats.mass(outlet['volume'])}"
        for name, outlet in outlets.items()
        if not isinstance(outlet["volume"], str) and outlet["volume"] > 0  # a word: without limit
    )
    if not limits or not parts_of_farm(dataset):
        return []
    return [f"Older blocks sell first ({limits} a year); new fruit gets what is left."]


def price_notice(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """How much rests on one cultivar's price; nothing where no fresh fruit is sold."""
    price = price_share(dataset)
    if price is None:
        return []
    return [
        f"Price of {price.cultivar}: {percent(price.share)} of fresh sales; a tenth less takes "
        f"{formats.money(price.lost)} off NPV."
    ]


def standing_notices(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """Standing trees whose stated last crop is not what the model's trees bear in a usual year."""
    lines = []
    for one in attribute(dataset, "standing") or []:
        stated, usual = (formats.mass(one[name]) for name in ("stated", "usual"))
        if one["off_year"]:
            lines.append(
                f"{one['label']}: its last crop, {stated} a tree, is taken as an off year's; a usual one is {usual}."
            )
        elif abs(one["usual"] / one["stated"] - 1) > FAR_CROP:
            lines.append(f"{one['label']}: trunk_area makes {usual} a tree usual, last_crop says {stated}: check both.")
    return lines


def learned_notice(dataset: xarray.Dataset) -> list[str]:
    """That measured trees stand behind open levels, and behind which."""
    names = list(dict.fromkeys(level.replace("_", " ") for level, _ in attribute(dataset, "learned") or []))
    return (
        [f"As measured trees showed (futures.learned), no longer the plan's own: {', '.join(names)}."] if names else []
    )


def climate_notices(dataset: xarray.Dataset) -> list[str]:
    """Whose climate it is, and whether water stress can be told."""
    from orchardsim.weather.place import Climate, climate_lines

    found = attribute(dataset, "climate")
    return climate_lines(Climate(**found)) if isinstance(found, dict) else []


def headline_lines(dataset: xarray.Dataset, formats: RunFormats) -> list[str]:
    """The headline table: the farm, and where blocks stand already new planting and standing blocks apart."""
    wanted = [row for row in money_rows(dataset, formats) if row.name.removeprefix(OF_NEW) in ROWS]
    cells = [["", "low (1 in 20)", "middle", "high (1 in 20)", "± middle"]]
    for row in [*wanted, *part_rows(dataset, formats)]:
        low, middle, high = row.band
        name = row.name.replace("picked", formats.yield_unit)
        if name.startswith(OF_NEW):
            name = name.removesuffix(" year")
        cells.append([name, low, middle, high, row.error])
    return text_columns(cells)


def part_rows(dataset: xarray.Dataset, formats: RunFormats) -> list[MoneyRow]:
    """NPV of new planting and of the standing blocks by themselves; none where there is but one kind."""
    rows = []
    for name, labels in parts_of_farm(dataset).items():
        values = dataset["npv_by_block"].sel(block=labels).sum("block").values
        found = band(np.asarray(values, dtype=np.float64))
        texts = (formats.money(found.low), formats.money(found.middle), formats.money(found.high))
        told = formats.money(found.middle_error, 2)
        rows.append(MoneyRow(f"NPV of {name}", "before tax and what only the farm pays", texts, told))
    return rows


def plain_sentences(dataset: xarray.Dataset) -> list[str]:
    """Sentences without terms of statistics or finance, under thirty words each.

    The crop, and the frost behind crops that fail; the deepest debt, and the credit line where one is stated; the year
    by which the plan has paid for itself.
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


def _debt_year(dataset: xarray.Dataset) -> str:
    """When the debt is deepest, where the farm borrows in most futures."""
    year = int(np.median(dataset["peak_borrowing_year"].values))
    return f"The debt is deepest around year {year}." if np.median(dataset["peak_borrowing"].values) > 0 else ""


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
    plan = "new planting" if parts_of_farm(dataset) else "plan"
    trials = len(payback)
    years = dataset.sizes["year"]
    chance = shares(dataset)["never_pays_back"]
    never, share = chance.count, chance.value
    sure = f" (in truth {100 * chance.low:.0f} to {100 * chance.high:.0f} of 100)"
    if never == trials:
        return f"In none of the {trials:,} futures tried has the {plan} paid for itself within {years} years."
    if share >= 0.5:
        return (
            f"In {never:,} of {trials:,} futures tried{sure} the {plan} has not paid for itself within {years} years."
        )
    middle = int(np.sort(payback)[int(np.ceil(trials / 2)) - 1])
    if middle == 0:
        start = f"In most futures tried the {plan} pays its own way from the first year"
    else:
        start = f"In half of the futures tried the {plan} pays for itself by year {middle}"
    if never == 0:
        tail = f"in all {trials:,} it does so within {years} years"
    else:
        tail = f"in {never:,} of {trials:,}{sure} not within {years} years"
    return f"{start}; {tail}."
