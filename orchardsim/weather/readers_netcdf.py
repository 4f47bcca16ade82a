"""Reader of NetCDF files that name their variables by the CF conventions.

Minimum and maximum share the standard name ``air_temperature``; only ``cell_methods`` ("time: minimum", "time:
maximum") tells them apart (CF conventions and standard name table; names read in part, the rest from memory).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.weather.columns import LARGEST_VALUE, MOST_DAYS, converted
from orchardsim.weather.records import WIND_NOTE, WIND_TO_2_M, DailyRecord, Floats, assemble

SECONDS_PER_DAY: Final = 86_400.0
CALENDARS: Final = ("standard", "gregorian", "proleptic_gregorian", "noleap", "365_day")
"""Calendars that are read; 360-day and all-leap years have days that no station has."""
LARGEST_CONTENT: Final = 100_000_000
"""Bytes of all variables, unpacked; a small file may claim any size."""
RAIN_NAMES: Final = (
    "lwe_thickness_of_precipitation_amount",
    "thickness_of_rainfall_amount",
    "precipitation_amount",
    "rainfall_amount",
)
RAIN_FLUXES: Final = ("precipitation_flux", "rainfall_flux", "lwe_precipitation_rate")


def read_netcdf(path: Path) -> DailyRecord:
    """Read a NetCDF file with one station and CF names.

    Raises
    ------
    InputError
        If variables, units or the calendar are not as the conventions name them, or there are several stations.
    """
    import xarray

    where = path.name
    try:
        with xarray.open_dataset(path, decode_times=False) as raw:
            calendar = _calendar(raw, where)
        coder: Any = xarray.coders.CFDatetimeCoder(use_cftime=calendar in ("noleap", "365_day"))
        with xarray.open_dataset(path, decode_times=coder) as opened:
            if opened.nbytes > LARGEST_CONTENT:
                raise InputError(
                    where,
                    f"claims {opened.nbytes:,} bytes of data, allowed at most {LARGEST_CONTENT:,}; expected a daily "
                    "record of one station",
                )
            dataset = opened.load()
    except InputError:
        raise
    except Exception as error:
        raise InputError(where, f"cannot be read as NetCDF ({error})") from error
    time = _time_name(dataset, where)
    dates = _dates(dataset[time], where)
    columns: dict[str, Floats] = {}
    notes: list[str] = []
    for name, variable in dataset.data_vars.items():
        match = _match(variable)
        if match is None or time not in variable.dims:
            continue
        if variable.sizes[time] > MOST_DAYS:
            raise InputError(where, f"holds {variable.sizes[time]:,} days, allowed at most {MOST_DAYS:,}")
        if match in columns:
            raise InputError(where, f"has two variables for {match} (the second is {name})")
        columns[match] = _values(variable, time, match, where)
        if match == "wind_speed":
            notes.append(WIND_NOTE)
    for name in ("temperature_min", "temperature_max"):
        if name not in columns:
            method = name[-3:] + "imum"
            raise InputError(
                where, f"has no variable with standard_name air_temperature and cell_methods 'time: {method}'"
            )
    return assemble(
        dates,
        columns,
        source=where,
        station=_station(dataset),
        file_format="NetCDF with CF names",
        repairs=notes,
        latitude=_scalar(dataset, where, 90.0, "latitude"),
        longitude=_scalar(dataset, where, 360.0, "longitude"),
        elevation=_scalar(dataset, where, 9000.0, "height", "surface_altitude", "altitude"),
    )


def _calendar(raw: Any, where: str) -> str:
    units = {name: str(variable.attrs.get("units", "")) for name, variable in raw.variables.items()}
    time = next((name for name, unit in units.items() if " since " in unit), None)
    if time is None:
        raise InputError(where, "has no time coordinate with units such as 'days since 1930-01-01'")
    calendar = str(raw[time].attrs.get("calendar", "standard"))
    if calendar not in CALENDARS:
        raise InputError(where, f"uses the calendar {calendar!r}; allowed: {', '.join(CALENDARS)}")
    return calendar


def _time_name(dataset: Any, where: str) -> str:
    for name, variable in dataset.variables.items():
        if variable.ndim == 1 and (variable.dtype.kind == "M" or "calendar" in variable.encoding):
            return str(name)
    raise InputError(where, "has no time coordinate that can be decoded")


def _dates(time: Any, where: str) -> NDArray[np.datetime64]:
    values = time.values
    if values.dtype.kind == "M":
        return np.asarray(values.astype("datetime64[D]"))
    try:
        words = [f"{value.year:04d}-{value.month:02d}-{value.day:02d}" for value in values]
        return np.array(words, dtype="datetime64[D]")
    except (AttributeError, ValueError) as error:
        raise InputError(where, f"has a time that is no date ({error})") from error


def _match(variable: Any) -> str | None:
    standard = str(variable.attrs.get("standard_name", ""))
    methods = str(variable.attrs.get("cell_methods", "")).lower()
    if standard == "air_temperature":
        if "minimum" in methods:
            return "temperature_min"
        if "maximum" in methods:
            return "temperature_max"
        return None
    if standard in RAIN_NAMES or standard in RAIN_FLUXES:
        return "rain"
    return {"wind_speed": "wind_speed", "relative_humidity": "relative_humidity"}.get(standard)


def _values(variable: Any, time: str, name: str, where: str) -> Floats:
    others = {dim: size for dim, size in variable.sizes.items() if dim != time}
    if any(size != 1 for size in others.values()):
        raise InputError(
            where, f"variable {variable.name} also runs over {', '.join(map(str, others))}; a record holds one station"
        )
    try:
        values = np.asarray(variable.squeeze(list(others)).values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(where, f"variable {variable.name} holds no numbers") from None
    unit = str(variable.attrs.get("units", "")).strip()
    if not unit:
        raise InputError(where, f"variable {variable.name} has no units")
    if (np.abs(values[np.isfinite(values)]) > LARGEST_VALUE).any() or np.isinf(values).any():
        raise InputError(
            where,
            f"variable {variable.name} holds values beyond {LARGEST_VALUE:g}; mark missing ones with _FillValue",
        )
    return np.round(_in_our_unit(values, unit, str(variable.attrs.get("standard_name")), name, variable.name, where), 4)


def _in_our_unit(values: Floats, unit: str, standard: str, name: str, variable: str, where: str) -> Floats:
    if name == "rain":
        # A mass of 1 kg on 1 m2 of water stands 1 mm deep.
        plain = unit.replace("**", "").replace("^", "").replace("/m2", " m-2").replace("/s", " s-1").split()
        if standard in RAIN_FLUXES and plain[:1] == ["kg"]:
            if plain != ["kg", "m-2", "s-1"]:
                raise InputError(where, f"variable {variable} has the units {unit!r}; expected kg m-2 s-1")
            return np.asarray(values * SECONDS_PER_DAY)
        if standard == "lwe_precipitation_rate":
            return converted(values, unit, "mm/day", variable, where)
        if plain == ["kg", "m-2"]:
            return values
        return converted(values, unit, "mm", variable, where)
    if name == "wind_speed":
        plain_unit = unit.replace("m s-1", "m/s").replace("m s**-1", "m/s").replace("m s^-1", "m/s")
        return np.asarray(converted(values, plain_unit, "m/s", variable, where) * WIND_TO_2_M)
    target = "degC" if name.startswith("temperature") else "1"
    return converted(values, unit.replace("degree_Celsius", "degC"), target, variable, where)


def _scalar(dataset: Any, where: str, most: float, *standard_names: str) -> float | None:
    """A single number of the station; None where the file has none."""
    for name, variable in dataset.variables.items():
        if variable.attrs.get("standard_name") in standard_names and variable.size == 1:
            try:
                value = float(np.asarray(variable.values, dtype=np.float64).ravel()[0])
            except (TypeError, ValueError):
                value = np.nan
            if not abs(value) <= most:
                raise InputError(where, f"variable {name} is {value:g}, allowed -{most:g} to {most:g}")
            return value
    return None


def _station(dataset: Any) -> str:
    for variable in dataset.variables.values():
        if variable.attrs.get("cf_role") == "timeseries_id" and variable.size == 1:
            value = np.asarray(variable.values).ravel()[0]
            return value.decode().strip() if isinstance(value, bytes) else str(value).strip()
    return ""
