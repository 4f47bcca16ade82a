"""Spring frost: what share of the buds or blossoms a night kills, and what protection saves.

Frost work at night costs lives and crops: wind machines, heaters and ice loads follow local rules and the maker's
instructions, not this model.

What a night of protection is taken to be: it starts when the buds come within a margin of their 10 % kill and runs as
long as they would stay below that; how much it warms hangs on the night's inversion, read off the clearness of the sky;
it may fail, for a whole season's worst night, with the chance that the plan states.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.season.hourly import MAXIMUM_LAG, MINIMUM_LAG, NIGHT_DECAY

Floats = NDArray[Any]


def _celsius(*fahrenheit: float) -> tuple[float, ...]:
    return tuple((value - 32) / 1.8 for value in fahrenheit)


KILL_10: Final = _celsius(15, 18, 23, 27, 28, 28, 28, 28, 28)
KILL_90: Final = _celsius(2, 10, 15, 21, 24, 25, 25, 25, 25)
"""degC that kill 10 and 90 % of buds in 30 minutes, by stage from silver tip to post bloom (order of
``phenology.STAGES``): Washington State University EB0913 (Proebsting & Mills), read; given in whole degF."""

INVERSION: Final = 4.0
"""K; assumption: how much warmer the air 10 m up is than at the buds on a fully clear night."""

HEIGHT_SPREAD: Final = 1.0
"""K; standard deviation of a clear night's air over the heights of a tree from 0.7 to 3.1 m: by the inversion above and
a logarithmic profile from the screen at 1.5 m up they lie 1.6 K below to 1.5 K above it (derived). Fruit was gone below
1.8 m and fine above in New Hampshire in May 2023 (press)."""
HEIGHT_WARMING: Final = 0.24
"""K; mean of the same over the screen (derived)."""
GROUND_SPREAD: Final = 1.0
"""K; standard deviation of a clear night's minimum from a block's hollow to its crest (assumption: 3 K from end to end;
places within a few kilometres differ by 1 to 3 K)."""
PLACE_SPREAD: Final = float(np.hypot(HEIGHT_SPREAD, GROUND_SPREAD))
"""K; of both."""
SHIFT_WIDTH: Final = float(np.hypot((KILL_10[4] - KILL_90[4]) / np.log(81.0), np.sqrt(3) / np.pi * PLACE_SPREAD))
"""K; width of a block's kill curve at first pink (derived)."""
FLOWER_LAGS: Final = (-3, 0, 4)
"""day; thirds of a block's flowers that open before, with and after its stage: king flowers open some days before side
flowers, and buds on shoots later still (common practice, no source)."""
HARDENING_BELOW: Final = 8.0
HARDENING_RATE: Final = 0.25
MOST_HARDENING: Final = 2.0
"""Hardening of buds before bloom by a cool week: K of hardiness per K of its mean below so many degC, and at most so
many K. Long cool spells before the frost raise hardiness in early stages (Penn State, read); the numbers are
assumptions."""
STAGE_HARDENING: Final = np.array((1.0, 1.0, 1.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0))
"""Share of it by stage (assumption: buds that have opened harden no more)."""


def kill_curve(bud_temperature: ArrayLike, kill_10: ArrayLike, kill_90: ArrayLike, spread: ArrayLike = 0.0) -> Floats:
    """Share killed by a night's lowest bud temperature, logistic through the 10 and 90 % points [1].

    Parameters
    ----------
    bud_temperature, kill_10, kill_90 : array, broadcast [degC]
    spread : array [K]
        Standard deviation of temperature among the buds, of which ``bud_temperature`` is the mean.

    Notes
    -----
    1/(1 + exp((T - T50)/s)), T50 half-way, s = (T10 - T90)/ln 81. Symmetry is supported by measured LT10/50/90 of three
    cultivars (WSU notice of 21 Mar 2014). A spread d of temperature widens s to sqrt(s^2 + 3 d^2/pi^2), the logistic of
    the same variance. No ice forms at 0 degC or above: nothing is killed where the coldest buds, 2 d below the mean,
    are not below it. The table is for 30 minutes at bud temperature; by Parton and Logan's curve a spring night stays
    for 30 minutes within 0.1 K of its minimum.

    Examples
    --------
    >>> kill_curve(np.array([-2.2, -3.05, -3.9, 1.0]), -2.2, -3.9).round(3).tolist()
    [0.1, 0.5, 0.9, 0.0]
    """
    temperature, ten, ninety = np.asarray(bud_temperature), np.asarray(kill_10), np.asarray(kill_90)
    scale = np.sqrt(((ten - ninety) / np.log(81.0)) ** 2 + 3 / np.pi**2 * np.asarray(spread) ** 2)
    power = (temperature - (ten + ninety) / 2) / scale
    return np.where(temperature >= 2 * np.asarray(spread), 0.0, 1 / (1 + np.exp(np.clip(power, -60, 60))))


