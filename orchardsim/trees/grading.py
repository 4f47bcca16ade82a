"""Pack-out of ripe fruit: pure functions, those of one tree compiled."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orchardsim.core.compiled import Number, compiled
from orchardsim.core.elementary import exp
from orchardsim.core.labels import FRESH

USUAL_NIGHT: Final = 15.0
"""degC; mean nightly minimum of the three weeks before harvest to which the colour parameters belong; computed for Gala
on the bundled cool record."""
NIGHT_COLOUR: Final = 0.12
"""1/K; log odds of colour per K that these nights are cooler (assumption)."""
MOST_NIGHT: Final = 10.0
"""K; largest difference that counts (assumption)."""


@compiled
def colour_share(
    leaf_light: Number, crop_load: Number, need: Number, half: Number, crop_cost: Number, rate: Number
) -> Number:
    """Share of fruit with the fresh grade's colour [1].

    Logistic in light less what the crop costs; a green cultivar (need 0) needs none, a full-red one (need 1) has half
    of its fruit coloured at ``half`` of full light. Shaded hedgerows show 5 % against 39 % well-coloured fruit in
    lighter ones (Verheij and Verwer, in Jackson 2003, Biology of Apples and Pears).

    Parameters
    ----------
    leaf_light : float [1]
        Mean light on the leaf among the fruit, 0 to 1.
    crop_load : float [1/cm2]
        From 0 up.
    need : float [1]
        0 to 1.
    half : float [1]
    crop_cost : float [1 per fruit/cm2]
    rate : float [1]
    """
    odds = rate * (half * need + crop_cost * crop_load - leaf_light)
    # need 0 leaves the share at 1 whatever the light
    return 1.0 / (1.0 + need * exp(min(max(odds, np.float32(-30.0)), np.float32(30.0))))


@compiled
def bitter_pit_share(crop_load: Number, proneness: Number, scale: Number, crop: Number) -> Number:
    """Share of fruit with bitter pit [1]: proneness x scale x exp(-crop load / crop), at most 0.9.

    Light crops of large fruit pit most (common practice); the form is an assumption. Range: crops from 0 up.
    """
    return min(proneness * scale * exp(-crop_load / crop), np.float32(0.9))


def night_colour(night: ArrayLike) -> NDArray[np.float64]:
    """What nights before harvest add to the log odds of a fruit's colour [1].

    Parameters
    ----------
    night : array [degC]
        Mean nightly minimum of the three weeks before harvest.

    Notes
    -----
    Red pigment forms in cool nights: two hot late Augusts kept early cultivars poorly coloured in Michigan (MSU 2019,
    read); Honeycrisp and Jonagold lose colour in Missouri summers (University of Missouri G6022, read). The straight
    line and its ends are assumptions.

    Examples
    --------
    >>> night_colour(np.array([15.0, 10.0, 30.0])).tolist()
    [0.0, 0.6, -1.2]
    """
    cooler = np.clip(USUAL_NIGHT - np.asarray(night, dtype=np.float64), -MOST_NIGHT, MOST_NIGHT)
    return np.asarray(NIGHT_COLOUR * cooler)


def after_hail(packed_mass: NDArray[np.float64], marked: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mass by grade after hail: marked fresh fruit goes to processing [kg].

    Parameters
    ----------
    packed_mass : array, (..., grade) [kg]
        Grades in the order of :data:`orchardsim.core.labels.GRADES`.
    marked : array, (...) [1]
        Share of the fruit marked by hail.

    Notes
    -----
    Hail-marked apples brought 6 to 10 USD a bushel against 20 to 30 fresh in Michigan about 2012 (a student's page:
    weak), which is the price of processing fruit.
    """
    after = np.array(packed_mass, dtype=np.float64)
    fresh = after[..., FRESH] * np.asarray(marked)[..., None]
    after[..., FRESH] -= fresh
    after[..., 2] += fresh.sum(axis=-1)
    return after
