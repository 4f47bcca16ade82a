"""Results: the only reader and writer of result stores, and the statistics over trials."""

from __future__ import annotations

from orchardsim.results.dataset import attribute, block_labels, build_dataset
from orchardsim.results.headline import Headline, cumulative_yield, headlines, yield_by_leaf
from orchardsim.results.store import dump_summary, prepare_run_folder, read_results, write_run
from orchardsim.results.summary import shares, summarize, summary_document

__all__ = [
    "Headline",
    "attribute",
    "block_labels",
    "build_dataset",
    "cumulative_yield",
    "dump_summary",
    "headlines",
    "prepare_run_folder",
    "read_results",
    "shares",
    "summarize",
    "summary_document",
    "write_run",
    "yield_by_leaf",
]
