"""Blocks for the tests of the trees room, set up with the trees-only harness of the calibration."""

from __future__ import annotations

from experiments.calibration.harness import (
    NORTH,
    Climate,
    Run,
    block,
    cultivar,
    grade,
    load_physiology,
    run_trees,
    season_of,
    stock,
    training,
)

PHYSIOLOGY = load_physiology()
EVEN = {"rows": 4, "trees_per_row": 12}

__all__ = [
    "EVEN",
    "NORTH",
    "PHYSIOLOGY",
    "Climate",
    "Run",
    "block",
    "cultivar",
    "grade",
    "load_physiology",
    "run_trees",
    "season_of",
    "spindle",
    "stock",
    "training",
]


def spindle(wood="M.9", scion="Gala", target=(0.0, 6.0), tree=1.1, row=3.65, **more):
    """A tall spindle block of one stock."""
    return block(
        [stock(wood)], scion, grade("feathered"), training("tall_spindle"), tree, row, target, **{**EVEN, **more}
    )
