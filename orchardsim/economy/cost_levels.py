"""Levels of charges, wages and other costs: one factor for each future, the same in all its years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CostLevels:
    """Factors on the plan's own, (trial,) [1]; ``wage_growth`` is added to its trend [1/year].

    Attributes
    ----------
    wages, packing, storage : array
        Wages; charges for packing and handling; charges for storage.
    costs : array
        All other costs.
    """

    wages: Array
    costs: Array
    packing: Array
    storage: Array
    wage_growth: Array

    @classmethod
    def known(cls) -> CostLevels:
        """The plan's own."""
        one = np.ones(1)
        return cls(one, one, one, one, np.zeros(1))
