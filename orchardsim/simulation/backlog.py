"""What a short crew leaves undone in a block: hours that the next year inherits, and the trees that nobody came to."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.handover import Reach

Array = NDArray[np.float64]

CARRIED: Final = {"support_building": 1.0, "dormant_pruning": 0.5, "training": 0.5}
"""Share of the hours left undone that the next year inherits; the rest, and all of other tasks, is dropped. A support
has to be built some day. A tree passed over for a winter asks for half as much again in the next (assumption): much of
what was not cut or tied is cut out with the wood that grew on it. Hours inherited and left undone again are dropped."""
TREE_TASKS: Final = ("dormant_pruning", "training", "summer_pruning")
"""Tasks whose undone share is known tree by tree."""


def trees_reached(done: Array, own: Array, inherited: Array, behind: Array) -> Array:
    """Share of the trees that a crew reaches, the trees passed over last year first [1].

    Parameters
    ----------
    done : array [hour]
        Hours worked.
    own : array [hour]
        That the year's own work asks for, alike on all trees.
    inherited : array [hour]
        Of last year, on the trees passed over then.
    behind : array [1]
        Share of the trees passed over then.

    Examples
    --------
    A fifth of the trees, passed over last year, ask for half as much again: 100 + 10 hours in all. 30 hours do that
    fifth; 80 hours leave 30 of 100.

    >>> one = np.ones(1)
    >>> [round(float(trees_reached(hours * one, 100 * one, 10 * one, 0.2 * one)[0]), 3) for hours in (0, 30, 80, 110)]
    [0.0, 0.2, 0.7, 1.0]
    """
    first = own * behind + inherited
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):  # own work next to none: all are reached
        within = behind * done / first
        beyond = behind + (done - first) / own
    share = np.where(done < first, within, np.where(own > 0, beyond, 1.0))
    # the last minute of a year's work may be lost to rounding
    return np.where(done >= (own + inherited) * (1 - 1e-9), 1.0, np.clip(share, 0, 1))


class Backlog:
    """Work of one block by task; arrays (trial, group).

    Attributes
    ----------
    carried : dict from task to array [hour]
        That this year inherits; after :meth:`settle`, that the next year does.
    reached : dict from task to array [1]
        Share of the trees that were done in the last year settled.
    start : dict from task to array [1]
        Place in the walk at which the year's work began; crews begin where they stopped a year ago.
    """

    def __init__(self, trials: int, groups: int) -> None:
        shape = (trials, groups)
        self.carried = {task: np.zeros(shape) for task in CARRIED}
        self.reached = {task: np.ones(shape) for task in TREE_TASKS}
        self.start = {task: np.zeros(shape) for task in TREE_TASKS}
        self._own = {task: np.zeros(shape) for task in (*CARRIED, *TREE_TASKS)}
        self._built = np.zeros(shape)

    def ask(self, task: str, own: Array) -> Array:
        """Hours to ask of the crews this year: the year's own and those inherited."""
        self._own[task] = np.asarray(own, dtype=float)
        return self._own[task] + self.carried.get(task, 0.0)

    def settle(self, task: str, done: Array) -> Reach | None:
        """Book the hours that were done; returns which trees were reached, None where all were (or are not known)."""
        own, inherited = self._own[task], self.carried.get(task, np.zeros_like(done))
        left = np.maximum(own + inherited - done, 0.0)
        left[left <= 1e-9 * (own + inherited)] = 0.0
        if task == "support_building":
            self._built += done
            self.carried[task] = left
            return None
        behind = 1 - self.reached[task]
        if not left.any():
            self.reached[task] = np.ones_like(done)
            self.start[task] = np.zeros_like(done)
            if task in CARRIED:
                self.carried[task] = np.zeros_like(done)
            return None
        # a crew that came round begins anew, whatever befell the other trials
        self.start[task] = np.where(left > 0, (self.start[task] + 1 - behind) % 1.0, 0.0)
        self.reached[task] = trees_reached(done, own, inherited, behind)
        if task in CARRIED:
            with np.errstate(invalid="ignore", divide="ignore"):
                undone_own = np.where(left > 0, left * own / (own + inherited), 0.0)
            self.carried[task] = CARRIED[task] * undone_own
        return Reach(self.reached[task], self.start[task])

    def supported(self, done: Array) -> Array:
        """Share of the trees whose support stands by now, of those due; ``done``: hours worked on it this year."""
        total = self._built + self._own["support_building"] + self.carried["support_building"]
        return np.where(total > 0, (self._built + done) / np.where(total > 0, total, 1.0), 1.0)

    def drop(self) -> None:
        """The block is gone, and what waited there with it."""
        for hours in self.carried.values():
            hours[...] = 0.0
