"""What the weather room needs to know from the plan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class MonthlyNormals:
    """Monthly climate of a site without a record (or without rain), January first; tuples of 12."""

    temperature_min: tuple[float, ...] = parameter("degC", "mean daily minimum by month", low=-50, high=35, default=())
    temperature_max: tuple[float, ...] = parameter("degC", "mean daily maximum by month", low=-40, high=50, default=())
    rain: tuple[float, ...] = parameter("mm", "rain by month", low=0, high=1500, default=())
    wet_days: tuple[float, ...] = parameter("1", "days with rain by month", low=0, high=31, default=())
    year_to_year_sd: float = parameter(
        "K", "standard deviation between years of a monthly mean temperature", low=0, high=6, default=1.5
    )
    day_to_day_sd: tuple[float, ...] = parameter(
        "K",
        "standard deviation of the daily minimum about its month's mean, one for the year or twelve. Frost "
        "frequencies hang on it: 4.5 is an inland place, in spring near water 3.6",
        low=0.5,
        high=10,
        default=(4.5,),
    )


@dataclass(frozen=True)
class WeatherSettings:
    """How the seasons of a run are made."""

    latitude: float = parameter("degree", "latitude, north positive", low=-66, high=66)
    elevation: float = parameter("m", "height above the sea", low=-400, high=4500, default=0.0)
    record: Path | None = None
    method: str = parameter("text", "how futures are drawn", allowed=("resample", "parametric"), default="resample")
    run_length: float = parameter("year", "mean length of a run of consecutive years", low=1, high=20, default=1.0)
    baseline_years: tuple[int, int] | None = None
    warming: tuple[float, ...] = parameter(
        "K", "warming offset by month, January first", low=-8, high=8, default=(0.0,) * 12
    )
    trend: str = parameter(
        "text", "what becomes of the record's trend", allowed=("keep", "remove", "extend"), default="keep"
    )
    normals: MonthlyNormals | None = None
    estimate_missing: bool = parameter(
        "flag", "estimate wind and humidity where the record has none, by the rules of FAO-56", default=False
    )
    range_coefficient: float = parameter(
        "1",
        "radiation over that beyond the air, per root of a degree (K) of the day's temperature range. 0.16 inland, "
        "0.19 at a coast (FAO-56 eq. 50, read). 0: inland, or what a bundled record calls for",
        low=0,
        high=0.24,
        default=0.0,
    )
    dew_point_offset: float = parameter(
        "K",
        "for that estimate: how far the dew point stands below the day's minimum; 0 where it is humid, 2 to 3 where it "
        "is arid (FAO-56, memory)",
        low=0,
        high=10,
        default=0.0,
    )
