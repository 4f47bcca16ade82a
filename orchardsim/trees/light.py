"""How long the shadows of a row of trees are, over a season: sun positions, alleys between opaque hedges.

A hedge of height H stands every R metres; the clear alley is G wide. *Beam.* The sun at elevation e and azimuth a moves
the top edge's shadow across the alley by H c, with c = |sin(a - row direction)| / tan(e). The lit share of the alley is
max(0, 1 - (H/G) c). *Diffuse.* For a uniform sky the mean sky view of the floor of a long alley is
sqrt(1 + (H/G)^2) - H/G (crossed-strings rule, Hottel and Sarofim 1967). The mean of the two over the season, weighted
by beam and diffuse light, is fitted by sqrt(1 + (s x)^2) - s x, x = H/G, with one number s per block, found for its
latitude and row direction (worst error 0.01 for rows north to south, up to 0.06 for rows east to west at 55 degrees).
For short x this shades the floor by s H: s is the mean length of shadows over height, 1 under a uniform sky.
"""

from __future__ import annotations

import functools
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
DIFFUSE_SHARE: Final = 0.5
"""Share of the season's light that comes from the whole sky [1]; assumption: partly cloudy temperate summer."""
LIGHT_SEASON_DAYS: Final = (121, 288)
"""First and last day of year (north) over which sun positions are averaged; common practice, 1 May to 15 October."""


def sun_positions(latitude: float, days: Array, hours: Array) -> tuple[Array, Array]:
    """Sun elevation and azimuth [rad] for each day and solar hour.

    Parameters
    ----------
    latitude : float [degrees north]
    days : array, (day,) [day of year]
    hours : array, (hour,) [h]
        Solar time, 12 at noon.

    Returns
    -------
    elevation, azimuth : array, (day, hour) [rad]
        Azimuth clockwise from north.

    Notes
    -----
    Declination after Cooper (1969), Solar Energy 12: 23.45 degrees * sin(2 pi (284 + day) / 365).
    """
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + days[:, None]) / 365)
    angle = np.pi / 12 * (hours[None, :] - 12)
    phi = np.radians(latitude)
    sine = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
    elevation = np.arcsin(np.clip(sine, -1, 1))
    east = -np.cos(declination) * np.sin(angle)
    north = np.cos(phi) * np.sin(declination) - np.sin(phi) * np.cos(declination) * np.cos(angle)
    return elevation, np.arctan2(east, north)


def open_alley_share(x: Array, latitude: float, row_direction: float, diffuse_share: float = DIFFUSE_SHARE) -> Array:
    """Season's mean share of an alley's floor light that passes between opaque hedges [1].

    Parameters
    ----------
    x : array [1]
        Hedge height over clear alley width.
    latitude, row_direction : float [degrees north], [degrees from north]
    diffuse_share : float [1]

    Returns
    -------
    array, as ``x`` [1]
    """
    first, last = LIGHT_SEASON_DAYS
    days = np.arange(first, last, 7.0)
    if latitude < 0:
        days = (days + 182) % 365
    elevation, azimuth = sun_positions(latitude, days, np.arange(4.25, 20, 0.5))
    up = elevation > np.radians(2)
    sine = np.where(up, np.sin(elevation), 0)
    # beam on the horizontal: clear-sky transmission 0.7 to the power of air mass^0.678 (Meinel and Meinel 1976)
    weight = np.where(up, sine * 0.7 ** (1 / np.maximum(sine, 0.03)) ** 0.678, 0)
    shift = np.abs(np.sin(azimuth - np.radians(row_direction))) / np.tan(np.maximum(elevation, np.radians(2)))
    x = np.asarray(x, dtype=float)
    lit = np.maximum(0, 1 - x[..., None, None] * shift)
    beam = (lit * weight).sum((-1, -2)) / weight.sum()
    return diffuse_share * (np.sqrt(1 + x**2) - x) + (1 - diffuse_share) * beam


@functools.cache
def alley_slope(latitude: float, row_direction: float) -> float:
    """The one number s of a block with which sqrt(1 + (s x)^2) - s x fits the open share of its alleys.

    Examples
    --------
    >>> 0.5 < alley_slope(42.0, 0.0) < 1.5
    True
    """
    x = np.linspace(0.1, 4, 40)
    wanted = open_alley_share(x, latitude, row_direction)
    slopes = np.linspace(0.3, 3, 271)
    fitted = np.sqrt(1 + (slopes[:, None] * x) ** 2) - slopes[:, None] * x
    return float(slopes[((fitted - wanted) ** 2).sum(axis=1).argmin()])
