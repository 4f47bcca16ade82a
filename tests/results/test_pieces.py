"""A run told from pieces of its trials says what it says when told whole."""

from __future__ import annotations

import pytest

from orchardsim.report.run.block_tables import box_cells, tree_groups
from orchardsim.report.run.ledger_table import balance_cells, ledger_cells, sales_cells
from orchardsim.report.run_formats import RunFormats
from orchardsim.results import farm, summary_document
from tests.results.invented_run import invented_dataset


def told(dataset, tables=(ledger_cells, balance_cells)):
    formats = RunFormats.of(dataset.attrs)
    cells = [table(dataset) for table in tables] + [
        of(dataset, formats) for of in (sales_cells, box_cells, tree_groups)
    ]
    return summary_document(dataset), cells


def leaves(tree, path=()):
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from leaves(value, (*path, key))
    else:
        yield path, tree


def test_pieces_make_up_the_whole(monkeypatch):
    dataset = invented_dataset(trials=40)
    whole, whole_cells = told(dataset)
    monkeypatch.setattr(farm, "PIECE", 7)  # five whole pieces and a short one
    found, cells = told(dataset)
    assert cells == whole_cells
    for (path, value), (other, expected) in zip(leaves(found), leaves(whole), strict=True):
        assert path == other
        if isinstance(expected, float):
            assert value == pytest.approx(expected, rel=2e-6), path  # six digits are written
        else:
            assert value == expected, path
