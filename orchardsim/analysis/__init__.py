"""Questions put to the model: which plan is better, what drives the risk. They run the simulation."""

from __future__ import annotations

from orchardsim.analysis.compare import compare
from orchardsim.analysis.fit import Fit, fit
from orchardsim.analysis.risk_drivers import RiskDrivers, risk_drivers
from orchardsim.analysis.spares import spares
from orchardsim.analysis.stress import stress
from orchardsim.analysis.study import study
from orchardsim.analysis.study_answers import study_findings

__all__ = ["Fit", "RiskDrivers", "compare", "fit", "risk_drivers", "spares", "stress", "study", "study_findings"]
