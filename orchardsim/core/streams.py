"""Random numbers by address.

A draw is named by (seed, process, place, trial, year) and the position in the array that is asked for. Nothing
depends on the order in which streams are opened, on other blocks of the plan, or on how trials are split over
workers. Philox is a counter-based generator (Salmon et al. 2011, "Parallel random numbers: as easy as 1, 2, 3",
SC11): the address goes into its key and the upper words of its counter, the position into the lowest word.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.random.bit_generator import ISeedSequence

from orchardsim.core.futures import OPEN_LEVELS, process

PROCESSES: Final = (
    "weather_years",
    "weather_temperature",
    "weather_rain",
    "weather_rain_amount",
    "hail",
    "frost protection",
    "price",
    "thinning",
    "loss",
    "blight of a year",
    "worn soil",
    "soil",
    "tree year",
    "yard",
    "crop residual",
    *(process(level) for level in OPEN_LEVELS),
)
"""All that a run draws, by name; each may be given a seed of its own."""


@dataclass(frozen=True)
class Streams:
    """Opens a random generator at an address.

    Parameters
    ----------
    seed : int
        The run's seed; 0 to 2**63 - 1.
    process_seeds : mapping, optional
        Process -> a seed of its own in place of the run's, so that one source of chance can be drawn anew while all
        others stay as they are.

    Examples
    --------
    >>> streams = Streams(7)
    >>> a = streams.at("set", "north", trial=3, year=2).random(4)
    >>> b = streams.at("set", "north", trial=3, year=2).random(9)[:4]
    >>> bool((a == b).all())
    True
    """

    seed: int
    process_seeds: Mapping[str, int] = field(default_factory=dict, hash=False)

    def key(self, process: str, place: str = "") -> np.ndarray:
        """128-bit Philox key of a process at a place (a block name, a cultivar, or nothing)."""
        return _key(self.process_seeds.get(process, self.seed), process, place).copy()

    def at(self, process: str, place: str = "", *, trial: int = 0, year: int = 0) -> np.random.Generator:
        """Generator whose stream belongs to this address alone.

        Parameters
        ----------
        process : str
            What is drawn, e.g. ``"loss"``; one process, one stream.
        place : str
            Block name, cultivar or market that the draw belongs to.
        trial, year : int
            Trial number and year of the plan, both at least 0.
        """
        counter = np.array([0, 0, year, trial], dtype=np.uint64)
        key = _Key(_key(self.process_seeds.get(process, self.seed), process, place))
        return np.random.Generator(np.random.Philox(key, counter=counter))  # type: ignore[arg-type]


class _Key(ISeedSequence):
    """A key handed over as a seed is: given as a key, NumPy would ask the system for a seed too, and throw it away."""

    def __init__(self, key: np.ndarray) -> None:
        self._key = key

    def generate_state(self, n_words: int, dtype: Any = np.uint32) -> np.ndarray:
        """The key; Philox asks for its two words."""
        return self._key


@functools.lru_cache(maxsize=1024)
def _key(seed: int, process: str, place: str) -> np.ndarray:
    text = f"{seed}\x1f{process}\x1f{place}".encode()
    return np.frombuffer(hashlib.blake2b(text, digest_size=16).digest(), dtype="<u8").astype(np.uint64)
