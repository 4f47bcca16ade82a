"""Risk room: what a set of trials says, with the error of saying it. Pure functions of arrays."""

from orchardsim.risk.bands import (
    Chance,
    Estimate,
    chance_above,
    chance_below,
    expected_shortfall,
    mean,
    quantile,
    quantile_interval,
    trials_needed,
    value_at_risk,
    wilson_interval,
)
from orchardsim.risk.comparison import LuckOrder, PairedDifference, luck_order, paired_difference, simultaneous_limit
from orchardsim.risk.record import TwoErrors, two_errors
from orchardsim.risk.utility import AVERSIONS, certainty_equivalent, certainty_equivalents
from orchardsim.risk.variance_shares import DriverShare, variance_shares

__all__ = [
    "AVERSIONS",
    "Chance",
    "DriverShare",
    "Estimate",
    "LuckOrder",
    "PairedDifference",
    "TwoErrors",
    "certainty_equivalent",
    "certainty_equivalents",
    "chance_above",
    "chance_below",
    "expected_shortfall",
    "luck_order",
    "mean",
    "paired_difference",
    "quantile",
    "quantile_interval",
    "simultaneous_limit",
    "trials_needed",
    "two_errors",
    "value_at_risk",
    "variance_shares",
    "wilson_interval",
]
