"""Answers of a study as tidy tables, one observation a row, and as a document of plain values."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Any, Final

from orchardsim.results.study import StudyFindings
from orchardsim.results.written import plain

MOST_PLACES: Final = 10
"""Places, first to last, whose chances are written for each cell."""
NONE: Final = float("nan")
Rows = list[dict[str, Any]]


def cell_rows(found: StudyFindings) -> Rows:
    """Every cell and measure, a row each."""
    return [
        {
            "measure": answer.facts.key,
            "unit": answer.facts.unit,
            "cell": cell.cell + 1,
            **cell.levels,
            "mean": cell.mean,
            "standard_error": cell.standard_error,
            **{f"p{point:02d}": value for point, value in cell.points.items()},
            "levels_known_p05": cell.luck[0] if cell.luck is not None else NONE,
            "levels_known_p95": cell.luck[1] if cell.luck is not None else NONE,
            "share_of_not_knowing": cell.not_knowing if cell.not_knowing is not None else NONE,
            "share_of_not_knowing_p05": cell.not_knowing_limits[0] if cell.not_knowing_limits is not None else NONE,
            "share_of_not_knowing_p95": cell.not_knowing_limits[1] if cell.not_knowing_limits is not None else NONE,
        }
        for answer in found.answers
        for cell in answer.cells
    ]


def _each(found: StudyFindings, members: str, columns: Callable[[Any], dict[str, Any]]) -> Rows:
    """A row for each member of every measure's answer, such as its contrasts."""
    return [
        {"measure": answer.facts.key, "unit": answer.facts.unit, **columns(one)}
        for answer in found.answers
        for one in getattr(answer, members)
    ]


def contrast_rows(found: StudyFindings) -> Rows:
    """Every contrast of every measure, a row each."""
    return _each(
        found,
        "contrasts",
        lambda one: {
            "kind": one.kind,
            "factor": one.factor,
            "first": one.first,
            "second": one.second,
            "difference": one.mean,
            "standard_error": one.standard_error,
            "low": one.low,
            "high": one.high,
            "told_apart": int(one.told_apart),
            "futures_in_which_first_is_better": one.futures_better,
            "spread_over_futures": one.spread,
            "spread_of_not_knowing": one.not_knowing if one.not_knowing is not None else NONE,
            "effect_size": one.effect_size,
        },
    )


def interaction_rows(found: StudyFindings) -> Rows:
    """What each pair of levels adds beyond its two levels, a row each."""
    return _each(
        found,
        "interactions",
        lambda one: {
            "first_factor": one.factors[0],
            "first_level": one.levels[0],
            "second_factor": one.factors[1],
            "second_level": one.levels[1],
            "beyond": one.mean,
            "standard_error": one.standard_error,
            "low": one.low,
            "high": one.high,
        },
    )


def share_rows(found: StudyFindings) -> Rows:
    """Share of what differs between cells by factor and pair, a row each."""
    return _each(
        found,
        "shares",
        lambda one: {"factors": " with ".join(one.factors), "share": one.share, "low": one.low, "high": one.high},
    )


def assumption_rows(found: StudyFindings) -> Rows:
    """Which result hangs on which assumption, a row each."""
    return _each(
        found,
        "assumptions",
        lambda one: {
            "contrast": one.contrast,
            "level": one.level,
            "change_with_one_standard_deviation": one.slope,
            "standard_error": one.standard_error,
            "share_of_spread": one.share,
        },
    )


def place_rows(found: StudyFindings) -> Rows:
    """Chance of each cell to take each of the first places by the measure that decides, a row each."""
    answer = found.answers[0]
    return [
        {
            "measure": answer.facts.key,
            "cell": cell.cell + 1,
            **cell.levels,
            "place": place + 1,
            "share_of_futures": float(answer.places[number, place]),
            "chance_of_mean": float(answer.places_of_means[number, place]) if answer.places_of_means.size else NONE,
        }
        for number, cell in enumerate(answer.cells)
        for place in range(min(MOST_PLACES, answer.places.shape[1]))
    ]


def base_numbers(found: StudyFindings) -> list[dict[str, Any]]:
    """Numbers that the base plan does not state: key, value, unit, source and status each."""
    numbers: list[dict[str, Any]] = json.loads(found.design.attrs["plan"])["assumed"]
    return numbers


def source_rows(found: StudyFindings) -> Rows:
    """Numbers that the base plan does not state, with status and source, a row each."""
    return [
        {
            key: json.dumps(one[key]) if key == "value" else one[key]
            for key in ("key", "value", "unit", "status", "source")
        }
        for one in base_numbers(found)
    ]


TABLES: Final[dict[str, Callable[[StudyFindings], Rows]]] = {
    "cells": cell_rows,
    "contrasts": contrast_rows,
    "interactions": interaction_rows,
    "places": place_rows,
    "shares": share_rows,
    "assumptions": assumption_rows,
    "sources": source_rows,
}
"""Name of a table -> its rows; each is written as NAME.csv."""


def tidy_csv(rows: Rows) -> str:
    """Rows as CSV, one observation a line, numbers with 6 significant digits; what is missing is empty."""
    import pandas

    return pandas.DataFrame(rows).to_csv(index=False, float_format="%.6g", lineterminator="\n") if rows else ""


def study_document(found: StudyFindings) -> dict[str, Any]:
    """The answers as plain values, for ``study.json``; what is missing or unbounded is null."""
    design = found.design
    return {
        "title": design.title,
        "design": design.kind,
        "factors": {name: list(levels) for name, levels in design.factors.items()},
        "held": dict(design.held),
        "cells": design.cells,
        "trials": design.trials,
        "known_trials": design.known_trials,
        "years": design.years,
        "seed": design.seed,
        **{key: design.attrs[key] for key in ("version", "base_plan", "base_plan_hash", "currency", "price_year")},
        "drawn_levels": list(found.drawn_levels),
        "decide_by": found.answers[0].facts.key,
        **{f"table_of_{name}": plain(rows(found)) for name, rows in TABLES.items()},
        "waiting": [{"circumstance": name, **asdict(one)} for name, one in found.waiting],
    }
