"""Whether a record can stand for a site: its latitude, whose climate it is, and whether there is rain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.weather.bundled import bundled_record_at
from orchardsim.weather.parameters import WeatherSettings
from orchardsim.weather.sampling import prepare_record

NEAR: Final = 0.5
"""degree; a record farther off in latitude, some 55 km, is another place's climate (assumption)."""


@dataclass(frozen=True)
class Climate:
    """Where a plan's climate comes from.

    Attributes
    ----------
    record : str
        Name of the record; empty where seasons come from monthly normals.
    record_latitude : float or None [degree]
    site_latitude : float [degree]
    borrowed : bool
        The record is that of another place.
    rain : bool
        Rain is in the record or in the plan's normals.
    """

    record: str
    record_latitude: float | None
    site_latitude: float
    borrowed: bool
    rain: bool


def climate_of(settings: WeatherSettings) -> Climate:
    """Where the climate of a plan comes from; reads the record."""
    rain = settings.normals is not None and bool(settings.normals.rain)
    if settings.record is None:
        return Climate("", None, settings.latitude, False, rain)
    bundled = bundled_record_at(settings.record)
    prepared = prepare_record(settings.record, settings.latitude)
    latitude = bundled.latitude if bundled else prepared.record.latitude
    far = latitude is not None and abs(latitude - settings.latitude) > NEAR
    name = f"bundled record, {bundled.place.split(',')[0]}" if bundled else settings.record.name
    return Climate(
        name, latitude, settings.latitude, bundled is not None or far, rain or prepared.table.rain is not None
    )


def check_rain(settings: WeatherSettings, dry_blocks: tuple[str, ...], where: str) -> None:
    """Refuse blocks without irrigation where neither record nor plan tells of rain.

    Parameters
    ----------
    dry_blocks : tuple of str
        Blocks without irrigation.
    where : str
        Name of the plan for the message.

    Raises
    ------
    InputError
        Naming the blocks and what to add.
    """
    if dry_blocks and not climate_of(settings).rain:
        raise InputError(
            where,
            f"block {', '.join(dry_blocks)}: not irrigated, and neither the record nor the plan holds rain; add "
            "weather.normals.rain (12 months) and wet_days, or a record with rain, or irrigated = true",
        )


def climate_lines(climate: Climate) -> list[str]:
    """What a first screen says of the climate: whose it is, and whether water stress can be told."""
    site = degrees(climate.site_latitude)
    if not climate.record:
        lines = [f"Climate: monthly normals of the plan for a site at {site}; there is no record."]
    else:
        where = "no latitude stated" if climate.record_latitude is None else degrees(climate.record_latitude)
        whose = "Climate borrowed" if climate.borrowed else "Climate"
        same = climate.record_latitude == climate.site_latitude
        lines = [f"{whose}: {climate.record}, {where}{', as the site' if same else f'; the site is at {site}'}."]
    if climate.rain:
        return lines
    return ["Water stress is not computed: neither the record nor the plan holds rain.", *lines]


def degrees(latitude: float) -> str:
    """A latitude in words.

    Examples
    --------
    >>> degrees(-34.68), degrees(42.0)
    ('34.68° S', '42° N')
    """
    return f"{abs(latitude):g}° {'N' if latitude >= 0 else 'S'}"
