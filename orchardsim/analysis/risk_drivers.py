"""What drives the risk: shares of the spread of NPV and of peak borrowing, by swapping whole random streams."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.futures import process
from orchardsim.core.streams import Streams
from orchardsim.core.text import Brief
from orchardsim.plan import Plan, load_plan
from orchardsim.risk.variance_shares import LEVEL, DriverShare, variance_shares
from orchardsim.simulation import simulate
from orchardsim.simulation.arguments import check_arguments

Array = NDArray[np.float64]

LEVELS: Final[dict[str, tuple[str, ...]]] = {
    "ground": ("site_growth", "stock_by_site", "cultivar_by_site"),
    "set and size": ("fruit_set", "fruit_size", "thinning_skill"),
    "pack-out": ("pack_out",),
    "hazards of the place": ("hazard_level", "winter_cold", "hail_frequency"),
    "price level": ("price_level", "price_drift"),
    "costs and wages": ("packing_charge", "storage_charge", "cost_level", "wage_level", "wage_growth"),
}
"""What is not known -> its open levels; together all of :data:`orchardsim.core.futures.OPEN_LEVELS`."""
SOURCES: Final[dict[str, tuple[str, ...]]] = {
    "weather": (
        "weather_years",
        "weather_temperature",
        "weather_rain",
        "weather_rain_amount",
        "hail",
        "frost protection",
    ),
    "prices": ("price",),
    "losses": ("loss", "blight of a year", "worn soil"),
    "trees": ("soil", "tree year", "crop residual"),
    "crews and nursery": ("yard", "thinning"),
    **{source: tuple(process(level) for level in levels) for source, levels in LEVELS.items()},
}
"""Source -> the random processes that make it up; together all that a run draws."""
RECORD_RAIN: Final = "weather_rain"
"""Rain of a record without rain is filled once for all trials, so it is no part of the spread over them."""
MEASURES: Final = ("npv", "peak_borrowing")
BASE_TRIALS: Final = 1024


@dataclass(frozen=True, repr=False)
class RiskDrivers(Brief):
    """Shares of the variance by source.

    Attributes
    ----------
    shares : mapping from measure to mapping from source to DriverShare
        First-order share: what goes if this source alone were known. Total share: what stays if all others were.
    spread : mapping from measure to float
        Standard deviation over trials [currency].
    trials : int
        Of each run set; ``2 + len(sources)`` sets were run.
    """

    shares: Mapping[str, Mapping[str, DriverShare]]
    spread: Mapping[str, float]
    trials: int
    years: int
    seed: int

    def interaction(self, measure: str) -> float:
        """Share that no source carries alone: 1 less the sum of the first-order shares."""
        return 1.0 - sum(share.first_order for share in self.shares[measure].values())

    def document(self) -> dict[str, Any]:
        """As plain numbers for JSON, four decimals."""
        return {
            "trials": self.trials,
            "years": self.years,
            "seed": self.seed,
            "level": LEVEL,
            "standard_deviation": {key: float(f"{value:.6g}") for key, value in self.spread.items()},
            "shares": {
                measure: {
                    **{
                        source: {name: round(value, 4) for name, value in dataclasses.asdict(share).items()}
                        for source, share in by_source.items()
                    },
                    "interaction": round(self.interaction(measure), 4),
                }
                for measure, by_source in self.shares.items()
            },
        }


def risk_drivers(
    plan: Plan | str | Path,
    *,
    trials: int = BASE_TRIALS,
    years: int = 20,
    seed: int = 1,
    jobs: int = 1,
    progress: Callable[[int], Any] | None = None,
) -> RiskDrivers:
    """Shares of the variance of NPV and peak borrowing from every source of luck, and from what is not known.

    Parameters
    ----------
    plan : Plan or path
    trials : int
        Base trials; two independent sets of so many are run, and one for each source.
    years, seed, jobs
        As in :func:`orchardsim.simulate`.
    progress : callable, optional
        Called with the number of trials just finished.

    Notes
    -----
    Pick-freeze: set A and set B draw everything anew; a mixed set draws one source as B does and all others as A
    (estimators in :func:`orchardsim.risk.variance_shares`).
    """
    check_arguments(trials=trials, years=years, seed=seed, jobs=jobs)
    read = plan if isinstance(plan, Plan) else load_plan(plan)
    other = seed + 1

    def run(process_seeds: Mapping[str, int], run_seed: int) -> dict[str, Array]:
        result = simulate(
            read, trials=trials, years=years, seed=run_seed, jobs=jobs, progress=progress,
            process_seeds=process_seeds,
        )  # fmt: skip
        return {name: result[name].values.astype(np.float64) for name in MEASURES}

    # The rain that fills a record is the same in both sets: it is given, not drawn, as far as trials are concerned.
    given = {RECORD_RAIN: seed} if read.weather.method != "parametric" else {}
    first, second = run(given, seed), run(given, other)
    mixed = {
        source: run({process: other for process in processes} | given, seed) for source, processes in SOURCES.items()
    }
    shares, spread = {}, {}
    for name in MEASURES:
        shares[name] = variance_shares(
            first[name],
            second[name],
            {source: values[name] for source, values in mixed.items()},
            Streams(seed).at("bootstrap", name),
        )
        spread[name] = float(np.concatenate([first[name], second[name]]).std(ddof=1))
    return RiskDrivers(shares, spread, trials, years, seed)
