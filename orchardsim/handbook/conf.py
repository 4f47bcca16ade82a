"""Builds the documentation: ``sphinx-build -W orchardsim/handbook FOLDER``. Tables come from the program itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import orchardsim
from orchardsim.core.ledger_items import LEDGER_ITEMS
from orchardsim.core.variables import RESULTS, Variable
from orchardsim.plan.filling import DEFAULT_SOURCE
from orchardsim.plan.key_table import PlanKey, plan_keys

project = "orchardsim"
copyright = "the orchardsim authors, GPL-3.0-or-later"
version = release = orchardsim.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.autosummary", "sphinx.ext.napoleon"]
myst_enable_extensions = ["colon_fence"]
myst_heading_anchors = 3
autosummary_generate = False
autodoc_typehints = "none"
napoleon_google_docstring = False
napoleon_use_rtype = False
html_theme = "furo"
html_title = "orchardsim handbook"
exclude_patterns = ["conf.py"]


def _cell(text: object) -> str:
    return str(text).replace("|", "\\|").replace("\n", " ").replace("[", "\\[").replace("<", "&lt;")


def _table(heads: list[str], rows: list[list[object]]) -> str:
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    return "\n".join([*lines, *("| " + " | ".join(map(_cell, row)) + " |" for row in rows)]) + "\n"


def _bounds(row: PlanKey | Variable) -> str:
    low, high = ("" if end is None else f"{end:g}" for end in (row.low, row.high))
    return f"{low} to {high}" if low and high else f"from {low}" if low else f"up to {high}" if high else ""


def _default(row: PlanKey) -> str:
    if row.default is None:
        return "must be stated" if row.required else "none"
    value, unit = row.default.value, row.default.unit
    shown = (
        f"{value:.6g}" if isinstance(value, float) else str(value).lower() if isinstance(value, bool) else str(value)
    )
    return f"{shown} {unit}" if unit not in ("1", "text", "flag", "") else shown


def _source(row: PlanKey) -> str:
    if row.default is None:
        return ""
    known = row.default.source != DEFAULT_SOURCE
    return f"{row.default.status}: {row.default.source}" if known else row.default.status


def plan_key_tables() -> str:
    """Every table of a plan file with its keys."""
    tables: dict[str, list[PlanKey]] = {}
    for row in plan_keys():
        tables.setdefault(row.table, []).append(row)
    text = ""
    for name, rows in tables.items():
        bracket = f"[[{name}]]" if rows[0].listed else f"[{name}]"
        text += f"## {f'`{bracket}`' if name else 'Top of the file'}\n\n"
        lines: list[list[object]] = []
        for row in rows:
            allowed = ", ".join(row.allowed) or _bounds(row)
            value = ", ".join(part for part in (row.kind, row.unit if row.unit != "1" else "", allowed) if part)
            lines.append([f"`{row.name}`", row.meaning, value, _default(row), _source(row)])
        heads = ["key", "meaning", "kind, unit inside, allowed", "default", "its source"]
        text += _table(heads, lines) + "\n"
    return text


def variable_table() -> str:
    """Every result variable."""
    heads = ["name", "dims", "unit, bounds", "over blocks", "bad side", "filled by", "meaning"]
    rows: list[list[object]] = []
    for row in RESULTS.values():
        value = ", ".join(part for part in (row.unit, _bounds(row)) if part)
        names = [f"`{row.name}`", ", ".join(row.dims), value]
        rows.append([*names, row.over_blocks, row.worst, row.writer, row.meaning])
    return _table(heads, rows)


def ledger_table() -> str:
    """Every item of the ledger."""
    rows: list[list[object]] = [[f"`{row.name}`", row.kind, row.group, row.bearer] for row in LEDGER_ITEMS]
    return _table(["item", "kind", "group in pictures", "booked to"], rows)


TABLES: dict[str, Callable[[], str]] = {
    "plan keys": plan_key_tables,
    "result variables": variable_table,
    "ledger items": ledger_table,
}


def _fill(app: Any, name: str, source: list[str]) -> None:
    for title, made in TABLES.items():
        mark = f"<!-- table: {title} -->"
        if mark in source[0]:
            source[0] = source[0].replace(mark, made())


def setup(app: Any) -> None:
    """Put the tables where a page asks for them."""
    app.connect("source-read", _fill)