def stage_kill(bud_temperature: ArrayLike, stage: ArrayLike, spread: ArrayLike = 0.0) -> Floats:
    """Share killed at a bud stage by the night's lowest bud temperature [1].

    The curves of two stages cross far out in their tails (below 1 %), where the table says nothing; a stage's kill is
    therefore at least that of every earlier stage, as opening buds do not get hardier.

    Parameters
    ----------
    bud_temperature : array [degC]
    stage : int array, same shape
        Index into ``phenology.STAGES``; below 0 = closed buds, no spring kill.
    spread : array, same shape [K]
        See :func:`kill_curve`.
    """
    temperature, stages, wide = np.broadcast_arrays(np.asarray(bud_temperature), np.asarray(stage), np.asarray(spread))
    result = np.zeros(temperature.shape)
    killing = np.flatnonzero((temperature < 2 * wide) & (stages >= 0))
    if killing.size:
        cold, at = temperature.ravel()[killing][:, None], stages.ravel()[killing]
        apart = wide.ravel()[killing][:, None]
        curves = np.maximum.accumulate(kill_curve(cold, np.array(KILL_10), np.array(KILL_90), apart), axis=1)
        result.ravel()[killing] = curves[np.arange(len(at)), at]
    return result


def hardening(week_mean: ArrayLike, stage: ArrayLike) -> Floats:
    """How much colder buds bear it after a cool week than by their stage alone [K].

    Parameters
    ----------
    week_mean : array [degC]
        Mean air temperature of the seven days before.
    stage : int array, same shape
        Index into ``phenology.STAGES``; below 0 = closed buds, which are taken as in the first stage.

    Examples
    --------
    >>> hardening(np.array([12.0, 4.0, 4.0, -9.0]), np.array([0, 0, 7, 2])).tolist()
    [0.0, 1.0, 0.0, 2.0]
    """
    gained = np.clip(HARDENING_RATE * (HARDENING_BELOW - np.asarray(week_mean)), 0.0, MOST_HARDENING)
    return gained * STAGE_HARDENING[np.maximum(np.asarray(stage), 0)]


def shifted_kill(kill: ArrayLike, warmer: ArrayLike) -> Floats:
    """Share killed where the deciding night is some kelvin warmer or colder than the one that killed ``kill`` [1].

    Along the logistic of :func:`kill_curve` with the spread of places, at the width of first pink; those of tight
    cluster to post bloom differ from it by 7 to 17 %. What no night touched stays whole.

    Parameters
    ----------
    kill : array [1]
    warmer : array, broadcast [K]
        Below 0 = colder.

    Examples
    --------
    >>> shifted_kill(np.array([0.0, 0.1, 0.5, 1.0]), np.array(-1.0)).round(2).tolist()
    [0.0, 0.25, 0.75, 1.0]
    """
    share = np.asarray(kill, dtype=np.float64)
    grown = np.exp(-np.asarray(warmer) / SHIFT_WIDTH)
    return np.asarray(share * grown / (1 - share + share * grown))


def season_kill(nightly_kill: Floats) -> Floats:
    """Share killed over a season of nights, (night, ...) [1]: the largest of the nightly shares.

    Within a stage buds have a spread of thresholds, so an equal second night kills nothing more; survivors keep their
    rank when they enter the next stage, so the same holds over stages.
    """
    return np.asarray(nightly_kill).max(axis=0, initial=0.0)


