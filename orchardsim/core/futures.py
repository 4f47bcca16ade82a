"""What nobody knows yet: the open levels of a future, drawn once per trial by address.

A level is one number that holds for the whole of a future: how the ground grows trees, what fruit brings, what packing
costs. Its draw is named by (level, key, trial), so that two plans on one farm meet the same ground; labels with
different keys (cultivars, rootstocks, blocks) share the part :attr:`OpenLevel.shared` of the variance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.parameters import Status

if TYPE_CHECKING:
    from orchardsim.core.streams import Streams

Array = NDArray[np.float64]
Scope = Literal["farm", "block", "rootstock", "cultivar", "cause"]
Family = Literal["lognormal", "normal"]

MOST_DEVIATIONS: Final = 3.0
"""Draws beyond so many standard deviations are taken as lying there: what is unknown is unknown within reason."""
HAZARD_CAUSES: Final = ("transplant_failure", "fire_blight", "crown_rot", "drought", "voles")
"""Causes of loss whose level is open; that of winter cold is an open temperature."""
HAZARD_SPREAD: Final = 1.0
"""1; standard deviation of the log of a cause's level between places (derived, see ``hazard_level``)."""


@dataclass(frozen=True)
class OpenLevel:
    """One row of the table.

    Attributes
    ----------
    scope : {"farm", "block", "rootstock", "cultivar", "cause"}
        What has a level of its own.
    family : {"lognormal", "normal"}
        middle * exp(spread * z), or middle + spread * z, with z standard normal.
    middle, spread : float
        Median; standard deviation of the log, or in the level's unit.
    low, high : float
        Bounds of a middle that a plan may state.
    most_spread : float
        Largest spread that a plan may state.
    shared : float [1]
        Share of the variance common to the whole farm.
    narrowed_by : str
        What a grower can do to know it better.
    source : str
        Of the spread.
    """

    name: str
    scope: Scope
    unit: str
    family: Family
    middle: float
    spread: float
    low: float
    high: float
    most_spread: float
    shared: float
    meaning: str
    narrowed_by: str
    source: str
    status: Status


def _factor(
    name: str, scope: Scope, spread: float, shared: float, meaning: str, by: str, source: str, status: Status
) -> OpenLevel:
    return OpenLevel(name, scope, "1", "lognormal", 1.0, spread, 0.2, 5.0, 1.0, shared, meaning, by, source, status)


def _table(*rows: OpenLevel) -> dict[str, OpenLevel]:
    return {row.name: row for row in rows}


