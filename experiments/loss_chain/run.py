"""Where the demo's crop goes: what its trees could bear, and what each cause takes from it, by leaf.

``python experiments/loss_chain/run.py`` writes ``table.txt`` beside itself. The demo runs in the same futures, all
levels known, first without any of the causes; then one after another is let in, in the order of the year. A cause's
loss is the difference of two runs that stand next to each other, so the losses add up; what a cause takes hangs on
those before it (a tree that set too many loses little to frost). Rows below the chain change one thing of the demo.
"""

from __future__ import annotations

import argparse
import dataclasses
import functools
import sys
import tomllib
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))
import orchardsim
from experiments.score.trials import GOOD_GROWER
from orchardsim.core.labels import FRESH
from orchardsim.core.streams import Streams
from orchardsim.core.units import ACRE, BUSHEL
from orchardsim.plan import Plan
from orchardsim.plan.keys import with_keys
from orchardsim.report.columns import text_columns
from orchardsim.simulation.rest_to_bloom import meet_season
from orchardsim.simulation.seasons import SeasonLibrary, build_library
from orchardsim.simulation.step import Steps, replaced, without
from orchardsim.simulation.tile import Tile
from orchardsim.simulation.trial_range import run_trials
from orchardsim.simulation.year import YEAR

Array = NDArray[np.float64]
HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "configs" / "demo.toml"
LEAVES: Final = (2, 3, 4, 5, 6)
MATURE: Final = 9
"""First leaf of the mature mean."""
YEARS: Final = 20


@dataclasses.dataclass(frozen=True)
class Cause:
    """One way in which crop is lost, and how a run does without it.

    Attributes
    ----------
    name : str
    drivers : dict
        Driver of the season -> its value where the cause is out.
    keys : dict
        Key of the plan -> its value where the cause is out.
    steps : callable, optional
        The year where the cause is out.
    """

    name: str
    drivers: dict[str, float] = dataclasses.field(default_factory=dict)
    keys: dict[str, Any] = dataclasses.field(default_factory=dict)
    steps: Callable[[Steps], Steps] | None = None


def spared(year: Steps) -> Steps:
    """The year in which no tree dies."""

    def none_lost(tile: Tile, year: int) -> None:
        for block in tile.standing:
            block.fruit_lost = np.zeros_like(block.alive)

    return replaced(without(year, ("lose_trees_in_winter",)), "lose_trees_in_season", none_lost)


GROWN: Final = (
    Cause("drought", drivers={"water_factor": 1.0}),
    Cause("cold and heat of the leaf", drivers={"temperature_factor": 1.0}),
    Cause("trees lost, gaps and replants", steps=spared),
    Cause("frost", drivers={"frost_kill": 0.0, "frost_kill_failed": 0.0}),
    Cause("poor bee weather", drivers={"pollination_hours": 1e6}),
    Cause("set of the year, unexplained", keys={"physiology.block_set_spread": 0.0}),
    Cause("fruit size of the year, unexplained",
          steps=lambda year: replaced(year, "meet_season", functools.partial(meet_season.run, residual=0.0))),
)  # fmt: skip
"""Causes that act on what the trees bear, in the order in which they are let in."""
PACKED: Final = (
    Cause("too small", keys={"physiology.fresh_mass": "60 g"}),
    Cause("bitter pit", keys={"physiology.bitter_pit_scale": 0.0}),
    Cause("oversize", keys={"physiology.oversize_mass": "600 g"}),
    Cause("limb rub, bruises, pests", keys={"physiology.base_defects": 0.0}),
    Cause("frost rings", keys={"physiology.frost_russet": 0.0}),
    Cause("sunburn", drivers={"sunburn_fraction": 0.0}),
    Cause("rots", drivers={"rot_fraction": 0.0}),
    Cause("hail", keys={"block.hail_storms": "0 /year"}),
)
"""Causes that keep picked fruit from being packed fresh."""
ELSE: Final = (
    ("thinned by hand alone, after the drop", {"block.thinning": {"method": "hand"}}),
    ("not thinned at all", {"block.thinning": {"method": "none"}}),
    ("ground of the mean published trial (1.0)", {"futures.site_growth": "known 1.0"}),
    (f"ground of a good grower ({GOOD_GROWER:g})", {"futures.site_growth": f"known {GOOD_GROWER}"}),
)
"""What else makes the crop: changes of the whole demo, told beside the chain."""


