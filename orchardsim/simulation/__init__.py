"""Run order, the year loop over tiles of trials, and the books that must balance."""

from orchardsim.simulation.run import simulate

__all__ = ["simulate"]
