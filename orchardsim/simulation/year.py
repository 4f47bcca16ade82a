"""The order of a year, once. What a step reads and writes stands at its function.

Rest to bloom, bloom to closed canopy, closed canopy to harvest, harvest to leaf fall. Trees ask for work, crews do it,
trees take the share done and the day: once.
"""

from __future__ import annotations

import functools
from typing import Final

from orchardsim.simulation.bloom_to_harvest import (
    apply_summer_pruning,
    apply_thinning,
    ask_harvest_work,
    do_harvest_work,
    do_thinning,
    grow_fruit,
    set_fruit,
)
from orchardsim.simulation.harvest_to_leaf_fall import (
    apply_picking,
    balance_trees,
    carry_work_over,
    grow_to_leaf_fall,
    mark_by_hail,
    observe_trees,
    remove_blocks,
    review_stock,
)
from orchardsim.simulation.losing_trees import lose_trees_in_season, lose_trees_in_winter
from orchardsim.simulation.rest_to_bloom import (
    apply_pruning,
    ask_dormant_work,
    do_dormant_work,
    draw_chances,
    fill_all_gaps,
    fill_gaps,
    meet_season,
    order_planting,
    plant_blocks,
    protect_from_frost,
    refilled_by_plan,
)
from orchardsim.simulation.step import Steps, replaced, without

YEAR: Final[Steps] = (
    # rest to bloom
    meet_season,
    protect_from_frost,
    draw_chances,
    lose_trees_in_winter,
    ask_dormant_work,
    fill_gaps,
    plant_blocks,
    order_planting,
    do_dormant_work,
    apply_pruning,
    # bloom to closed canopy
    set_fruit,
    do_thinning,
    apply_thinning,
    # closed canopy to harvest
    grow_fruit,
    lose_trees_in_season,
    ask_harvest_work,
    do_harvest_work,
    apply_summer_pruning,
    # harvest to leaf fall
    apply_picking,
    grow_to_leaf_fall,
    mark_by_hail,
    observe_trees,
    remove_blocks,
    balance_trees,
    carry_work_over,
    review_stock,
)
"""A year of the plan."""

PAST_YEAR: Final[Steps] = without(
    replaced(YEAR, "fill_gaps", functools.partial(fill_all_gaps, meant=refilled_by_plan)),
    (
        "protect_from_frost",
        "order_planting",
        "do_dormant_work",
        "do_thinning",
        "do_harvest_work",
        "mark_by_hail",
        "observe_trees",
        "remove_blocks",
        "balance_trees",
        "carry_work_over",
        "review_stock",
    ),
)
"""A year before year 0, of an established block: all work is done in time, gaps of the first leaves are filled."""