SITES: Final = "ten northern sites, one cultivar: Autio et al. 2017, J. Amer. Pomological Soc. 71(3), Table 9"
OPEN_LEVELS: Final = _table(
    _factor("site_growth", "block", 0.30, 0.50, "growth of the ground over that of the research mean",
            "measuring your first row's trunks",
            f"spread of trunk area after five seasons between {SITES}; trunks here go with the level to the power 0.97 "
            "(computed). Half of it within a farm: soil varies over a field about half as much as over its district "
            "(Beckett and Webster 1971, Soils and Fertilizers 34:1, memory)", "derived"),
    _factor("stock_by_site", "rootstock", 0.10, 0.0, "growth of a rootstock on this ground over its usual",
            "measuring your first row's trunks by rootstock", "a third of the spread between sites", "assumption"),
    _factor("cultivar_by_site", "cultivar", 0.06, 0.0, "growth of a cultivar on this ground over its usual",
            "measuring your first row's trunks by cultivar", "a fifth of the spread between sites", "assumption"),
    _factor("fruit_set", "cultivar", 0.20, 0.50, "fruit set of a cultivar here over its usual",
            "counting fruit set on a few limbs in your first bearing years",
            "fruit per tree of 21 orchards of one region and year, CV about 0.3, less what thinning and size of trees "
            "explain (Lincoln University research archive)", "assumption"),
    _factor("fruit_size", "cultivar", 0.08, 0.50, "size that fruit of a cultivar can reach here over its usual",
            "measuring fruit size in your first bearing years",
            "mean fruit mass of 21 orchards of one region and year, CV about 0.18 (Lincoln University research "
            "archive), less what crop load explains", "assumption"),
    OpenLevel("pack_out", "cultivar", "1", "normal", 0.0, 0.35, -2.0, 2.0, 1.5, 0.50,
              "log odds of a fruit being fresh, over those of the model",
              "learning the pack-out of a neighbour's fruit",
              "58 % of one cultivar and 75 % of another in one industry and year (Good Fruit Grower); 0.35 is 7 points "
              "about 70 %", "assumption"),
    OpenLevel("thinning_skill", "farm", "1", "normal", 1.0, 0.05, 0.5, 1.3, 0.3, 1.0,
              "share of the excess fruit that the farm's thinners take off", "counting fruit left after thinning",
              "counts after June drop against crops picked differ by 8 to 12 % (ASABE paper 29974)", "assumption"),
    OpenLevel("hazard_level", "cause", "1", "lognormal", round(math.exp(-(HAZARD_SPREAD**2) / 2), 2), HAZARD_SPREAD,
              0.1, 5.0, 1.5, 0.5,
              "number of days, or of winters, that bring a cause of loss, over those of the mean place; trees that "
              "fail after planting likewise",
              "counting losses of neighbouring orchards",
              "five-year losses at 13 sites of one trial: none at three or more, 13 and 23 % at the worst two, so a "
              "standard deviation of the log of about 1.4 with the luck of the years (Autio et al. 2017). The mean "
              "place is 1, so most lie below it. Half of it is taken as common to all causes: drainage, care, nursery",
              "derived"),
    OpenLevel("winter_cold", "farm", "K", "normal", 0.0, 1.0, -8.0, 8.0, 5.0, 1.0,
              "coldest nights of the planting, of winter and of spring, over those of the station and its night_offset",
              "hanging a thermometer among the trees",
              "places within a few kilometres differ by one to three kelvin on still nights", "common practice"),
    _factor("hail_frequency", "farm", 0.50, 1.0, "number of hail storms over the plan's",
            "learning the hail of the last 30 years",
            "damaging storms in one year of 5 to 15: the range of apple districts", "memory"),
    _factor("price_level", "cultivar", 0.12, 0.60, "price of a cultivar over the plan's, all years and outlets alike",
            "fixing a price by contract", "standard deviation of real prices of the United States 0.22 to 0.24 with a "
            "correlation of 0.37 from year to year (FAOSTAT 1991-2018): half of it taken as lasting", "assumption"),
    OpenLevel("price_drift", "cultivar", "1/year", "normal", 0.0, 0.010, -0.2, 0.2, 0.1, 0.60,
              "yearly growth of a cultivar's price over the plan's trend", "agreeing prices for years ahead",
              "means of 27 years of real prices with that spread are known to about 0.01 a year", "derived"),
    _factor("packing_charge", "farm", 0.10, 1.0, "charge for packing and handling over the plan's",
            "getting quotes of packers",
            "quotes of packing houses differ by a tenth or two", "common practice"),
    _factor("storage_charge", "farm", 0.15, 1.0, "charge for storage over the plan's", "getting quotes of stores",
            "quotes of stores differ by a tenth or two", "common practice"),
    _factor("cost_level", "farm", 0.10, 1.0, "level of all other costs over the plan's", "getting written quotes",
            "budgets of one system in neighbouring states differ by a tenth", "assumption"),
    _factor("wage_level", "farm", 0.07, 1.0, "level of wages over the plan's", "asking what wages neighbours pay",
            "wages of one region differ by less than a tenth", "assumption"),
    OpenLevel("wage_growth", "farm", "1/year", "normal", 0.0, 0.010, -0.1, 0.1, 0.05, 1.0,
              "yearly growth of wages over the plan's trend", "knowing wages years ahead (nobody does)",
              "real farm wages grew by none to two per cent a year over decades", "memory"),
)  # fmt: skip
"""Open levels by name."""


@dataclass(frozen=True)
class Doubt:
    """What is known of one level: its middle and its spread; a spread of 0 is a known level."""

    middle: float
    spread: float


Part = tuple[str, str]
"""(level, key): one of the standard normals behind the levels; the key "" is the part that all keys share."""


