"""What `fit` found in words and tables: levels before and now, checks, conflicts; what to measure next, and waiting."""

from __future__ import annotations

from typing import Final

from orchardsim.core.glossary import term
from orchardsim.core.numbers import number, percent, with_error
from orchardsim.core.units import Display, display
from orchardsim.report.columns import (
    SCREEN_LINES,
    Pieces,
    cells_of,
    one_screen,
    sentence_pieces,
    table_pieces,
    text_columns,
)
from orchardsim.report.compare.words import listed
from orchardsim.report.pages import render
from orchardsim.results.fit import LITTLE, Band, BloomAnswer, FitFindings, Kept, LevelAnswer
from orchardsim.results.next import FieldSheet, NextAnswer, WaitAnswer

FEW_EFFECTIVE: Final = 0.8
"""Share of differing draws below which the answer is called coarse."""
MOST_NAMED: Final = 6
FIRST: Final = 4
"""Sentences on what was learned that stand first on the first screen (wording only)."""
PULLS: Final = 0.1
"""Share by which a level's middle moves without some readings, from which they are named (wording only)."""
GROWN: Final = ("trunk_area", "height")
MUCH: Final = 0.25
"""Share of a spread taken away from which a level is named in the sentences."""


def fit_sentences(found: FitFindings) -> list[str]:
    """The answer in plain sentences, the most important first."""
    trees, units = f" of {found.trees} trees" if found.trees else "", _units(found)
    said = [f"{found.measurements} measurements{trees} from {listed(found.seasons)}."]
    if found.lacking:
        years = listed([str(year) for year in found.lacking])
        said.append(
            f"The weather record does not hold {years}: each simulated row met a season drawn from the record in its "
            "place, so what was seen since then tells less."
        )
    if found.unlike < FEW_EFFECTIVE:
        said.append(f"Only {percent(found.unlike)} of the draws differ from each other: take the bands as rough.")
    learned = sorted((one for one in found.levels if one.told >= MUCH), key=lambda one: -one.told)
    for one in [one for one in learned if not one.key.startswith("site_growth")][:MOST_NAMED]:
        said.append(
            f"{_sentence(one.words)}: {_band(one.before, one.unit, units)} before, "
            f"{_band(one.after, one.unit, units)} now."
        )
    if not learned:
        said.append("The measurements leave every level about as open as it was: none lost a quarter of its spread.")
    said += _conflicts(found)
    said += _untold(found)
    said += _checks(found)
    said += [_bloom(one, units) for one in found.bloom]
    return said


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _units(found: FitFindings) -> Display:
    """Units of the plan."""
    return display(str(found.attrs["units"]))


def _shown(unit: str, units: Display) -> tuple[float, str]:
    """What a number in ``unit`` is multiplied by to be shown, and the unit shown."""
    if unit == "K":
        return units.temperature_difference(1.0), units.temperature_unit
    if unit == "K day":
        return units.temperature_difference(1.0), f"{units.temperature_unit} days"
    kinds = {"m": units.length, "kg": units.mass, "g": units.fruit_mass}
    first, slash, per = unit.partition("/")
    return (1 / kinds[first].size, kinds[first].unit + slash + per) if first in kinds else (1.0, unit)


def _band(band: Band, unit: str, units: Display) -> str:
    factor, unit = _shown(unit, units)
    low, middle, high = (number(value * factor, 2) for value in band)
    return f"{middle}{f' {unit}' if unit else ''} ({low} to {high})"


def _untold(found: FitFindings) -> list[str]:
    """What the data could not tell."""
    blind = [one.words for one in found.levels if abs(one.told) < LITTLE and not one.key.startswith("growth")]
    said = []
    parts = {one.key.split(" of ")[0]: one for one in found.levels}
    together = [one for one in found.levels if one.key.startswith("growth of ") and one.told >= MUCH]
    if together and all(
        parts[name].told < together[0].told - LITTLE for name in ("stock_by_site", "cultivar_by_site") if name in parts
    ):
        said.append(
            "How growth is shared out between ground, stock and cultivar stays open: rows of another stock or cultivar "
            "on the same ground would tell."
        )
    if blind:
        names = list(dict.fromkeys(blind))
        more = f"; and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
        said.append(f"The measurements could not tell: {'; '.join(names[:MOST_NAMED])}{more}.")
    return said


