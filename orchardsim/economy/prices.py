"""Fruit prices by year: persistent deviations, the regional crop's effect, trends; and the sale of fruit by outlet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.core.labels import BOX_COUNTS, GRADES
from orchardsim.core.streams import Streams
from orchardsim.economy.parameters import OUTLETS, Market

Array = NDArray[np.float64]

OTHER_CROP = "other regions"
"""Market under which the crop of the rest of the market is drawn."""
FRESH_OUTLETS = ("direct", "pick_your_own", "wholesale")


@dataclass(frozen=True)
class PricePaths:
    """Prices of a run in the plan's money (inflation not yet added).

    Attributes
    ----------
    price : (trial, year, cultivar, outlet, grade) [money/kg]
        ``nan`` where the outlet does not take the grade or the cultivar.
    cultivars : tuple of str
        Names on the cultivar axis; outlets and grades run over ``OUTLETS`` and ``GRADES``.
    market_crop : (trial, year) [1]
        Crop of the whole market over its mean.
    """

    price: Array
    cultivars: tuple[str, ...]
    market_crop: Array

    def times(self, factor: Array | float) -> PricePaths:
        """The same prices times a factor that broadcasts to them."""
        return PricePaths(self.price * factor, self.cultivars, self.market_crop)


def draw_price_normals(rng: Streams, trials: Sequence[int], years: int, cultivars: Sequence[str]) -> dict[str, Array]:
    """Standard normal draws of every market, by address: the same trial meets the same prices under every plan.

    Returns: market -> (trial, year): the outlets, "cultivar <name>", and the crop of other regions.

    Parameters
    ----------
    trials : sequence of int
        Trial numbers.
    cultivars : sequence of str
        Cultivars sold; each has its own stream.
    """
    markets = [*OUTLETS, OTHER_CROP, *(f"cultivar {name}" for name in dict.fromkeys(cultivars))]
    return {
        market: np.stack([rng.at("price", market, trial=trial).standard_normal(years) for trial in trials])
        for market in markets
    }


def log_deviation(normals: Array, cv: float, persistence: float) -> Array:
    """Stationary AR(1) deviation of the log price with mean 1 of the price itself, (trial, year) [1].

    The deviation's standard deviation is sqrt(log(1 + cv^2)), so that the price has coefficient of variation ``cv``.

    Parameters
    ----------
    normals : (trial, year)
        Independent standard normals; the first starts the series in its stationary distribution.
    cv : float [1]
    persistence : float [1]
        Correlation of a year's deviation with the next.
    """
    variance = np.log1p(cv**2)
    deviation = np.empty_like(normals)
    deviation[:, 0] = normals[:, 0]
    step = np.sqrt(1.0 - persistence**2)
    for year in range(1, normals.shape[1]):
        deviation[:, year] = persistence * deviation[:, year - 1] + step * normals[:, year]
    return deviation * np.sqrt(variance) - 0.5 * variance


def market_crop_index(regional_crop: Array, other_normals: Array, weight: float, other_sd: float) -> Array:
    """Crop of the whole market over its mean: the farm's region weighted with the other regions.

    Parameters
    ----------
    regional_crop : (trial, year) [1]
        Crop of the farm's region over its mean.
    other_normals : (trial, year)
    weight : float [1]
        Share of the market's supply from the farm's region.
    other_sd : float [1]
        Standard deviation of the log of the other regions' crop.
    """
    other = np.exp(other_sd * other_normals - 0.5 * other_sd**2)
    return weight * np.maximum(regional_crop, 0.0) + (1.0 - weight) * other


def base_price(market: Market, cultivar: str) -> Array:
    """Price before any deviation, (outlet, grade) [money/kg]; nan where the grade is not taken."""
    fruit = market.fruit[cultivar]
    table = np.full((len(OUTLETS), len(GRADES)), np.nan)
    fresh = [GRADES.index("extra_fancy"), GRADES.index("fancy")]
    table[OUTLETS.index("direct"), fresh] = fruit.direct
    table[OUTLETS.index("pick_your_own"), fresh] = fruit.pick_your_own
    table[OUTLETS.index("wholesale"), fresh] = (fruit.wholesale_extra_fancy, fruit.wholesale_fancy)
    table[OUTLETS.index("processing"), [*fresh, GRADES.index("processing")]] = fruit.processing
    table[OUTLETS.index("juice"), :] = fruit.juice
    return table


def check_market(market: Market, cultivars: Sequence[str], where: str = "[market]") -> None:
    """Refuse outlets that do not sum and prices that are missing.

    Raises
    ------
    InputError
        Naming the outlet or cultivar.
    """
    for name in OUTLETS:
        if name not in market.outlets:
            raise InputError(where, f"outlet {name!r} is missing; needed: {', '.join(OUTLETS)}")
        paid = market.outlets[name].paid
        if not paid or abs(sum(paid) - 1.0) > 1e-9:
            raise InputError(where, f"outlets.{name}.paid sums to {sum(paid):g}, must sum to 1")
    for cultivar in cultivars:
        if cultivar not in market.fruit:
            raise InputError(where, f"no prices for cultivar {cultivar!r}; priced: {', '.join(sorted(market.fruit))}")
        fruit = market.fruit[cultivar]
        for key in ("wholesale_extra_fancy", "wholesale_fancy", "processing", "juice"):
            if not np.isfinite(getattr(fruit, key)):
                raise InputError(where, f"price.{cultivar}.{key} is missing or not a finite number")
        if len(fruit.size_price) != len(BOX_COUNTS):
            raise InputError(
                where,
                f"fruit.{cultivar}.size_price: found {len(fruit.size_price)} values, allowed {len(BOX_COUNTS)}: "
                f"{', '.join(BOX_COUNTS)}",
            )


def price_paths(
    market: Market, normals: Mapping[str, Array], regional_crop: Array, cultivars: Sequence[str]
) -> PricePaths:
    """Prices of every cultivar, outlet and grade in every trial and year.

    price = base x outlet deviation x cultivar deviation x (market crop)^flexibility x (1 + trend)^year. The cultivar
    deviation moves fresh outlets only; a premium over the common price shrinks by ``premium_erosion``.

    Parameters
    ----------
    normals : mapping
        As :func:`draw_price_normals` gives.
    regional_crop : (trial, year) [1]
    """
    names = tuple(dict.fromkeys(cultivars))
    trials, years = regional_crop.shape
    crop = market_crop_index(regional_crop, normals[OTHER_CROP], market.regional_weight, market.other_crop_sd)
    log_crop = np.log(np.maximum(crop, 0.02))
    time = np.arange(years)
    price = np.empty((trials, years, len(names), len(OUTLETS), len(GRADES)))
    for column, outlet_name in enumerate(OUTLETS):
        outlet = market.outlets[outlet_name]
        level = (
            np.exp(
                log_deviation(normals[outlet_name], outlet.price_cv, market.persistence) + outlet.flexibility * log_crop
            )
            * (1.0 + market.price_trend) ** time
        )
        for row, name in enumerate(names):
            fruit = market.fruit[name]
            base = np.broadcast_to(base_price(market, name)[column], (years, len(GRADES)))
            factor = level
            if outlet_name in FRESH_OUTLETS:
                own = log_deviation(normals[f"cultivar {name}"], fruit.price_cv, market.persistence)
                factor = level * np.exp(own)
                premium = np.maximum(base - market.commodity_price, 0.0)
                base = base - premium * (1.0 - (1.0 - fruit.premium_erosion) ** time)[:, None]
            price[:, :, row, column, :] = factor[:, :, None] * base
    return PricePaths(price, names, crop)


def draw_prices(
    rng: Streams, trials: Sequence[int], market: Market, regional_crop: Array, cultivars: Sequence[str]
) -> PricePaths:
    """Draw the prices of the given trials: :func:`draw_price_normals` and :func:`price_paths` in one."""
    check_market(market, cultivars)
    normals = draw_price_normals(rng, trials, regional_crop.shape[1], cultivars)
    return price_paths(market, normals, regional_crop, cultivars)


def price_luck(paths: PricePaths, market: Market, cultivars: Sequence[str]) -> Array:
    """Wholesale price over the plan's own, without the part that follows the market's crop: (trial, year) [1].

    The mean over ``cultivars``, one for each block; what is left hangs on no season, so it tells a trial's luck with
    prices apart from its luck with weather.
    """
    column = OUTLETS.index("wholesale")
    log_crop = np.log(np.maximum(paths.market_crop, 0.02))
    of_crop = np.exp(market.outlets["wholesale"].flexibility * log_crop)
    no_luck = np.ones_like(paths.market_crop)
    parts = []
    for name in cultivars:
        base = base_price(market, name)[column][0]
        if base > 0:
            parts.append(paths.price[:, :, paths.cultivars.index(name), column, 0] / base / of_crop)
    return np.mean(parts, axis=0) if parts else no_luck


@dataclass(frozen=True)
class Sales:
    """What was sold where.

    Attributes
    ----------
    mass : (trial, year, block, outlet) [kg]
    revenue : (trial, year, block, outlet) [money]
    unsold : (trial, year, block) [kg]
    stored : (trial, year, block) [kg]
        Wholesale fruit that waits in the store; what the store keeps of it is in ``mass`` too.
    no_room : (trial, year, block) [kg]
        Fruit that was to wait and found no room; it went to the outlets after wholesale.
    storage_loss : (trial, year, block) [kg]
        Stored fruit that dried up or decayed; in no other mass but ``stored``.
    mass_by_grade : (trial, year, outlet, grade) [kg]
    revenue_by_grade : (trial, year, outlet, grade) [money]
        The farm's fruit by outlet and grade.
    """

    mass: Array
    revenue: Array
    unsold: Array
    stored: Array
    no_room: Array
    storage_loss: Array
    mass_by_grade: Array
    revenue_by_grade: Array


def first_served(offered: Array, volume: float, years_planted: NDArray[np.int_]) -> Array:
    """What a limited volume takes of each block's offer, older plantings first: (..., block).

    Parameters
    ----------
    offered : (..., block) [kg]
    volume : float [kg]
        May be infinite.
    years_planted : (block,) [year]
        Blocks of one year share in proportion to what they offer.

    Examples
    --------
    >>> first_served(np.array([30.0, 60.0, 20.0]), 70.0, np.array([2, -5, 2])).tolist()
    [6.0, 60.0, 4.0]
    """
    before = offered @ (years_planted[:, None] < years_planted).astype(float)
    peers = offered @ (years_planted[:, None] == years_planted).astype(float)
    share = np.clip(volume - before, 0.0, peers) / np.where(peers > 0, peers, 1.0)
    return np.asarray(offered * share)


def sell(
    packed_mass: Array,
    paths: PricePaths,
    market: Market,
    block_cultivars: Sequence[str],
    *,
    storage_share: float = 0.0,
    storage_limit: float = np.inf,
    relative_price: Array | None = None,
    storage_shrink: Sequence[float] | None = None,
    years_planted: Sequence[int] | None = None,
) -> Sales:
    """Offer the fruit to the outlets in order; each takes its volume at the full price, a stretch at a lower one.

    Older plantings come first (assumption): a new one gets what they leave of a volume, so its sales are what it adds
    to those of the farm. Blocks of one year, and all grades, share in proportion to what they offer. What no outlet
    takes is unsold. A share of the wholesale fruit waits in the store; what finds no room there is taken off the
    wholesale volume, the stretched part first, and goes on to the next outlets.

    Parameters
    ----------
    packed_mass : (trial, year, block, grade) [kg]
    block_cultivars : sequence of str
        Cultivar of each block.
    storage_share : float [1]
        Of the wholesale fruit.
    storage_limit : float [kg]
        Of the farm.
    relative_price : (trial, year, block) [1], optional
        Wholesale price of the fruit over that of ``paths``, by picking passes and sizes; 1 by default.
    storage_shrink : sequence of float [1], optional
        Share of each block's stored fruit that is lost in the store; none by default.
    years_planted : sequence of int [year], optional
        Of each block; all the same by default.
    """
    index = np.array([paths.cultivars.index(name) for name in block_cultivars], dtype=np.intp)
    years = np.zeros(len(index), dtype=int) if years_planted is None else np.asarray(years_planted)
    left = packed_mass.copy()
    down = market.packout_extra * left[..., 0]
    left[..., 0] -= down
    left[..., 1] += down
    shape = (*packed_mass.shape[:3], len(OUTLETS))
    mass, revenue = np.zeros(shape), np.zeros(shape)
    stored, no_room, lost = np.zeros(shape[:3]), np.zeros(shape[:3]), np.zeros(shape[:3])
    shrink = np.zeros(shape[2]) if storage_shrink is None else np.asarray(storage_shrink, dtype=float)
    mass_by_grade, revenue_by_grade = (np.zeros((*shape[:2], len(OUTLETS), left.shape[3])) for _ in range(2))
    for column, name in enumerate(OUTLETS):
        outlet = market.outlets[name]
        price = paths.price[:, :, index, column, :]
        offered = np.where(np.isnan(price), 0.0, left)
        whole = offered.sum(axis=3)
        sold = first_served(whole, outlet.volume * (1.0 + outlet.stretch), years)
        money = offered * np.nan_to_num(price)
        if name == "wholesale":
            waiting = storage_share * sold
            stored = first_served(waiting, storage_limit, years)
            no_room = waiting - stored
            sold = sold - no_room
            if relative_price is not None:
                money = money * relative_price[..., None]
        full = first_served(sold, outlet.volume, years)
        safe = np.where(whole > 0, whole, 1.0)
        taken = offered * (sold / safe)[..., None]
        paid = money * ((full + (sold - full) * (1 - outlet.price_fall)) / safe)[..., None]
        left = left - taken
        if name == "wholesale" and shrink.any():
            lost = stored * shrink
            kept = (1.0 - lost / np.where(sold > 0, sold, np.inf))[..., None]
            taken, paid = taken * kept, paid * kept
        mass[..., column], revenue[..., column] = taken.sum(axis=3), paid.sum(axis=3)
        mass_by_grade[:, :, column], revenue_by_grade[:, :, column] = taken.sum(axis=2), paid.sum(axis=2)
    unsold = np.maximum(left, 0.0).sum(axis=3)
    return Sales(mass, revenue, unsold, stored, no_room, lost, mass_by_grade, revenue_by_grade)