def crop_after_frost(kill: ArrayLike) -> Floats:
    """Share of its usual crop that a block bears after a frost [1]: 1 - kill^3.5.

    Notes
    -----
    Within 0.11 of what this program's trees bear, by mass, after one frost year: 1.01, 0.92, 0.76 and 0.42 of the crop
    of Gala and Honeycrisp at kills of 0.2, 0.5, 0.7 and 0.9 (computed on the demo's planting). An apple tree opens some
    seven flowers for each fruit of a full crop. Sources do not agree: 10 to 15 % of the buds can carry one (Utah State
    University IPM-012-11, read), and Michigan expected one in 2013 from 30 to 50 % of bloom alive (read), yet districts
    lost half and more at -3.4 degC, where over a third is lost here (``experiments/dispersion``, row V19).
    """
    return 1 - np.asarray(kill, dtype=np.float64) ** 3.5


def block_night_temperature(
    temperature_min: Floats, clear: Floats, night_offset: float, bud_cooling: float
) -> tuple[Floats, Floats]:
    """Lowest air and bud temperature of the night in a block [degC].

    Parameters
    ----------
    temperature_min : array [degC]
        At the station's screen.
    clear : array, same shape [1]
        1 on a clear night, near 0 under cloud (``evapotranspiration.cloudiness_factor``).
    night_offset : float [K]
        How much colder (negative) the block's air is on clear nights.
    bud_cooling : float [K]
        How far buds run below the air on clear nights; 0.5 to 1.5 K (FAO frost protection handbook; memory).
    """
    air = np.asarray(temperature_min) + clear * night_offset
    return air, air - clear * bud_cooling


@dataclass(frozen=True)
class ProtectionMethod:
    """What a way of frost protection does in a night.

    ``warming_clear`` and ``warming_overcast`` [K] are the rise of bud temperature with a full inversion and with none;
    ``holds_at`` [degC] is the temperature at which freezing water keeps the bud as long as the air stays above
    ``lowest_air``; ``start_margin`` [K] starts it above the stage's 10 % kill; ``water_rate`` [mm/h].
    ``fuel_rate`` [L/ha/h] is burned while it runs; ``labour_night`` [h/ha] goes into each night for setting up,
    lighting, refilling and draining, ``labour_hour`` [h/ha/h] into watching it. ``failed_cooling`` [K] is how much
    colder than unprotected the buds get in a night in which it fails.
    """

    warming_clear: float
    warming_overcast: float
    start_margin: float
    holds_at: float | None = None
    lowest_air: float = -99.0
    water_rate: float = 0.0
    fuel_rate: float = 0.0
    labour_night: float = 0.0
    labour_hour: float = 0.0
    failed_cooling: float = 0.0


WIND_MACHINE_FUEL: Final = 45.0 / 4.05
"""L/ha/h; memory: a propane engine burns about 12 US gallons (45 L) an hour and serves about 10 acres (4.05 ha)."""
HEATER_FUEL: Final = 40 * 0.6 * 3.785 / 0.4047
"""L/ha/h; memory: 40 return-stack heaters an acre, 0.6 US gallon of heating oil an hour each. That is 224 L, or 240
W/m2 of heat at 38 MJ/L, within the 140 to 280 W/m2 of the FAO frost protection handbook (memory)."""
PUMP_FUEL: Final = 4.0 * 10.0 * 9.81 * 50.0 / (0.65 * 0.30 * 36_000.0)
"""L/ha/h; derived: 4 mm/h is 40 t/ha/h of water, lifted against 50 m of head (4 bar at the sprinkler, lift and pipe;
assumption) by a pump of 65 % and a diesel engine of 30 % efficiency (common practice, no source), 36 MJ/L of diesel."""


PROTECTION: Final = {
    # Air mixing gains a third to a half of the inversion (FAO frost protection handbook; memory): 0.45 x 4 K.
    # One person looks after some 20 ha of machines and needs a quarter hour a hectare to ready and stop them
    # (assumption).
    "wind_machine": ProtectionMethod(
        0.45 * INVERSION,
        0.0,
        start_margin=1.0,
        fuel_rate=WIND_MACHINE_FUEL,
        labour_night=0.25,
        labour_hour=0.05,
    ),
    # Freezing water holds buds near 0 degC down to about -5 degC at 4 mm/h (common practice, no source). It starts
    # earlier than the others because a first wetting cools dry buds. One person walks the lines of some 10 ha and
    # needs half an hour a hectare to check heads and drain (assumption). Where the water stops part way, wet buds cool
    # towards the wet bulb, 1.7 K below the air at 0 degC and 70 % humidity (from FAO-56 eq. 15); 1.5 K is taken.
    "overhead_sprinklers": ProtectionMethod(
        0.0,
        0.0,
        start_margin=2.0,
        holds_at=-0.5,
        lowest_air=-5.0,
        water_rate=4.0,
        fuel_rate=PUMP_FUEL,
        labour_night=0.5,
        labour_hour=0.1,
        failed_cooling=1.5,
    ),
    # Heaters gain 1 K without and about 2.5 K with an inversion (assumption). Lighting and refilling 100 of them takes
    # some 2 minutes each, and one person tends about 2 ha while they burn (assumption).
    "heaters": ProtectionMethod(2.5, 1.0, start_margin=1.0, fuel_rate=HEATER_FUEL, labour_night=3.3, labour_hour=0.5),
}
"""Night protection by the words of ``BlockSite.protection``."""