def _conflicts(found: FitFindings) -> list[str]:
    said = [
        f"In conflict with what was known before: {one.family} of {one.season} (chance {_chance(one.chance)}): "
        f"{one.hint}. It was given so much more error that it pulls less."
        for one in found.conflicts
    ]
    if found.misfit > 1.0:
        said.append(
            "The measurements do not agree with each other: all errors were taken "
            f"{number(found.misfit**0.5, 1)} times as large, so the bands are wide."
        )
    growth = [one for one in found.levels if one.key.startswith("growth of ") and one.told >= MUCH]
    best = max(growth, key=lambda one: one.told, default=None)
    said += _pulls(found, best)
    if not said and found.sights:
        said.append("Nothing measured conflicts with what was known before.")
    return said


def _pulls(found: FitFindings, best: LevelAnswer | None) -> list[str]:
    """Which readings moved the best-known growth, and whether to build on it."""
    if best is None:
        return []
    own = [one for one in found.without if one.key == best.key]
    moved = [one for one in own if abs(one.middle / best.after[1] - 1) >= PULLS]
    wrong = any(one.foretold is False and one.measure in GROWN for one in found.sights)
    doubtful = bool(moved) and (wrong or best.unexpected or any(one.family == "growth" for one in found.conflicts))
    said = []
    if moved:
        parts = [f"{number(one.middle, 2)} without {one.family} of {one.season}" for one in moved]
        said.append(f"{_sentence(best.words)}: {number(best.after[1], 2)} from all readings, {listed(parts)}.")
    if doubtful:
        said.append("These readings disagree: measure the same trees once more before you build on that growth.")
    if best.unexpected:
        said.append(
            f"{_sentence(best.words)} lies beyond what 9 of 10 rows would show: make sure of stock, cultivar and units "
            "before you put it down to the ground."
        )
    return said


def _chance(chance: float) -> str:
    return "below 1 in 10,000" if chance < 1e-4 else f"1 in {number(1 / chance)}"


def _checks(found: FitFindings) -> list[str]:
    held = [one for one in found.sights if one.held_back is not None]
    if not held:
        return (
            ["Nothing could be held back as a check: measure something else, or in another season, too."]
            if found.sights
            else []
        )
    right = sum(bool(one.foretold) for one in held)
    line = f"Held back one kind and season at a time, {right} of {len(held)} readings fell into their 90 % bands"
    wrong = [f"{one.measure.replace('_', ' ')} of {one.season}" for one in held if not one.foretold]
    return [f"{line}{f'; outside: {listed(wrong)}' if wrong else ''}."]


def _bloom(one: BloomAnswer, units: Display) -> str:
    factor, unit = _shown("K day", units)
    held = "" if one.error_held_back != one.error_held_back else (
        f"; a held-back date is missed by {number(one.error_held_back, 1)} days on the mean"
    )  # fmt: skip
    return (
        f"{one.dates} bloom {'date' if one.dates == 1 else 'dates'} of {one.cultivar}: chill need "
        f"{_mean(one.chill_before)} to {_mean(one.chill_after)} portions, heat need "
        f"{_mean(one.heat_before, factor)} to {_mean(one.heat_after, factor)} {unit}. Before, bloom was missed by "
        f"{number(one.error_before, 1)} days{held}."
    )


def _mean(pair: tuple[float, float], factor: float = 1.0) -> str:
    return f"{number(pair[0] * factor)} ± {number(pair[1] * factor)}"


def level_cells(found: FitFindings) -> list[list[str]]:
    """Table of levels before and after."""
    units = _units(found)
    return cells_of(
        found.levels,
        ("level", lambda one: _sentence(one.words)),
        ("before", lambda one: _band(one.before, one.unit, units)),
        ("now", lambda one: _band(one.after, one.unit, units)),
        ("spread taken away", lambda one: "none" if abs(one.told) < LITTLE / 2 else percent(one.told)),
    )


def sight_cells(found: FitFindings) -> list[list[str]]:
    """Table of what was measured beside what was expected."""
    rows = [["measured", "of", "when", "trees", "reading", "expected before", "after", "held back"]]
    for one in found.sights:
        factor, unit = _shown(one.unit, _units(found))
        rows.append(
            [
                term(one.measure),
                one.label,
                one.season,
                str(one.trees),
                f"{number(one.measured * factor, _digits(unit))} {unit}",
                *(_expected(band, factor, unit) for band in (one.before, one.after, one.held_back)),
            ]
        )
    return rows


def _digits(unit: str) -> int:
    return 0 if unit in ("g", "trees", "per tree") else 1


