"""The page of a station record: pictures and a page from plain arrays."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from orchardsim.core.calendar import date_text
from orchardsim.core.units import display
from orchardsim.report.cautions import COLD_NIGHTS
from orchardsim.report.pages import Pictures, picture_names, picture_parts, render, save_pictures
from orchardsim.report.weather.history import KILL_MARKS, WeatherHistory, frost_shares
from orchardsim.results.folder import OutputFolder, opened

WEATHER_PAGE: Final = "weather.html"
KIND: Final = "weather page"
"""What the files are, in the words of a message."""


def weather_files() -> list[str]:
    """Files that :func:`write_weather_page` writes."""
    from orchardsim.report.weather.figures import WEATHER_FIGURES

    return [WEATHER_PAGE, *picture_names(WEATHER_FIGURES)]


def write_weather_page(history: WeatherHistory, place: str | Path | OutputFolder) -> Path:
    """Write ``weather.html`` and its pictures (``figures/weather_*``) into a folder.

    Parameters
    ----------
    history : WeatherHistory
        From :func:`orchardsim.report.weather.history.weather_history`.
    place : path or OutputFolder

    Returns
    -------
    pathlib.Path
        The page.
    """
    from orchardsim.report.weather.figures import WEATHER_FIGURES

    with opened(place, KIND, weather_files()) as folder:
        pictures = save_pictures(folder, history, WEATHER_FIGURES)
        path = folder.write_text(WEATHER_PAGE, weather_page(history, pictures))
        folder.finish()
    return path


def weather_page(history: WeatherHistory, pictures: Pictures) -> str:
    """The page as text."""
    from orchardsim.report.weather.figures import WEATHER_FIGURES

    first, last = history.baseline_years
    return render(
        "weather.html",
        title=history.title,
        station=history.station,
        method=history.method,
        first_year=int(history.harvest_year[0]),
        last_year=int(history.harvest_year[-1]),
        baseline=f"{first} to {last}",
        sentences=weather_sentences(history),
        shares=_share_cells(history),
        pictures=picture_parts(WEATHER_FIGURES, pictures),
        quality=history.quality or ("no fault was found",),
        notes=history.notes,
        frost_caution=COLD_NIGHTS,
    )


def weather_sentences(history: WeatherHistory) -> list[str]:
    """What the record says for an orchard, in plain sentences: frost dates, bloom, frost kill by baseline."""
    inside = history.in_baseline
    span = f"{history.baseline_years[0]} to {history.baseline_years[1]}"
    sentences = []
    spring = history.last_spring_frost[inside]
    spring = spring[np.isfinite(spring)]
    if spring.size:
        sentences.append(
            f"In {span} the last spring frost came on {_date(np.median(spring), history)} in a typical year and after "
            f"{_date(np.quantile(spring, 0.9), history)} in one year of ten."
        )
    bloom = history.bloom_day[0, inside]
    sentences.append(
        f"{history.cultivars[0]} would have been in full bloom on {_date(np.median(bloom), history)} in a typical "
        f"year, between {_date(np.quantile(bloom, 0.1), history)} and {_date(np.quantile(bloom, 0.9), history)} in "
        "eight years of ten."
    )
    row = frost_shares(history)[0]
    base, whole = row["baseline"], row["whole"]
    assert isinstance(base, tuple) and isinstance(whole, tuple)
    sentences.append(
        f"Frost would have killed more than {100 * KILL_MARKS[1]:.0f} % of its flowers in {base[1]} of "
        f"{row['baseline_years']} springs of {span}, and in {whole[1]} of {row['whole_years']} springs of the whole "
        "record. Which years are taken as the guide matters."
    )
    return sentences


def _date(day: float, history: WeatherHistory) -> str:
    return date_text(float(round(day)), history.latitude)


def _share_cells(history: WeatherHistory) -> list[list[str]]:
    """A head, then two rows for each cultivar and coldness."""
    shown = display(history.units)
    first, last = history.baseline_years
    head = ["cultivar", "clear nights", "killed", f"baseline {first} to {last}", "years before it", "whole record"]
    rows = [head]
    for row in frost_shares(history):
        offset = float(str(row["offset"]))
        difference = f"{shown.temperature_difference(abs(offset)):.1f} {shown.temperature_unit} colder"
        for place, mark in enumerate(KILL_MARKS):
            cells = []
            for name in ("baseline", "before", "whole"):
                counts, years = row[name], row[f"{name}_years"]
                assert isinstance(counts, tuple) and isinstance(years, int)
                cells.append(_count_text(counts[place], years))
            nights = "as the station" if offset == 0 else difference
            rows.append([str(row["cultivar"]), nights, f"more than {100 * mark:.0f} %", *cells])
    return rows


def _count_text(count: int, years: int) -> str:
    from scipy.stats import binomtest

    if years == 0:
        return "no years"
    interval = binomtest(count, years).proportion_ci(confidence_level=0.9, method="exact")
    return f"{count} of {years}: {100 * count / years:.0f} ({100 * interval.low:.0f}-{100 * interval.high:.0f})"
