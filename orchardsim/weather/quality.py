"""Quality control of a daily record: what is impossible is dropped and listed, what is doubtful is flagged and kept.

The order is: physical range, minimum above maximum, spikes against both neighbours, long runs of one value, and last
the distance from what the season usually brings. Nothing is corrected here and no gap is filled.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.calendar import YEAR_DAYS
from orchardsim.weather.records import DailyRecord, Floats, day_list, day_number

PHYSICAL_RANGE: Final = {
    "temperature_min": (-45.0, 55.0),
    "temperature_max": (-45.0, 55.0),
    "rain": (0.0, 1000.0),
    "wind_speed": (0.0, 60.0),
    "relative_humidity": (0.0, 1.05),
}
"""Values outside cannot be true where apples grow [degC, degC, mm/day, m/s, 1]; assumption, temperatures as used in a
test of this record."""
SPIKE: Final = 25.0
"""K above or below both neighbouring days from which a value is dropped. Durre et al. 2010, J. Appl. Meteorol.
Climatol. 49:1615-1633, spike/dip check (memory)."""
STREAK_DROPPED: Final = 20
"""Equal values on that many days running are dropped. Durre et al. 2010, streak check (memory)."""
STREAK_FLAGGED: Final = 8
"""Equal values on that many days running are flagged (assumption)."""
ROBUST_FLAGGED: Final = 6.0
"""Robust standard deviations from the median of the season from which a value is flagged; at 5 the test also takes
plausible cool summer days (computed on the bundled record)."""
HALF_WINDOW: Final = 15
WINDOW_STEP: Final = 5
MAD_TO_SD: Final = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution (derived: 1/0.6745)."""
LONG_GAP: Final = 3
"""Days; shorter gaps are interpolated when seasons are made, from here on another year is copied in."""
MANY_MISSING: Final = 5
"""Missing days in a year beyond which it is listed, and beyond which a season counts as incomplete."""


@dataclass(frozen=True)
class Finding:
    """One kind of fault in one variable.

    Attributes
    ----------
    kind : str
        "impossible value", "minimum above maximum", "spike", "repeated value" or "unusual value".
    variable : str
    dates : datetime64[D] array, (n,)
    values : float array, (n,)
        As they stood in the record, in the variable's unit.
    dropped : bool
        True where the values were set to missing, False where they were only flagged.
    """

    kind: str
    variable: str
    dates: NDArray[np.datetime64]
    values: Floats
    dropped: bool

    def line(self) -> str:
        """One line for a person."""
        unit = {"rain": "mm", "wind_speed": "m/s", "relative_humidity": ""}.get(self.variable, "degC")
        shown = ", ".join(
            f"{date} ({value:.4g} {unit})".replace(" )", ")")
            for date, value in zip(self.dates[:5], self.values[:5], strict=True)
        )
        more = f" and {self.dates.size - 5} more" if self.dates.size > 5 else ""
        action = "dropped" if self.dropped else "flagged, kept"
        return f"{self.kind}, {self.variable}: {self.dates.size} {action}: {shown}{more}"


@dataclass(frozen=True)
class MissingSpell:
    """Days running on which minimum or maximum temperature is missing."""

    first: np.datetime64
    last: np.datetime64
    days: int

    def line(self) -> str:
        """One line for a person."""
        return f"{self.first} to {self.last}: {self.days} days without minimum or maximum temperature"


@dataclass(frozen=True)
class QualityReport:
    """What quality control found.

    Attributes
    ----------
    days : int
        Days from the first to the last, without 29 February.
    missing : dict of str to int
        Days without a value, by variable, after faulty values were dropped.
    findings : tuple of Finding
    spells : tuple of MissingSpell
        Missing spells of :data:`LONG_GAP` days or more, in order.
    missing_by_year : dict of int to int
        Days without minimum or maximum temperature in calendar years with more than :data:`MANY_MISSING` of them,
        scattered days included.
    suggestions : tuple of str
        Unit mistakes that the values hint at; where there is one, the record is not fit for use.
    """

    days: int
    missing: dict[str, int]
    findings: tuple[Finding, ...]
    spells: tuple[MissingSpell, ...]
    missing_by_year: dict[int, int]
    suggestions: tuple[str, ...]

    def lines(self) -> list[str]:
        """The report as lines for a person."""
        result = [f"perhaps a wrong unit: {suggestion}" for suggestion in self.suggestions]
        result += [finding.line() for finding in self.findings]
        result += [f"{name}: {count} of {self.days} days missing" for name, count in self.missing.items() if count]
        result += [spell.line() for spell in self.spells]
        result += [f"{year}: {count} days missing in all" for year, count in self.missing_by_year.items()]
        return result


