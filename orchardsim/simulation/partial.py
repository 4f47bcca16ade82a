"""Finished trials of a run in progress, kept as files: little stands in memory, and a stopped run goes on."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.results.folder import WORKROOM, OutputFolder

Arrays = dict[str, NDArray[Any]]

ARGUMENTS: Final = {
    "trials": "--trials {}",
    "years": "--years {}",
    "seed": "--seed {}",
    "seasons": "--seasons {}",
    "version": "version {} of the program",
    "single_trees": "single trees of trials {}",
    "process_seeds": "process seeds {}",
    "second_opinion": "--second-opinion {}",
}
"""What a run is told apart by, besides its plan, in the words of the command line."""


def run_differs(before: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    """The first difference of two runs in words; None for the same run."""
    for key in [*ARGUMENTS, "plan"]:
        if before.get(key) == now.get(key):
            continue
        if key == "plan":
            return "the plan or its weather record holds other numbers than in the interrupted run"
        words = ARGUMENTS[key]
        return f"the interrupted run had {words.format(before.get(key))}, this one has {words.format(now.get(key))}"
    return None


class PartialRun:
    """Trials of one run that are finished, one file for each range of them.

    Parameters
    ----------
    folder : OutputFolder
        Open.
    trials : int
        Of the whole run.
    prefix : str
        Name of this run's files, where a command makes several runs.
    """

    def __init__(self, folder: OutputFolder, trials: int, prefix: str = "trials") -> None:
        self.folder = folder
        self.trials = trials
        self.prefix = prefix
        self._ranges: list[range] = []
        """Kept ranges of trials, in trial order."""
        for name in folder.unfinished(f"{prefix}-"):
            first, last = name.removesuffix(".npz").rsplit("-", 2)[1:]
            part = range(int(first), int(last) + 1)
            if folder.holds(name) and self._reads(part):
                self._ranges.append(part)
            else:
                folder.say(f"trials {part.start} to {part.stop - 1} are damaged and will be simulated again")
                folder.drop(name)

    @property
    def kept(self) -> int:
        """Number of finished trials."""
        return sum(len(part) for part in self._ranges)

    def missing(self, size: int) -> list[range]:
        """Ranges of at most so many trials that are not there yet."""
        gaps, start = [], 0
        for part in [*self._ranges, range(self.trials, self.trials)]:
            gaps += [range(first, min(first + size, part.start)) for first in range(start, part.start, size)]
            start = part.stop
        return gaps

    def save(self, part: range, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep a finished range.

        Raises
        ------
        InputError
            If the disk is full.
        """

        def write(path: Any) -> None:
            with path.open("wb") as stream:
                np.savez(stream, allow_pickle=False, **arrays)

        self.folder.write(self._name(part), write)
        self._ranges = sorted([*self._ranges, part], key=lambda each: each.start)

    def load(self, part: range) -> Arrays:
        """Arrays of a kept range; single trees ("trial/block/name") left out."""
        with np.load(self.folder.place / self._name(part), allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files if "/" not in name}

    def single_trees(self) -> Arrays:
        """Single trees of all ranges."""
        trees: Arrays = {}
        for part in self._ranges:
            with np.load(self.folder.place / self._name(part), allow_pickle=False) as stored:
                trees |= {name: stored[name] for name in stored.files if "/" in name}
        return trees

    def pieces(self, size: int) -> Iterator[tuple[range, Arrays]]:
        """All trials in order, so many at a time, whatever the ranges were."""
        held: Arrays = {}
        start = 0
        for part in self._ranges:
            arrays = self.load(part)
            held = {name: np.concatenate([held[name], each]) for name, each in arrays.items()} if held else arrays
            while part.stop - start >= size or (part.stop == self.trials and start < self.trials):
                stop = min(start + size, self.trials)
                yield range(start, stop), {name: each[: stop - start] for name, each in held.items()}
                held = {name: each[stop - start :] for name, each in held.items()}
                start = stop

    def _name(self, part: range) -> str:
        return f"{WORKROOM}/{self.prefix}-{part.start:07d}-{part.stop - 1:07d}.npz"

    def _reads(self, part: range) -> bool:
        try:
            return bool(self.load(part))
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return False
