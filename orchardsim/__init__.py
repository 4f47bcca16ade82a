"""Whole-orchard simulation of apple planting plans: growth, cropping, losses, labour, money and risk.

>>> import orchardsim
>>> plan = orchardsim.load_plan("configs/demo.toml")  # doctest: +SKIP
>>> results = orchardsim.simulate(plan, trials=200, years=20, seed=1)  # doctest: +SKIP
>>> orchardsim.summarize(results)  # doctest: +SKIP
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"
__all__ = ["compare", "load_plan", "read_results", "risk_drivers", "simulate", "spares", "stress", "study", "summarize"]

_ROOMS = {
    "compare": "analysis",
    "load_plan": "plan",
    "read_results": "results",
    "risk_drivers": "analysis",
    "simulate": "simulation",
    "spares": "analysis",
    "stress": "analysis",
    "study": "analysis",
    "summarize": "results",
}


def __getattr__(name: str) -> Any:
    # The rooms pull in heavy libraries; they are opened when first asked for so that `--help` stays quick.
    if name in _ROOMS:
        return getattr(importlib.import_module(f"orchardsim.{_ROOMS[name]}"), name)
    raise AttributeError(f"module 'orchardsim' has no attribute {name!r}")