def _expected(band: Band | None, factor: float, unit: str) -> str:
    if band is None:
        return "–"
    return f"{number(band[0] * factor, _digits(unit))} to {number(band[2] * factor, _digits(unit))}"


def fit_screen(kept: Kept) -> str:
    """The short answer: what was learned, and where it was asked what waiting is worth and what to measure next."""
    found = kept.found
    asked: list[Pieces] = [sentence_pieces(wait_sentences(kept.waiting))] if kept.waiting is not None else []
    asked += next_pieces(kept.following) if kept.following is not None else []
    said, aside = sentence_pieces(fit_sentences(found)), sentence_pieces(_remarks(found))
    parts = [sentence_pieces([found.title]), said[:1], aside, said[1:FIRST], *asked, said[FIRST:]]
    return one_screen(*parts, lines=SCREEN_LINES - 1)  # the command's own last line says what comes next


def _remarks(found: FitFindings) -> list[str]:
    """What was set aside and the like, as sentences."""
    return [f"{_sentence(line)}." for line in found.remarks]


def asked_parts(kept: Kept) -> list[tuple[str, list[str], list[list[str]]]]:
    """What was asked for besides: title, sentences and table each."""
    after, wait = kept.following, kept.waiting
    parts = []
    if after is not None:
        parts.append(("What the options bring", shift_sentences(after), option_cells(after)))
        parts.append(("What to measure next", next_sentences(after), candidate_cells(after)))
    if wait is not None:
        parts.append(("What waiting is worth", wait_sentences(wait), wait_cells(wait)))
    return parts


def kept_sentences(kept: Kept) -> list[str]:
    """The whole answer in sentences."""
    return [*fit_sentences(kept.found), *(line for _, sentences, _ in asked_parts(kept) for line in sentences)]


def fit_text(kept: Kept) -> str:
    """All sentences and tables."""
    asked = [
        "\n".join(
            [title, "", *(f"  {line}" for line in sentences), "", *text_columns(cells, left=range(len(cells[0])))]
        )
        for title, sentences, cells in asked_parts(kept)
    ]
    return "\n\n".join([fit_table(kept.found), *asked])


def fit_table(found: FitFindings) -> str:
    """What was learned: sentences, every level before and after, every measurement."""
    parts = [found.title, "", *(f"  {line}" for line in fit_sentences(found))]
    parts += [f"  {line}" for line in _remarks(found)]
    cells, seen = level_cells(found), sight_cells(found)
    parts += ["", *text_columns(cells, left=range(len(cells[0])))]
    if found.sights:
        parts += ["", *text_columns(seen, left=range(len(seen[0])))]
    return "\n".join(parts)


def shift_sentences(found: NextAnswer) -> list[str]:
    """Whether what was measured changes the choice."""
    best = [max(range(len(values)), key=values.__getitem__) for values in (found.before, found.now)]
    before, now = (found.options[place] for place in best)
    if best[0] == best[1]:
        gap, error = _gap(found.now, found.now_error, best[1])
        return [
            f"The choice stays: {now} is best on the mean, before measuring and now (by "
            f"{_sure(gap, error, found)} over the next best)."
        ]
    gain = found.now[best[1]] - found.now[best[0]]
    error = found.now_error[best[1]]
    sure = "" if gain > 2 * error else "; that is within the error of the futures, so take either"
    return [
        f"What was measured changes the choice: {before} was best on the mean, now it is {now} (by "
        f"{_sure(gain, error, found)}{sure})."
    ]


def _gap(values: tuple[float, ...], errors: tuple[float, ...], best: int) -> tuple[float, float]:
    other = max((place for place in range(len(values)) if place != best), key=values.__getitem__)
    return values[best] - values[other], max(errors[best], errors[other])


def _sure(value: float, error: float, found: NextAnswer | WaitAnswer) -> str:
    return with_error(value, error, f"{found.currency} ")


def _money(value: float, found: NextAnswer | WaitAnswer) -> str:
    return f"{found.currency} {number(value)}" if value >= 0 else f"-{found.currency} {number(-value)}"


def option_cells(found: NextAnswer) -> list[list[str]]:
    """Table of the options' mean NPV before and now."""
    cells = [["option", "mean NPV before", "± of difference", "mean NPV now", "± of difference"]]
    for place, name in enumerate(found.options):
        before = _sure(found.before[place], found.before_error[place], found).split(" ± ")
        now = _sure(found.now[place], found.now_error[place], found).split(" ± ")
        cells.append([name, *before, *now])
    return cells


