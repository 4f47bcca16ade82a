"""Questions put to the model: which plan is better, what drives the risk. They run the simulation."""

from __future__ import annotations

from orchardsim.analysis.compare import compare

__all__ = ["compare"]
