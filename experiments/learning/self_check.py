"""Whether learning from trees is calibrated: rows whose levels are known are learned from like measured ones."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orchardsim.analysis.learning import ROWS, learn, levels_of_parts, table_of
from orchardsim.analysis.sights import Seen
from orchardsim.plan import Plan
from orchardsim.simulation.replay import Replay

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """Simulation-based calibration (Talts et al. 2018, arXiv 1804.06788).

    Attributes
    ----------
    names : tuple of str
        Of the levels.
    ranks : array, (row, level) [1]
        Share of the draws below the true level: uniform where learning is calibrated.
    spreads : array, (row, level)
        Standard deviation of the draws over that of the level before.
    errors : array, (row, level)
        Mean of the draws less the true level, in the same unit.
    conflicts : int
        Rows in which a conflict was told, though there was none.
    """

    names: tuple[str, ...]
    ranks: Array
    spreads: Array
    errors: Array
    conflicts: int

    def covered(self, share: float = 0.9) -> Array:
        """Share of the rows whose true level lies in the middle ``share`` of the draws, (level,)."""
        side = (1 - share) / 2
        return ((self.ranks > side) & (self.ranks < 1 - side)).mean(axis=0)


def calibrate(
    plan: Plan, seen: Seen, rows: int, *, seed: int = 1, learned_from: int = ROWS, draws: int = 400
) -> Calibration:
    """Learn from simulated rows, each measured as ``seen`` was, with its errors.

    Parameters
    ----------
    seen : Seen
        Which trees are measured, when, and with what error; its values are not used.
    rows : int
        Rows whose true levels are known; none of them is among those learned from.
    """
    replay = Replay(plan, seen.sights, seed)
    table = table_of(replay, range(learned_from + rows))
    known = table.rows(slice(0, learned_from))
    rng = np.random.default_rng(seed)
    noise = rng.multivariate_normal(np.zeros(len(seen.values)), seen.errors, size=rows)
    ranks, spreads, errors, conflicts = [], [], [], 0
    for number in range(rows):
        truth = table.normals[learned_from + number]
        measured = dataclasses.replace(seen, values=table.values[learned_from + number] + noise[number])
        answer = learn(replay.plan, measured, known, rng, count=draws)
        found = levels_of_parts(replay.plan, answer.parts, answer.found.draws)
        ranks.append((found < truth).mean(axis=0))
        spreads.append(found.std(axis=0))
        errors.append(found.mean(axis=0) - truth)
        conflicts += bool(answer.conflicts)
    return Calibration(table.names, np.array(ranks), np.array(spreads), np.array(errors), conflicts)
