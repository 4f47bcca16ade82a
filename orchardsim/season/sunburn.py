"""Sunburn of fruit from air temperature and sun."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[Any]

SURFACE_EXCESS: Final = 14.0
"""K; sunlit fruit above air in calm full sun, lower end of 14 to 18 (Ontario; UC Postharvest; WSU 2018, read)."""
BROWNING: Final = 46.0
"""degC of the fruit's surface at which browning starts (Schrader, Zhang & Duplaga 2001, read: 46 to 49)."""
EXPOSED_SHARE: Final = 0.25
"""Assumption: share of the fruit that ever stands in full sun."""
DOSE_SCALE: Final = 90.0
"""K day; assumption, set so that a season with 22 days 2 K above the threshold spoils about 10 % of the fruit: 22 days
above 45 degC and 8 to 12 % yearly loss are published for Washington (Schrader et al. 2003; Good Fruit Grower)."""
COVER_SHARE: Final = 0.35
"""Assumption: share of sunburn that is left under a net or evaporative cooling."""


def fruit_surface_temperature(temperature_max: ArrayLike, clear_share: ArrayLike) -> Floats:
    """Highest surface temperature of sunlit fruit [degC].

    Parameters
    ----------
    temperature_max : array [degC]
    clear_share : array [1]
        Global over clear-sky radiation; the excess over air is taken proportional to it (assumption).
    """
    return np.asarray(temperature_max) + SURFACE_EXCESS * np.asarray(clear_share)


def sunburn_share(dose: ArrayLike, sensitivity: float = 1.0) -> Floats:
    """Share of fruit spoilt by sunburn [1].

    Parameters
    ----------
    dose : array [K day]
        Sum over the fruit's season of surface temperature above 46 degC.
    sensitivity : float [1]
        Relative to an average cultivar.
    """
    return np.minimum(sensitivity * EXPOSED_SHARE * -np.expm1(-np.asarray(dose) / DOSE_SCALE), 1.0)
