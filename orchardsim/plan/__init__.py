"""Reads plan files and catalogues, checks them, and fills the stages' parameters."""

from __future__ import annotations

from orchardsim.plan.loading import load_plan, load_scenarios
from orchardsim.plan.plan import Plan, ResolvedBlock

__all__ = ["Plan", "ResolvedBlock", "load_plan", "load_scenarios"]
