"""Light that a row of trees stops: canopy widths, room between neighbours, hedge geometry, interception.

Derivation of the hedge geometry
--------------------------------
A hedge of height H and mean width W stands every R metres; the clear alley is G = R - W wide. Light that the opaque
hedge would stop is all light that does not reach the ground of the alley.

*Beam.* The sun at elevation e and azimuth a moves the top edge's shadow across the alley by H c, with
c = |sin(a - row direction)| / tan(e). The lit share of the alley is max(0, 1 - (H/G) c). *Diffuse.* For a uniform sky
the mean sky view of the floor of a long alley is sqrt(1 + (H/G)^2) - H/G (crossed-strings rule, Hottel and Sarofim
1967). So for either, with x = H/G, the hedge stops

    F_hedge = 1 - (G/R) T(x),    T(0) = 1, falling to 0.

T over the season is the mean of the two, weighted by beam and diffuse light. It is fitted by sqrt(1 + (s x)^2) - s x
with one number s per block, found once for its latitude and row direction (worst error 0.01 for rows north to south,
up to 0.06 for rows east to west at 55 degrees); s = 1 is the uniform sky.
A discontinuous row stops F_max = F_hedge * along / spacing, and leaf area L on land S stops

    F = F_max (1 - exp(-k L / (S F_max)))            (Jackson 1981, Acta Horticulturae 114).
"""

from __future__ import annotations

import functools
from typing import Final

import numpy as np

from orchardsim.trees.scratch import TINY, Array, Work, buffers

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


def neighbour_room(stature: Array, rows: int, along: float, across: float, work: Work = None) -> tuple[Array, Array]:
    """Land that each position wins from or loses to its neighbours, as a share of its own.

    A taller and wider tree uses part of a smaller neighbour's land, in proportion to their relative difference; an
    empty position gives all its land away when ``2 along + 2 across`` is 1. What one wins the other loses. Row ends
    and outer rows win the same share from the headland as from an empty position.

    Parameters
    ----------
    stature : array, (trial, position)
        Size of the tree, 0 where there is none; positions run row by row.
    rows : int
        Number of rows.
    along, across : float [1]
        Share that each neighbour in the row, and across the alley, takes of an empty position.
    work : four arrays as ``stature``, optional
        The first two receive the result.

    Returns
    -------
    along_room, across_room : array, (trial, position) [1]
        Factors on the in-row spacing and on the row spacing.
    """
    trials, positions = stature.shape
    per_row = positions // rows
    shape = (trials, rows, per_row)
    room_along, room_across, won, larger = buffers(work, 4, stature)
    size = stature.reshape(-1)
    # The position before in the row stands 1 back in memory, that in the row before a row back: whole arrays shifted
    # against each other run faster than row by row. Pairs across a row's start or a trial's first row are undone.
    for room, share, step, first, last in (
        (room_along, along, 1, np.s_[:, :, 0], np.s_[:, :, -1]),
        (room_across, across, per_row, np.s_[:, 0], np.s_[:, -1]),
    ):
        here, before, gain, most = size[step:], size[:-step], won.reshape(-1)[step:], larger.reshape(-1)[step:]
        np.subtract(here, before, out=gain)
        np.maximum(here, before, out=most)
        most += TINY
        gain /= most
        gain *= share
        # an end wins from the headland what it would from an empty position
        won.reshape(shape)[first] = share
        np.add(won, 1, out=room)
        won.reshape(shape)[first] = 0
        room.reshape(-1)[:-step] -= gain
        room.reshape(shape)[last] += share
    return room_along, room_across


def soft_minimum(value: Array, limit: Array, out: Array | None = None) -> Array:
    """Smaller of value and limit with a smooth shoulder: value / (1 + (value/limit)^4)^(1/4).

    Examples
    --------
    >>> round(float(soft_minimum(np.array(0.1), np.array(1.0))), 4)
    0.1
    """
    (ratio,) = buffers(None if out is None else (out,), 1, value)
    np.add(limit, TINY, out=ratio)
    np.divide(value, ratio, out=ratio)
    ratio *= ratio
    ratio *= ratio
    ratio += 1
    np.sqrt(ratio, out=ratio)
    np.sqrt(ratio, out=ratio)
    return np.divide(value, ratio, out=ratio)


def hedge_interception(height: Array, width: Array, row_spacing: Array, slope: float, work: Work = None) -> Array:
    """Share of the light that an opaque unbroken hedge stops [1].

    Parameters
    ----------
    height, width, row_spacing : array [m]
        Width below row spacing.
    slope : float [1]
        From :func:`alley_slope`.
    work : two arrays, optional
        The first receives the result.

    Examples
    --------
    >>> float(hedge_interception(np.array(0.0), np.array(1.0), np.array(4.0), 1.0))
    0.25
    """
    passed, side = buffers(work, 2, height)
    np.multiply(height, slope, out=side)
    np.subtract(row_spacing, width, out=passed)
    # (G/R) (sqrt(1 + (sH/G)^2) - sH/G) without dividing by G
    passed *= passed
    np.multiply(side, side, out=side)
    passed += side
    np.sqrt(passed, out=passed)
    np.multiply(height, slope, out=side)
    passed -= side
    passed /= row_spacing
    return np.subtract(1, passed, out=passed)


def interception(leaf_area: Array, land: Array, most: Array, extinction: float, out: Array | None = None) -> Array:
    """Share of the light on its land that a tree's leaf stops: most (1 - exp(-k L / (land most))) [1]."""
    (depth,) = buffers(None if out is None else (out,), 1, leaf_area)
    np.multiply(land, most, out=depth)
    depth += TINY
    np.divide(leaf_area, depth, out=depth)
    depth *= -extinction
    np.exp(depth, out=depth)
    np.subtract(1, depth, out=depth)
    depth *= most
    return depth