def next_sentences(found: NextAnswer) -> list[str]:
    """What the best measurements are worth."""
    worth, error, changed = found.together
    said = [
        f"All of these together are worth {_sure(worth, error, found)} to the planting to come, the "
        f"work of measuring not counted, and change the choice in {percent(changed)} of cases.",
        f"Knowing the trees' levels exactly would be worth {_sure(*found.perfect[:2], found)}. What trees cannot tell, "
        "such as prices, is not in it.",
    ]
    if worth <= 2 * error:
        said.append("That is within the error of the futures: measuring more would hardly change this choice.")
    return said


def candidate_cells(found: NextAnswer) -> list[list[str]]:
    """Table of the ten measurements."""
    rows = [["measure", "of", "when", "trees", "worth alone", "±", "changes the choice"]]
    for one in found.candidates:
        rows.append(
            [
                term(one.measure),
                one.label,
                f"{one.calendar_year}, {one.when}",
                str(one.trees),
                *_sure(one.worth, one.error, found).split(" ± "),
                percent(one.changed),
            ]
        )
    return rows


def next_pieces(found: NextAnswer) -> list[Pieces]:
    """Its part of the first screen: whether the choice changed, and the best measurements."""
    cells = [[row[0], *row[2:4], row[4], row[6]] for row in candidate_cells(found)[:4]]
    table = table_pieces(cells, left=(0, 1)) if found.candidates and found.candidates[0].worth > 0 else []
    return [sentence_pieces([*shift_sentences(found), next_sentences(found)[0]]), table]


def wait_sentences(found: WaitAnswer) -> list[str]:
    """Whether waiting pays."""
    now, later = found.rows[0], found.rows[1:]
    best = max(later, key=lambda row: row.mean)
    years = _years(best.years)
    nothing = len(found.options) - 1
    if all(row.shares[nothing] == 1 for row in found.rows):
        verdict = "Nothing is planted either way, at these prices and whatever the row shows: waiting changes nothing"
    elif best.mean > 2 * best.error:
        verdict = f"Waiting {years} pays: {_sure(best.mean, best.error, found)} over planting all now"
    elif best.mean < -2 * best.error:
        verdict = (
            f"Waiting does not pay: the best wait, {years}, brings {_sure(best.mean, best.error, found)} against "
            "planting all now"
        )
    else:
        verdict = (
            f"Waiting and planting all now come to the same within the error: the best wait, {years}, brings "
            f"{_sure(best.mean, best.error, found)}"
        )
    most = max(range(len(found.options)), key=lambda place: now.shares[place])
    return [
        f"{verdict}.",
        f"In it the delay alone is {_money(best.delay - now.delay, found)} and what is learned "
        f"{_money(best.learning, found)}; the row changes the choice in {percent(best.changed)} ± "
        f"{percent(best.changed_error)} of cases.",
        f"Now the best is: {found.options[most]}. NPV of {found.horizon} years, trees and land at the end counted "
        f"as in a run; {found.trials} futures.",
    ]


def _years(years: int) -> str:
    return "1 year" if years == 1 else f"{years} years"


def wait_cells(found: WaitAnswer) -> list[list[str]]:
    """Table of waits."""
    rows = [["wait", "mean NPV", "±", term("low"), "peak borrowing", "loses money", "learning", "row changes choice"]]
    for row in found.rows:
        mean, error = _sure(row.mean, row.error, found).split(" ± ")
        rows.append(
            [
                "none" if not row.years else _years(row.years),
                mean if not row.years else f"{mean} over none",
                error,
                _money(row.low, found),
                _money(row.peak_borrowing, found),
                percent(row.loss),
                _money(row.learning, found),
                f"{percent(row.changed)} ± {percent(row.changed_error)}" if row.years else "–",
            ]
        )
    return rows


def sheet_html(sheet: FieldSheet) -> str:
    """The field sheet for print."""
    named = [*sheet.measures, *dict.fromkeys(one[1:] for one in sheet.whole)]
    return render(
        "field_sheet.html",
        title=sheet.title,
        season=sheet.season,
        how=[(term(name), *rest, sheet.meanings[name]) for name, *rest in named],
        measures=[(term(name), *rest) for name, *rest in sheet.measures],
        trees=sheet.trees,
        whole=[(label, term(name), *rest) for label, name, *rest in sheet.whole],
        causes=any(name == "dead_trees" for name, *_ in named),
    )
