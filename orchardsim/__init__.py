"""Whole-orchard simulation of apple planting plans: growth, cropping, losses, labour, money and risk.

::

    plan = orchardsim.load_plan("configs/demo.toml")
    results = orchardsim.simulate(plan, trials=200, years=20, seed=1)
    orchardsim.summarize(results)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from orchardsim.analysis.compare import compare
    from orchardsim.analysis.fit import fit
    from orchardsim.analysis.risk_drivers import risk_drivers
    from orchardsim.analysis.spares import spares
    from orchardsim.analysis.stress import stress
    from orchardsim.analysis.study import study
    from orchardsim.analysis.study_answers import study_findings
    from orchardsim.core.errors import InputError
    from orchardsim.plan import Plan, load_plan
    from orchardsim.report import write_report
    from orchardsim.report.study.figures import (
        plot_assumptions,
        plot_cells,
        plot_contrasts,
        plot_factors,
        plot_interactions,
        plot_shares,
    )
    from orchardsim.results import read_results, summarize
    from orchardsim.simulation import simulate

__version__ = "0.1.0"
__all__ = [
    "InputError",
    "Plan",
    "compare",
    "fit",
    "load_plan",
    "plot_assumptions",
    "plot_cells",
    "plot_contrasts",
    "plot_factors",
    "plot_interactions",
    "plot_shares",
    "read_results",
    "risk_drivers",
    "simulate",
    "spares",
    "stress",
    "study",
    "study_findings",
    "summarize",
    "write_report",
]

_ROOMS = {
    **{f"analysis.{name}": (name,) for name in ("compare", "fit", "risk_drivers", "spares", "stress", "study")},
    "analysis.study_answers": ("study_findings",),
    "core.errors": ("InputError",),
    "plan": ("Plan", "load_plan"),
    "report": ("write_report",),
    "report.study.figures": (
        "plot_assumptions",
        "plot_cells",
        "plot_contrasts",
        "plot_factors",
        "plot_interactions",
        "plot_shares",
    ),
    "results": ("read_results", "summarize"),
    "simulation": ("simulate",),
}


def __getattr__(name: str) -> Any:
    # The rooms pull in heavy libraries; they are opened when first asked for so that `--help` stays quick.
    for room, names in _ROOMS.items():
        if name in names:
            return getattr(importlib.import_module(f"orchardsim.{room}"), name)
    raise AttributeError(f"module 'orchardsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