def check_record(record: DailyRecord) -> tuple[DailyRecord, QualityReport]:
    """Drop impossible values and list everything doubtful.

    Returns
    -------
    cleaned : DailyRecord
        The same days, faulty values missing.
    report : QualityReport
    """
    suggestions = unit_suggestions(record)
    values = {name: column.copy() for name in PHYSICAL_RANGE if (column := getattr(record, name)) is not None}
    findings: list[Finding] = []

    def note(kind: str, name: str, mask: NDArray[np.bool_], dropped: bool) -> None:
        if mask.any():
            findings.append(Finding(kind, name, record.date[mask], values[name][mask].copy(), dropped))

    for name, (low, high) in PHYSICAL_RANGE.items():
        if name in values:
            mask = np.isfinite(values[name]) & ((values[name] < low) | (values[name] > high))
            note("impossible value", name, mask, True)
            values[name][mask] = np.nan
    crossed = values["temperature_min"] > values["temperature_max"]
    for name in ("temperature_min", "temperature_max"):
        note("minimum above maximum", name, crossed, True)
    for name in ("temperature_min", "temperature_max"):
        values[name][crossed] = np.nan
    for name in ("temperature_min", "temperature_max"):
        mask = spikes(values[name])
        note("spike", name, mask, True)
        values[name][mask] = np.nan
        length = run_lengths(values[name])
        note("repeated value", name, length >= STREAK_DROPPED, True)
        note("repeated value", name, (length >= STREAK_FLAGGED) & (length < STREAK_DROPPED), False)
        values[name][length >= STREAK_DROPPED] = np.nan
    if not suggestions:
        day_of_year = day_number(record.date) % YEAR_DAYS
        for name in ("temperature_min", "temperature_max"):
            far = np.abs(robust_anomaly(values[name], day_of_year)) > ROBUST_FLAGGED
            note("unusual value", name, far, False)
    cleaned = dataclasses.replace(record, **values)
    report = QualityReport(
        days=record.date.size,
        missing={name: int(np.isnan(column).sum()) for name, column in values.items()},
        findings=tuple(findings),
        spells=missing_spells(cleaned),
        missing_by_year=_missing_by_year(cleaned),
        suggestions=suggestions,
    )
    return cleaned, report


def unit_suggestions(record: DailyRecord) -> tuple[str, ...]:
    """Unit mistakes that the values hint at (rules of thumb, assumption)."""
    result = []
    with np.errstate(all="ignore"):
        high = float(np.nanpercentile(record.temperature_max, 95))
    if high > 200.0:
        result.append("one maximum in twenty is above 200: tenths of a degree read as whole degrees?")
    elif high > 50.0:
        result.append(f"one maximum in twenty is above {high:.0f} degC: degrees Fahrenheit read as Celsius?")
    elif high < 13.0 and record.date.size >= YEAR_DAYS:
        result.append(f"maxima hardly pass {high:.0f} degC: degrees Celsius read as Fahrenheit, or tenths taken twice?")
    if record.rain is not None and np.isfinite(record.rain).sum() >= YEAR_DAYS:
        yearly = float(np.nanmean(record.rain)) * YEAR_DAYS
        wet_days = float(np.mean(record.rain[np.isfinite(record.rain)] > 0)) * YEAR_DAYS
        if yearly < 90.0 and wet_days > 60.0:
            result.append(f"{yearly:.0f} mm of rain a year on {wet_days:.0f} wet days: inches read as millimetres?")
        elif yearly > 6000.0:
            result.append(f"{yearly:.0f} mm of rain a year: tenths of a millimetre read as millimetres?")
    return tuple(result)


