"""What is said, drawn and saved of a station record."""

from __future__ import annotations

from typing import Any, Final

from orchardsim.report.cautions import COLD_NIGHTS
from orchardsim.report.pages import Kind
from orchardsim.report.weather import words
from orchardsim.report.weather.figures import figures_of
from orchardsim.results.weather import PastWeather


def _values(found: PastWeather) -> dict[str, Any]:
    years = found.harvest_year
    return {
        "title": f"Weather record: {found.name}",
        "station": found.station,
        "method": words.method_text(found),
        "years": f"{years[0]} to {years[-1]}" if years.size else "none",
        "baseline": "{} to {}".format(*found.baseline_years) if any(found.baseline_years) else "none",
        "sentences": words.past_sentences(found),
        "shares": words.kill_cells(found),
        "quality": words.quality_lines(found) or ["no fault was found"],
        "notes": words.note_lines(found),
        "frost_caution": COLD_NIGHTS,
    }


KIND: Final = Kind(
    name="weather page",
    stem="weather",
    findings=PastWeather,
    sentences=words.weather_sentences,
    screen=words.weather_screen,
    text=words.weather_text,
    document=words.weather_document,
    figures=figures_of,
    values=_values,
)
