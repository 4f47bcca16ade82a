"""``[weather]`` of a plan: the record, the monthly normals, and the years that futures are drawn from."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file
from orchardsim.core.text import quoted
from orchardsim.plan.filling import Filler
from orchardsim.plan.model import PlanBase
from orchardsim.plan.tables import Table
from orchardsim.weather.bundled import RECORDS, bundled_record_path
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings

BUNDLED: Final = ", ".join(repr(name) for name in RECORDS)
MONTHS: Final = 12


def weather_settings(table: PlanBase, filler: Filler, folder: Path) -> WeatherSettings:
    """The weather of a plan as the weather room reads it.

    ``folder``: what a record's path is relative to. Raises InputError without a record or temperatures, or where a
    record, normals, years or warming cannot be.
    """
    stated = table.weather
    record = _record(stated.record, filler.where, folder)
    normals = None if stated.normals is None else _normals(stated.normals, filler)
    if record is None and not (normals and normals.temperature_min and normals.temperature_max):
        raise InputError(
            filler.where,
            "weather: missing record, and no [weather.normals] with temperature_min and temperature_max; "
            f"allowed: a record's path, {BUNDLED}, or those normals",
        )
    given: dict[str, object] = {
        "latitude": table.site.latitude,
        "record": record,
        "normals": normals,
        "baseline_years": _baseline(stated.baseline_years, filler.where),
    }
    if table.site.elevation is not None:
        given["elevation"] = table.site.elevation
    if "warming" in stated.model_fields_set:
        warming = stated.warming * MONTHS if len(stated.warming) == 1 else stated.warming
        if len(warming) != MONTHS:
            raise InputError(filler.where, f"weather.warming: found {len(warming)} values, expected 1 or 12")
        given["warming"] = warming
    return filler.fill(WeatherSettings, "weather", stated, given=given)


def _record(name: str | None, where: str, folder: Path) -> Path | None:
    """File of the record: one that ships with the program, or the user's."""
    if name is None:
        return None
    if name in RECORDS:
        return bundled_record_path(name)
    record = folder / name
    try:
        check_file(record, "a daily station record")
    except InputError as error:
        raise InputError(
            where,
            f"weather.record: found {quoted(name)}, {error.problem}; allowed: a path relative to the plan, or "
            f"{BUNDLED}",
        ) from None
    return record


def _normals(stated: Table, filler: Filler) -> MonthlyNormals:
    """Monthly normals, twelve of each, that can be."""
    for key in ("temperature_min", "temperature_max", "rain", "wet_days"):
        found = getattr(stated, key)
        if key in stated.model_fields_set and len(found) != MONTHS:
            raise InputError(
                filler.where, f"weather.normals.{key}: found {len(found)} values, expected 12, January first"
            )
    normals = filler.fill(MonthlyNormals, "weather.normals", stated)
    pairs = zip(normals.temperature_min, normals.temperature_max, strict=False)
    for month, (low, high) in enumerate(pairs, start=1):
        if low > high:
            raise InputError(
                filler.where,
                f"weather.normals: in month {month} temperature_min is {low:g} degC, above "
                f"temperature_max of {high:g} degC",
            )
    for month, (rain, days) in enumerate(zip(normals.rain, normals.wet_days, strict=False), start=1):
        if rain > 0 and days == 0:
            raise InputError(
                filler.where,
                f"weather.normals: month {month} has {rain:g} mm of rain and no wet day (wet_days); allowed: both "
                "or neither",
            )
    return normals


def _baseline(years: list[int] | None, where: str) -> tuple[int, ...] | None:
    """First and last year that futures are drawn from."""
    if years is not None and (len(years) != 2 or not 1600 <= years[0] <= years[1] <= 2200):
        raise InputError(
            where,
            f"weather.baseline_years: found {quoted(years)}, expected two years, first and last, such as [1991, 2020]",
        )
    return None if years is None else tuple(years)
