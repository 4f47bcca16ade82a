"""The yard's random numbers of one trial, all drawn before its clock starts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class YardDraws:
    """Plain lists, since the yard reads them one by one.

    Attributes
    ----------
    short, short_share, death : (year, label)
        Uniforms that decide whether a delivery is short, by how much, and how many spares die.
    delay : (year,)
        Uniforms that decide whether deliveries of the year come a year late.
    spot : (year,)
        Uniforms that decide whether trees can be had at short notice.
    turnout : (year, crew)
        Standard normals of the share of each crew that can be had.
    crew_share : dict from year to share [1]
        What is there of every crew in a year, beside the draw; 1 where the year is not named.
    """

    short: list[list[float]]
    short_share: list[list[float]]
    death: list[list[float]]
    delay: list[float]
    spot: list[float]
    turnout: list[list[float]]
    crew_share: Mapping[int, float] = field(default_factory=dict)


def draw_operations(
    farm_rng: np.random.Generator, label_rngs: Sequence[np.random.Generator], years: int, crews: int
) -> YardDraws:
    """Draw what the yard of one trial needs for all years.

    Parameters
    ----------
    farm_rng : Generator
        Stream of the farm in this trial, for crews and the nursery trade.
    label_rngs : sequence of Generator
        One stream per label in this trial, so that a label's draws do not hang on the plan's other blocks.
    """
    by_label = np.empty((years, len(label_rngs), 3))
    for number, rng in enumerate(label_rngs):
        by_label[:, number] = rng.random((years, 3))
    trade = farm_rng.random((years, 2))
    turnout = farm_rng.standard_normal((years, crews))
    return YardDraws(
        by_label[:, :, 0].tolist(),
        by_label[:, :, 1].tolist(),
        by_label[:, :, 2].tolist(),
        trade[:, 0].tolist(),
        trade[:, 1].tolist(),
        turnout.tolist(),
    )