class ProtectionUse(NamedTuple):
    """What protection takes: water [mm], fuel [L/ha] and labour [h/ha], arrays of one shape."""

    water: Floats
    fuel: Floats
    labour: Floats


def protection_use(method: ProtectionMethod, nights: ArrayLike, hours: ArrayLike) -> ProtectionUse:
    """Water, fuel and labour of nights of protection.

    Parameters
    ----------
    nights : array [1]
        Nights on which it ran.
    hours : array [h]
        Hours that it ran in them.

    Examples
    --------
    >>> use = protection_use(PROTECTION["overhead_sprinklers"], nights=2, hours=10.0)
    >>> float(use.water), float(use.labour)
    (40.0, 2.0)
    """
    ran, length = np.asarray(nights, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    return ProtectionUse(
        water=length * method.water_rate,
        fuel=length * method.fuel_rate,
        labour=ran * method.labour_night + length * method.labour_hour,
    )


def protected_temperature(method: ProtectionMethod, air: Floats, bud: Floats, clear: Floats) -> Floats:
    """Lowest bud temperature of a night with protection running [degC].

    Where water cannot keep up (air below ``lowest_air``) the bud is as cold as without it: nobody who reads the
    forecast starts it. Wind, which blows water and warm air away, is left out. What failing water does stands in
    :func:`failed_temperature`.

    Parameters
    ----------
    air, bud : array [degC]
    clear : array [1]
    """
    if method.holds_at is not None:
        return np.where(air >= method.lowest_air, np.maximum(bud, method.holds_at), bud)
    return bud + method.warming_overcast + clear * (method.warming_clear - method.warming_overcast)


def failed_temperature(method: ProtectionMethod, bud: Floats, hours: Floats) -> Floats:
    """Lowest bud temperature of a night in which protection breaks down after its start [degC].

    Parameters
    ----------
    bud : array [degC]
        Without protection.
    hours : array [h]
        Hours that protection was to run; 0 = it was not started, and buds stay dry.
    """
    return np.where(np.asarray(hours) > 0, bud - method.failed_cooling, bud)


def hours_below(
    threshold: ArrayLike, night_min: ArrayLike, sunset_temperature: ArrayLike, next_max: ArrayLike, length: ArrayLike
) -> Floats:
    """Hours from the evening to the morning with temperature below a threshold [h].

    Inverse of ``hourly.parton_logan``: exponential fall from sunset to the minimum, sine rise after it.

    Parameters
    ----------
    threshold, night_min, sunset_temperature, next_max : array [degC]
        ``sunset_temperature`` the evening before, ``next_max`` the maximum of the coming day.
    length : array [h]
        Day length.

    Examples
    --------
    >>> round(float(hours_below(0.0, -3.0, 8.0, 15.0, 13.0)), 1)
    5.2
    """
    limit, low, length_of_day = np.asarray(threshold), np.asarray(night_min), np.asarray(length)
    night = 24 - length_of_day
    fall = np.maximum(np.asarray(sunset_temperature) - low, 1e-3)
    rise = np.maximum(np.asarray(next_max) - low, 1e-3)
    over = np.maximum(limit - low, 1e-3)
    start = night / NIGHT_DECAY * np.log(np.maximum(fall / over, 1))
    before = np.maximum(night + MINIMUM_LAG - start, 0)
    after = (length_of_day + 2 * MAXIMUM_LAG) / np.pi * np.arcsin(np.clip(over / rise, 0, 1))
    return np.where(low < limit, before + after, 0.0)