def raw_demo() -> dict[str, Any]:
    """The demo's tables."""
    return tomllib.loads(DEMO.read_text(encoding="utf-8"))


def made(keys: dict[str, Any]) -> Plan:
    """The demo with some keys changed, all levels known."""
    raw = raw_demo()
    for table in {key.split(".")[0] for key in keys}:
        raw.setdefault(table, {})
    return orchardsim.load_plan(with_keys(raw, keys, "loss chain"), base=DEMO.parent).with_known_futures()


def without_causes(library: SeasonLibrary, out: Collection[Cause]) -> SeasonLibrary:
    """Seasons in which the drivers of some causes stand at their best."""
    best = {name: value for cause in out for name, value in cause.drivers.items()}
    drivers = tuple(
        tuple(
            dataclasses.replace(one, **{name: np.full_like(getattr(one, name), value) for name, value in best.items()})
            for one in block
        )
        for block in library.drivers
    )
    return dataclasses.replace(library, drivers=drivers)


def run(
    library: SeasonLibrary, trials: int, out: Collection[Cause], keys: dict[str, Any] | None = None
) -> dict[str, Any]:
    """Results of the demo without some causes, and with some keys changed."""
    changed = {key: value for cause in out for key, value in cause.keys.items()} | (keys or {})
    steps = functools.reduce(lambda year, cause: cause.steps(year) if cause.steps else year, out, YEAR)
    return run_trials(made(changed), range(trials), YEARS, 1, "sampled", without_causes(library, out), steps=steps)


def by_leaf(plan: Plan, mass: Array) -> Array:
    """Boxes an acre of each label at the leaves told and of mature ones, mean over trials: (label, leaf)."""
    table = []
    for column, group in enumerate(plan.groups):
        first = next(block.year_planted for block in plan.blocks if group in block.groups) - 1
        boxes = mass[:, :, column].mean(axis=0) / BUSHEL / (group.money.geometry.planted_area / ACRE)
        table.append([*(boxes[first + leaf] for leaf in LEAVES), boxes[first + MATURE :].mean()])
    return np.array(table)


def fresh(found: dict[str, Any]) -> Array:
    """Fruit packed fresh, (trial, year, label) [kg]."""
    return np.asarray(found["packed_mass"][..., FRESH].sum(axis=-1))


def chain(trials: int) -> list[tuple[str, Array]]:
    """Rows of the chain: what and boxes an acre, (label, leaf)."""
    plan = made({})
    library = build_library(plan, Streams(1), range(trials), YEARS, "sampled")
    rows: list[tuple[str, Array]] = []
    out = [*GROWN, *PACKED]
    found = run(library, trials, out)
    last = by_leaf(plan, found["crop_mass"])
    rows.append(("borne without any of these", last))
    for cause in GROWN:
        out = out[1:]
        found = run(library, trials, out)
        now = by_leaf(plan, found["crop_mass"])
        rows.append((f"- {cause.name}", now - last))
        last = now
    rows.append(("ripe", last))
    now = by_leaf(plan, found["harvested_mass"])
    rows += [("- dropped, or not picked by people", now - last), ("picked", now)]
    last = by_leaf(plan, fresh(found))
    rows.append(("- colour, softening, other", last - now))
    for cause in PACKED:
        out = out[1:]
        found = run(library, trials, out)
        now = by_leaf(plan, fresh(found))
        rows.append((f"- {cause.name}", now - last))
        last = now
    rows.append(("packed fresh", last))
    waste = by_leaf(plan, found["storage_surplus"] + found["storage_loss"])
    rows += [("- store full, shrunk or rotten in store", -waste), ("sold fresh", last - waste)]
    for what, keys in ELSE:
        other = run(library, trials, [], keys)
        rows.append((f"picked: {what}", by_leaf(plan, other["harvested_mass"])))
    return rows


def main() -> None:
    """Run, print and write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=50)
    options = parser.parse_args()
    rows, labels = chain(options.trials), made({}).labels
    text = [
        f"Boxes of 42 lb an acre, mean of {options.trials} futures with all levels known, by leaf; mature: {MATURE} on"
    ]
    for number, label in enumerate(labels):
        cells = [[label, *(str(leaf) for leaf in LEAVES), "mature"]]
        cells += [[what, *(f"{value:,.0f}" for value in boxes[number])] for what, boxes in rows]
        text += ["", *text_columns(cells)]
    (HERE / "table.txt").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))


if __name__ == "__main__":
    main()
