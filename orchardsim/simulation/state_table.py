"""What a tile holds beside its results: the names that steps declare, with their meaning.

Results go by the names of :data:`orchardsim.core.variables.RESULTS`.
"""

from __future__ import annotations

from typing import Final

from orchardsim.trees.state import SHARED_FIELDS, TREE_FIELDS

EVERY_TREE: Final = " ".join(f"trees.{name}" for name in TREE_FIELDS if name != "site_vigor")
"""All that is kept of each tree, the soil aside: death empties it."""
PLANTED: Final = (
    "trees.alive trees.flower_clusters trees.head_start trees.health trees.height trees.leaf trees.reserves "
    "trees.spread trees.trunk_area trees.uncut trees.vigor"
)
"""What planting gives a tree."""

STATE: Final[dict[str, str]] = {
    "season_rows": "row of the library's seasons that each trial meets this year",
    "season": "what the trees of a block see of the year's season",
    "draws": "draws of the year that tell trees apart",
    "loss_draws": "draws of the year that decide which trees die",
    "standing": "whether a block is planted, and not yet removed",
    "alive": "trees of each row group at the last leaf fall",
    "uncut_strikes": "share of a block's trees with strikes of fire blight left to overwinter",
    "fruit_kept": "fruit after the drop",
    "fruit_thinned": "fruit thinned off",
    "fruit_lost": "fruit lost with trees that died in the season",
    "asked.dormant_pruning": "hours of dormant pruning that the trees ask for",
    "asked.training": "hours of tie-down and leader work that the trees ask for",
    "asked.thinning": "hours of hand thinning that the trees ask for",
    "asked.summer_pruning": "hours of summer pruning that the trees ask for",
    "asked.ripe_mass": "fruit that each picking pass finds ripe",
    "done.pruned": "trees that were pruned in the dormant season",
    "done.trained": "trees that were tied down",
    "done.summer_pruned": "trees that were pruned in summer",
    "done.supported": "share of the trees whose support stands, of those due",
    "done.thinned": "share of the trees thinned",
    "done.thinned_late": "days by which the mean tree was thinned too late",
    "done.picked": "share of the fruit picked, by pass",
    "done.picked_late": "days by which the mean fruit was picked too late",
    "backlog": "work that a block inherits, and where its crews stopped",
    "yards": "the working place of each trial: crews, spares, orders",
    "fruit_mass_square": "squares of the trees' mean fruit mass, summed over all fruit",
    "single_trees": "trees of the trials whose single trees are kept",
    **{f"trees.{name}": "of each tree: see trees.state.TreeState" for name in (*TREE_FIELDS, *SHARED_FIELDS)},
}
"""Name -> meaning."""
WORK_ASKED: Final = " ".join(name for name in STATE if name.startswith("asked."))
WORK_DONE: Final = " ".join(name for name in STATE if name.startswith("done."))