def spikes(values: Floats) -> NDArray[np.bool_]:
    """True where a value lies :data:`SPIKE` or more above, or below, both neighbouring days.

    Examples
    --------
    >>> spikes(np.array([20.0, 21.0, -8.0, 22.0, 20.0])).tolist()
    [False, False, True, False, False]
    """
    result = np.zeros(values.size, dtype=bool)
    before = values[1:-1] - values[:-2]
    after = values[1:-1] - values[2:]
    with np.errstate(invalid="ignore"):
        result[1:-1] = ((before >= SPIKE) & (after >= SPIKE)) | ((before <= -SPIKE) & (after <= -SPIKE))
    return result


def run_lengths(values: Floats) -> NDArray[np.int64]:
    """Length of the run of equal values that each day belongs to; 0 on missing days.

    Examples
    --------
    >>> run_lengths(np.array([1.0, 1.0, np.nan, 2.0])).tolist()
    [2, 2, 0, 1]
    """
    if values.size == 0:
        return np.zeros(0, dtype=np.int64)
    starts = np.concatenate([[True], values[1:] != values[:-1]])
    run = np.cumsum(starts) - 1
    length = np.bincount(run)[run]
    length[np.isnan(values)] = 0
    return length.astype(np.int64)


def robust_anomaly(values: Floats, day_of_year: NDArray[np.int64]) -> Floats:
    """Distance from the median of the season in robust standard deviations.

    Median and median absolute deviation over all years within 15 days of the calendar day, computed at every fifth
    day and held between.
    """
    centers = np.arange(0, YEAR_DAYS, WINDOW_STEP)
    middle = np.zeros(centers.size)
    spread = np.ones(centers.size)
    by_day = [values[(day_of_year == day) & np.isfinite(values)] for day in range(YEAR_DAYS)]
    for row, center in enumerate(centers):
        days = (np.arange(center - HALF_WINDOW, center + HALF_WINDOW + 1)) % YEAR_DAYS
        pool = np.concatenate([by_day[day] for day in days])
        if pool.size >= 3 * HALF_WINDOW:
            middle[row] = np.median(pool)
            spread[row] = max(float(np.median(np.abs(pool - middle[row]))) * MAD_TO_SD, 0.5)
        else:
            spread[row] = np.inf
    nearest = np.minimum((day_of_year + WINDOW_STEP // 2) // WINDOW_STEP, centers.size) % centers.size
    result = (values - middle[nearest]) / spread[nearest]
    return np.where(np.isfinite(result), result, 0.0)


def missing_spells(record: DailyRecord) -> tuple[MissingSpell, ...]:
    """Spells of :data:`LONG_GAP` days or more without minimum or maximum temperature."""
    gone = np.isnan(record.temperature_min) | np.isnan(record.temperature_max)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], gone, [False]]).astype(np.int8)))
    return tuple(
        MissingSpell(record.date[first], record.date[stop - 1], int(stop - first))
        for first, stop in edges.reshape(-1, 2)
        if stop - first >= LONG_GAP
    )


def _missing_by_year(record: DailyRecord) -> dict[int, int]:
    gone = np.isnan(record.temperature_min) | np.isnan(record.temperature_max)
    years, counts = np.unique(record.date[gone].astype("datetime64[Y]").astype(np.int64) + 1970, return_counts=True)
    return {int(year): int(count) for year, count in zip(years, counts, strict=True) if count > MANY_MISSING}


def dropped_line(report: QualityReport) -> str:
    """Short account of what was dropped, for the notes of a run."""
    dropped = [finding for finding in report.findings if finding.dropped]
    if not dropped:
        return "quality control dropped nothing"
    return "quality control dropped " + "; ".join(
        f"{finding.dates.size} {finding.variable} ({finding.kind}: {day_list(finding.dates, 3)})" for finding in dropped
    )
