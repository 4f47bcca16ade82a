"""Results: the only reader and writer of result stores, and the statistics over trials."""

from __future__ import annotations

from orchardsim.results.dataset import attribute, build_dataset
from orchardsim.results.farm import block_labels, of_farm, of_label, whole_farm
from orchardsim.results.headline import Headline, cumulative_yield, headlines, yield_by_leaf
from orchardsim.results.store import dump_summary, open_results, read_results, write_run
from orchardsim.results.summary import shares, summarize, summary_document

__all__ = [
    "Headline",
    "attribute",
    "block_labels",
    "build_dataset",
    "cumulative_yield",
    "dump_summary",
    "headlines",
    "of_farm",
    "of_label",
    "open_results",
    "read_results",
    "shares",
    "summarize",
    "summary_document",
    "whole_farm",
    "write_run",
    "yield_by_leaf",
]
