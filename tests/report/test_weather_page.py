"""The page of a station record, from invented seasons and from the record that comes with the package."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from orchardsim.analysis.past_weather import monthly, past_seasons
from orchardsim.core.handover import SeasonWeather
from orchardsim.core.numbers import with_error
from orchardsim.report.rebuild import rebuild
from orchardsim.report.weather.page import KIND
from orchardsim.report.weather.words import _count_text, kill_cells, past_sentences
from orchardsim.results.weather import PastWeather
from orchardsim.season.parameters import Phenology
from orchardsim.weather.climate import Trend
from orchardsim.weather.history import FrostDates, MonthlyClimate, first_autumn_frost, last_spring_frost

# Needs of an invented cultivar, good enough to give a bloom day.
INVENTED = Phenology(chill_requirement=50.0, bloom_heat=230.0, days_to_harvest=125.0)


def invented_seasons(years: int = 24, latitude: float = 42.0, rain: bool = True) -> SeasonWeather:
    """Seasons with a plain yearly course and red noise; every number made up."""
    rng = np.random.default_rng(3)
    day = np.arange(457)
    course = 10.0 - 12.0 * np.cos(2 * np.pi * (day - 105) / 365)
    noise = np.zeros((years, 457))
    for step in range(1, 457):
        noise[:, step] = 0.7 * noise[:, step - 1] + 2.5 * rng.standard_normal(years)
    mean = course + noise
    return SeasonWeather(
        harvest_year=np.arange(1990, 1990 + years),
        temperature_min=mean - 6.0,
        temperature_max=mean + 6.0,
        rain=np.where(rng.random((years, 457)) < 0.3, 8.0, 0.0),
        rain_is_measured=rain,
        latitude=latitude,
        elevation=150.0,
    )


def made_up(units="metric", latitude=42.0, rain=True):
    """Two invented cultivars on an invented record, of which the climate alone is not asked for."""
    seasons = invented_seasons(latitude=latitude, rain=rain)
    low = seasons.temperature_min
    none = np.full(12, np.nan)
    return PastWeather(
        name="Invented station", station="none", units=units, latitude=latitude, first_day="1989-10-01",
        last_day="2014-12-31", quality=("temperature_min: 3 of 9000 days missing",), notes=(),
        climate=MonthlyClimate(none, none, none, none, none, None, None),
        frost=(FrostDates(0.0, seasons.harvest_year, last_spring_frost(low, 0.0), first_autumn_frost(low, 0.0)),),
        trend_min=Trend(0.0, 0.0, 0.0), trend_max=Trend(0.0, 0.0, 0.0), baseline_years=(2000, 2013),
        harvest_year=seasons.harvest_year,
        seasons=past_seasons(
            seasons,
            {"first": INVENTED, "second": Phenology(chill_requirement=55.0, bloom_heat=250.0, days_to_harvest=130.0)},
        ),
    )  # fmt: skip


@pytest.fixture(scope="module", params=[("metric", 42.0, True), ("us", -38.0, False)])
def found(request):
    return made_up(*request.param)


def test_months_by_hand_in_both_hemispheres():
    values = np.arange(457.0)[None, :]
    # In the north day 0 is 1 October, so October is days 0 to 30 (mean 15) and January days 92 to 122 (mean 107).
    north = monthly(values, 40.0)[0]
    assert (north[9], north[0]) == (15.0, 107.0)
    # In the south day 0 is 1 April: April is days 0 to 29, March days 334 to 364 (sum 31 x 349).
    assert monthly(values, -40.0)[0][3] == 14.5
    assert monthly(values, -40.0, total=True)[0][2] == 31 * 349


def test_a_colder_site_never_loses_fewer_flowers(found):
    history = found.seasons
    assert (np.diff(history.frost_kill, axis=1) >= 0).all()
    assert history.frost_kill[:, -1].max() > history.frost_kill[:, 0].max() or history.frost_kill[:, 0].max() == 1


def test_counts_of_frost_years_add_up(found):
    for row in kill_cells(found)[1:]:
        counts = [tuple(map(int, cell.split(":")[0].split(" of "))) for cell in row[3:]]
        assert [years for _, years in counts] == [14, 10, 24]
        assert counts[0][0] + counts[1][0] == counts[2][0]


def test_range_of_a_share_is_clopper_and_pearsons():
    # Clopper and Pearson (1934, Biometrika 26:404): the ends are quantiles of beta laws.
    low, high = stats.beta.ppf(0.05, 4, 27), stats.beta.ppf(0.95, 5, 26)
    assert _count_text(4, 30) == f"4 of 30: 13 ({100 * low:.0f}-{100 * high:.0f})"
    assert _count_text(0, 0) == "no years"


def test_numbers_are_shown_to_the_figures_of_their_error():
    assert with_error(-0.8512, 0.502, most=3) == "-0.85 ± 0.50"
    assert with_error(1234.5, 87.0, "+") == "+1,234 ± 87"


def test_page_and_pictures_come_again_from_what_is_kept(found, tmp_path):
    text = KIND.write(tmp_path, found).read_text(encoding="utf-8")
    assert text.count("<svg") == 6
    assert len(past_sentences(found)) == 3
    assert ("°F" in text) == (found.units == "us")
    assert "daily minimum: 3 of 9000 days missing" in text
    assert len(list((tmp_path / "figures").glob("weather_*.svg"))) == 6
    (tmp_path / "weather.html").unlink()
    (again,) = rebuild(tmp_path)
    assert again.page.read_text(encoding="utf-8") == text


def test_a_record_that_is_too_short_has_its_page(found, tmp_path):
    text = KIND.write(tmp_path, dataclasses.replace(found, baseline_years=(0, 0), seasons=None)).read_text("utf-8")
    assert "Too few complete years to draw seasons from." in text and "<svg" not in text


def test_no_cultivar_is_refused():
    with pytest.raises(ValueError, match="cultivar"):
        past_seasons(invented_seasons(12), {})
