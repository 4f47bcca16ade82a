"""Reports of saved results; nothing here runs the model. Pictures and the page load their libraries late."""

from __future__ import annotations

from orchardsim.report.run.first_screen import first_screen, plain_sentences
from orchardsim.report.run.page import write_report
from orchardsim.report.run.table import headline_table

__all__ = ["first_screen", "headline_table", "plain_sentences", "write_report"]