@dataclass(frozen=True)
class Learned:
    """What measurements left open of the standard normals behind some levels.

    Attributes
    ----------
    parts : tuple of (level, key)
    draws : array, (draw, part)
        Draws from the posterior, in no order; all equally likely.
    """

    parts: tuple[Part, ...]
    draws: Array

    def rows(self, seed: int, trials: Sequence[int]) -> NDArray[np.int64]:
        """Draw that each trial meets: the same under every plan; with another seed the trials begin elsewhere."""
        return (np.asarray(trials, dtype=np.int64) + seed) % len(self.draws)

    def mean(self, part: Part) -> float:
        """Mean of a part; 0, that of a standard normal, where nothing was learned of it."""
        return float(self.draws[:, self.parts.index(part)].mean()) if part in self.parts else 0.0


@dataclass(frozen=True)
class Futures:
    """Doubts of a plan.

    Attributes
    ----------
    stated : mapping from level to (key -> Doubt)
        Those that differ from the table's; the key "" stands for all keys of a level.
    known : bool
        Whether all levels are taken at their middle.
    learned : Learned, optional
        What measured trees tell beyond that.
    """

    stated: Mapping[str, Mapping[str, Doubt]]
    known: bool = False
    learned: Learned | None = None

    @property
    def all_known(self) -> bool:
        """Whether no level is open."""
        return not any(
            self.doubt(level, key).spread for level in OPEN_LEVELS for key in ("", *self.stated.get(level, {}))
        )

    def doubt(self, level: str, key: str = "") -> Doubt:
        """What the plan knows of a level under a key, before any measurement."""
        row, own = OPEN_LEVELS[level], self.stated.get(level, {})
        found = own.get(key, own.get("", Doubt(row.middle, row.spread)))
        return Doubt(found.middle, 0.0) if self.known else found

    def middle(self, level: str, keys: Sequence[str]) -> Array:
        """Middles of a level under several keys, (key,); where trees were measured, at what they tell on the mean."""
        learned = self.learned
        normals = np.zeros((1, len(keys)))
        if learned is not None:
            own = np.array([learned.mean((level, key)) if key else 0.0 for key in keys])
            normals[0] = combined(level, np.full(1, learned.mean((level, ""))), own[None])[0]
        return self.values(level, keys, normals)[0]

    def values(self, level: str, keys: Sequence[str], normals: Array) -> Array:
        """Values of a level at standard normals, (trial, key), as the plan knew it before any measurement."""
        row, open_ = OPEN_LEVELS[level], Futures(self.stated)
        doubts = [open_.doubt(level, key) for key in keys]
        middle = np.array([doubt.middle for doubt in doubts])
        shift = np.array([doubt.spread for doubt in doubts]) * normals
        return middle * np.exp(shift) if row.family == "lognormal" else middle + shift

    def drawn(self, level: str, keys: Sequence[str], streams: Streams, trials: Sequence[int]) -> Array:
        """Values of a level under several keys, (trial, key); the same trial meets the same under every plan.

        Examples
        --------
        >>> from orchardsim.core.streams import Streams
        >>> Futures({"price_level": {"": Doubt(1.2, 0.0)}}).drawn("price_level", ["Gala"], Streams(1), range(2))
        array([[1.2],
               [1.2]])
        """
        if not any(self.doubt(level, key).spread for key in keys):
            return np.repeat(self.middle(level, keys)[None], len(trials), axis=0)
        common = self._normals(streams, level, "", trials)
        own = {key: self._normals(streams, level, key, trials, "of ") for key in dict.fromkeys(keys)}
        return self.values(level, keys, combined(level, common, np.stack([own[key] for key in keys], axis=1)))

    def _normals(self, streams: Streams, level: str, key: str, trials: Sequence[int], prefix: str = "") -> Array:
        """Standard normals of a part: learned, or drawn by address."""
        if self.learned is not None and (level, key) in self.learned.parts and bool(key) == bool(prefix):
            seed = streams.process_seeds.get(process(level), streams.seed)
            return self.learned.draws[self.learned.rows(seed, trials), self.learned.parts.index((level, key))]
        place = f"{prefix}{key}"
        return np.array([streams.at(process(level), place, trial=trial).standard_normal() for trial in trials])


def combined(level: str, common: Array, own: Array) -> Array:
    """Standard normals of a level, (trial, key), from the part that all keys share (trial,) and that of each key."""
    shared = OPEN_LEVELS[level].shared
    normal = np.sqrt(shared) * common[:, None] + np.sqrt(1.0 - shared) * own
    return np.clip(normal, -MOST_DEVIATIONS, MOST_DEVIATIONS)


def process(level: str) -> str:
    """Name of the random process that draws a level."""
    return f"future {level}"
