"""Pictures of a station record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.numbers import with_error
from orchardsim.core.units import display
from orchardsim.report.pages import Figures
from orchardsim.report.style import (
    BRICK,
    INK,
    LEAF,
    LINES,
    MARKERS,
    OCHRE,
    QUIET,
    SKY,
    STRAW,
    add_footer,
    date_axis,
    new_figure,
    thousands,
    whole_ticks,
)
from orchardsim.report.weather.words import MONTH_NAMES, method_text
from orchardsim.results.weather import PastSeasons, PastWeather

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_CULTIVARS: Final = 3
"""Cultivars drawn; more would not be told apart."""


def climate_figure(found: PastWeather) -> Figure:
    """Monthly temperature, and rain where it was measured."""
    seasons = _seasons(found)
    shown = display(found.units)
    months = np.arange(12)
    rain = seasons.monthly_rain
    rows = 1 if rain is None else 2
    figure, axes = new_figure(rows, 1, height=2.9 * rows, squeeze=False, sharex=True)
    upper = axes[0, 0]
    for values, colour, line, name in (
        (seasons.monthly_temperature_max, BRICK, "-", "maximum"),
        (seasons.monthly_temperature_min, SKY, "-.", "minimum"),
    ):
        baseline = shown.temperature(values[found.in_baseline])
        low, high = np.quantile(baseline, (0.05, 0.95), axis=0)
        upper.fill_between(months, low, high, color=colour, alpha=0.2, linewidth=0, label=f"{name}: 9 years in 10")
        upper.plot(months, baseline.mean(axis=0), color=colour, linestyle=line, linewidth=2,
                   label=f"{name}: mean of the baseline")  # fmt: skip
        upper.plot(
            months,
            shown.temperature(values).mean(axis=0),
            color=INK,
            linewidth=1,
            linestyle=(0, (4, 2)),
            label="mean of the whole record" if colour == SKY else None,
        )
    upper.axhline(shown.temperature(0.0), color=QUIET, linewidth=0.9)
    upper.set_title("Mean daily minimum and maximum by month")
    upper.set_ylabel(shown.temperature_unit)
    low_end, high_end = upper.get_ylim()
    upper.set_ylim(low_end, high_end + 0.35 * (high_end - low_end))
    upper.legend(ncols=2, loc="upper left")
    if rain is not None:
        lower = axes[1, 0]
        inside = shown.depth.of(rain[found.in_baseline])
        low, middle, high = np.quantile(inside, (0.05, 0.5, 0.95), axis=0)
        lower.bar(months, middle, color=SKY, width=0.7)
        lower.errorbar(months, middle, yerr=[middle - low, high - middle], fmt="none", ecolor=QUIET, capsize=2)
        lower.set_title("Rain by month (bar: middle year; line: 9 years in 10)")
        lower.set_ylabel(shown.depth.unit)
    axes[-1, 0].set_xticks(months, MONTH_NAMES)
    add_footer(figure, _footer(found, trend=False))
    return figure


def frost_date_figure(found: PastWeather) -> Figure:
    """Last spring and first autumn frost by year."""
    figure, (upper, lower) = new_figure(2, 1, height=5.2, sharex=True)
    year = found.harvest_year
    for axes, days, colour, name in (
        (upper, found.frost[0].first_autumn, OCHRE, "First autumn frost"),
        (lower, found.frost[0].last_spring, SKY, "Last spring frost"),
    ):
        _mark_baseline(axes, found, label=axes is upper)
        axes.plot(year, days, color=colour, linestyle="none", marker="o", markersize=4)
        _trend_line(axes, year, days, "days")
        date_axis(axes, found.latitude)
        axes.set_title(f"{name} (daily minimum at or below {_freezing(found)})")
        axes.legend(loc="lower left", ncols=3)
        _room_below(axes)
    lower.set_xlabel("year")
    whole_ticks(lower, steps=(1, 2, 5, 10))
    without = int(np.isnan(found.frost[0].last_spring).sum() + np.isnan(found.frost[0].first_autumn).sum())
    extra = f"{without} springs or autumns had no frost and have no point. " if without else ""
    add_footer(figure, extra + _footer(found))
    return figure


def bloom_figure(found: PastWeather) -> Figure:
    """Full bloom by year, with the last spring frost."""
    seasons = _seasons(found)
    figure, axes = new_figure(height=3.8)
    year = found.harvest_year
    _mark_baseline(axes, found)
    for number, cultivar in enumerate(seasons.cultivars[:MOST_CULTIVARS]):
        colour = (LEAF, OCHRE, BRICK)[number]
        axes.plot(
            year, seasons.bloom_day[number], color=colour, linewidth=1.2, linestyle=LINES[number],
            marker=MARKERS[number], markersize=3, label=cultivar,
        )  # fmt: skip
    _trend_line(axes, year, seasons.bloom_day[0], "days", name=f"trend of {seasons.cultivars[0]}")
    axes.plot(
        year,
        found.frost[0].last_spring,
        color=SKY,
        linestyle="none",
        marker="x",
        markersize=5,
        label="last spring frost",
    )
    axes.set_title("Full bloom, computed from the record")
    axes.set_xlabel("year")
    date_axis(axes, found.latitude)
    whole_ticks(axes, steps=(1, 2, 5, 10))
    _room_below(axes, 0.4)
    axes.legend(loc="lower left", ncols=2)
    add_footer(figure, _footer(found))
    return figure


def kill_figure(found: PastWeather) -> Figure:
    """Share of flowers that frost would have killed in each year, for three coldnesses of the site."""
    seasons = _seasons(found)
    shown = display(found.units)
    cultivars = seasons.cultivars[:MOST_CULTIVARS]
    figure, axes = new_figure(
        len(cultivars), 1, height=1.4 + 2.1 * len(cultivars), sharex=True, sharey=True, squeeze=False
    )
    order = np.argsort(seasons.night_offsets)
    colours = ("#a9c4d9", SKY, "#1f3a57")
    for number, cultivar in enumerate(cultivars):
        panel = axes[number, 0]
        _mark_baseline(panel, found, label=number == 0)
        # A colder site kills at least as much, so the bars stand behind each other, the coldest at the back.
        for place, colour, hatch in zip(order, colours, ("", "//", ""), strict=True):
            offset = seasons.night_offsets[place]
            difference = shown.temperature_difference(abs(offset))
            name = "as cold as the station" if offset == 0 else f"{difference:.1f} {shown.temperature_unit} colder"
            panel.bar(
                found.harvest_year,
                100 * seasons.frost_kill[number, place],
                color=colour,
                hatch=hatch,
                edgecolor="white",
                linewidth=0,
                width=0.8,
                label=name if number == 0 else None,
            )
        panel.set_title(f"{cultivar}: flowers that frost would have killed, no protection")
        panel.set_ylabel("% of flowers")
        panel.set_ylim(0, 100)
    panel = axes[-1, 0]
    panel.set_xlabel("year")
    whole_ticks(panel, steps=(1, 2, 5, 10))
    figure.legend(loc="outside upper left", ncols=4, fontsize=8)
    add_footer(figure, "Clear nights at the orchard against the station's shelter. " + _footer(found, trend=False))
    return figure


def chill_heat_figure(found: PastWeather) -> Figure:
    """Winter chill and summer heat by year."""
    seasons = _seasons(found)
    shown = display(found.units)
    figure, (upper, lower) = new_figure(2, 1, height=5.0, sharex=True)
    year = found.harvest_year
    heat = seasons.heat * (shown.temperature_difference(1.0))
    for axes, values, colour, title, unit in (
        (upper, seasons.chill_portions, SKY, "Winter chill (Dynamic Model)", "chill portions"),
        (
            lower,
            heat,
            BRICK,
            f"Summer heat (above {shown.temperature(4.5):.3g} {shown.temperature_unit}, single sine)",
            f"{shown.temperature_unit} days",
        ),
    ):
        _mark_baseline(axes, found, label=axes is upper)
        axes.plot(year, values, color=colour, linewidth=1.2, marker="o", markersize=3)
        _trend_line(axes, year, values, unit)
        axes.set_title(title)
        axes.set_ylabel(unit)
        _room_below(axes)
        axes.legend(loc="lower left", ncols=2)
    thousands(lower.yaxis)
    lower.set_xlabel("year")
    whole_ticks(lower, steps=(1, 2, 5, 10))
    add_footer(figure, _footer(found))
    return figure


def trend_figure(found: PastWeather) -> Figure:
    """Yearly mean temperature with its straight trend, for the whole record and the baseline."""
    seasons = _seasons(found)
    shown = display(found.units)
    figure, (upper, lower) = new_figure(2, 1, height=5.0, sharex=True)
    year = found.harvest_year
    for axes, values, colour, name in (
        (upper, seasons.monthly_temperature_max, BRICK, "maximum"),
        (lower, seasons.monthly_temperature_min, SKY, "minimum"),
    ):
        yearly = shown.temperature(values).mean(axis=1)
        _mark_baseline(axes, found, label=axes is upper)
        axes.plot(year, yearly, color=colour, linewidth=1.2, marker="o", markersize=3)
        _trend_line(axes, year, yearly, shown.temperature_unit)
        inside = found.in_baseline
        _trend_line(axes, year[inside], yearly[inside], shown.temperature_unit, name="baseline's own", dash=(0, (1, 1)))
        axes.set_title(
            f"Mean daily {name} of the year from October"
            if found.latitude >= 0
            else f"Mean daily {name} of the year from April"
        )
        axes.set_ylabel(shown.temperature_unit)
        _room_below(axes, 0.35)
        axes.legend(loc="lower left")
    lower.set_xlabel("year of harvest")
    whole_ticks(lower, steps=(1, 2, 5, 10))
    add_footer(figure, _footer(found))
    return figure


def _mark_baseline(axes: Axes, found: PastWeather, *, label: bool = True) -> None:
    first, last = found.baseline_years
    axes.axvspan(first - 0.5, last + 0.5, color=STRAW, alpha=0.3, linewidth=0, label="baseline" if label else None)


def _trend_line(
    axes: Axes,
    year: NDArray[np.int64],
    values: NDArray[np.float64],
    unit: str,
    *,
    name: str = "trend",
    dash: Any = (0, (4, 2)),
) -> None:
    from scipy.stats import linregress

    present = np.isfinite(values)
    if present.sum() < 3:
        return
    fit = linregress(year[present].astype(float), values[present])
    ends = np.array([year[present].min(), year[present].max()], dtype=float)
    slope = with_error(10 * fit.slope, 10 * fit.stderr, "+" if fit.slope > 0 else "", most=3)
    label = f"{name} {slope} {unit} per decade"
    axes.plot(ends, fit.intercept + fit.slope * ends, color=INK, linewidth=1.1, linestyle=dash, label=label)


def _room_below(axes: Axes, share: float = 0.22) -> None:
    low, high = axes.get_ylim()
    axes.set_ylim(low - share * (high - low), high)


def _freezing(found: PastWeather) -> str:
    shown = display(found.units)
    return f"{shown.temperature(0.0):.0f} {shown.temperature_unit}"


def _footer(found: PastWeather, *, trend: bool = True) -> str:
    first, last = found.baseline_years
    return (
        f"Station {found.station}; {method_text(found)}: {found.harvest_year[0]} to {found.harvest_year[-1]}, "
        f"n = {len(found.harvest_year)}; baseline {first} to {last}, n = {int(found.in_baseline.sum())}."
        + (" Trend ± one standard error, years taken as independent." if trend else "")
    )


FIGURES: Final[dict[str, tuple[str, Callable[[PastWeather], Figure]]]] = {
    "weather_climate": ("Monthly climate", climate_figure),
    "weather_frost_dates": ("First and last frost", frost_date_figure),
    "weather_bloom": ("Bloom", bloom_figure),
    "weather_frost_kill": ("What each past spring would have done", kill_figure),
    "weather_chill_heat": ("Chill and heat", chill_heat_figure),
    "weather_trend": ("Warming or cooling", trend_figure),
}
"""File name -> heading on the page and the function that draws it."""


def figures_of(found: PastWeather) -> Figures:
    """Pictures that a record has: none without seasons."""
    return FIGURES if found.seasons is not None else {}


def _seasons(found: PastWeather) -> PastSeasons:
    assert found.seasons is not None  # nothing is drawn without
    return found.seasons
