"""What to measure next and what waiting is worth, in sentences and tables; and the field sheet for print."""

from __future__ import annotations

from orchardsim.core.glossary import term
from orchardsim.core.numbers import number, percent, with_error
from orchardsim.report.columns import Pieces, sentence_pieces, table_pieces, text_columns
from orchardsim.report.pages import render
from orchardsim.results.next import FieldSheet, NextAnswer, WaitAnswer


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


def next_table(found: NextAnswer) -> str:
    """All that is told of it."""
    parts = ["What the options bring", "", *(f"  {line}" for line in shift_sentences(found)), ""]
    parts += [*_lined_up(option_cells(found)), "", "What to measure next", ""]
    parts += [*(f"  {line}" for line in next_sentences(found)), "", *_lined_up(candidate_cells(found))]
    return "\n".join(parts)


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


def _lined_up(cells: list[list[str]]) -> list[str]:
    return text_columns(cells, left=range(len(cells[0])))


def wait_table(found: WaitAnswer) -> str:
    """All that is told of it."""
    parts = [
        "What waiting is worth",
        "",
        *(f"  {line}" for line in wait_sentences(found)),
        "",
        *_lined_up(wait_cells(found)),
    ]
    return "\n".join(parts)


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
