"""Finished units of work of a run in progress, so that an interrupted run can go on."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError

NOTE: Final = "run.json"
"""File that says of which run the units are."""
ARGUMENTS: Final = {
    "trials": "--trials {}",
    "years": "--years {}",
    "seed": "--seed {}",
    "seasons": "--seasons {}",
    "version": "version {} of the program",
    "single_trees": "single trees of trials {}",
    "process_seeds": "process seeds {}",
}
"""What a run is told apart by, besides its plan, in the words of the command line."""


class PartialRun:
    """A folder with one file per finished unit and a note of what is being run.

    Parameters
    ----------
    folder : Path
        Made if missing.
    identity : mapping
        What the run is (plan hash, seed, years, ...): units of another run are refused.
    resume : bool
        Go on with what is there; otherwise what is there is cleared.
    """

    def __init__(self, folder: Path, identity: Mapping[str, Any], *, resume: bool) -> None:
        self.folder = folder
        note = folder / NOTE
        if resume:
            _check_same(folder, identity)
            return
        try:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
            note.write_text(json.dumps(dict(identity), sort_keys=True), encoding="utf-8")
        except OSError as error:
            raise InputError(
                str(folder.parent), f"cannot be written: {error.strerror or error}; name another folder with --out"
            ) from None

    def path(self, trials: range) -> Path:
        """File of a unit of work."""
        return self.folder / f"trials-{trials.start:07d}-{trials.stop:07d}.npz"

    def load(self, trials: range) -> dict[str, NDArray[Any]] | None:
        """Arrays of a unit finished earlier, or None."""
        path = self.path(trials)
        if not path.is_file():
            return None
        with np.load(path, allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}

    def save(self, trials: range, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Write a finished unit, whole or not at all."""
        path = self.path(trials)
        unfinished = path.with_suffix(".unfinished")
        try:
            with unfinished.open("wb") as stream:
                np.savez(stream, allow_pickle=False, **arrays)
            os.replace(unfinished, path)
        except OSError as error:
            raise InputError(
                str(self.folder.parent), f"finished trials cannot be kept there: {error.strerror or error}"
            ) from None

    def clear(self) -> None:
        """Remove the folder once the whole run is saved elsewhere."""
        shutil.rmtree(self.folder, ignore_errors=True)


def kept_trials(folder: Path) -> tuple[int, int] | None:
    """Trials finished and trials wanted of the interrupted run in a folder; None where there is none."""
    try:
        wanted = int(json.loads((folder / NOTE).read_text(encoding="utf-8"))["trials"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    bounds = [path.stem.split("-")[1:] for path in folder.glob("trials-*-*.npz")]
    return sum(int(stop) - int(start) for start, stop in bounds), wanted


def _check_same(folder: Path, identity: Mapping[str, Any]) -> None:
    """Stop unless the interrupted run in a folder is the run that is asked for; names the first difference."""
    where = f"--resume {folder.parent}"
    if not (folder / NOTE).is_file():
        raise InputError(where, "found no interrupted run in this folder")
    try:
        stored = dict(json.loads((folder / NOTE).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        raise InputError(where, f"its note {NOTE} cannot be read; start anew without --resume") from None
    asked = json.loads(json.dumps(dict(identity)))
    for key in [*ARGUMENTS, "plan"]:
        before, now = stored.get(key), asked.get(key)
        if before == now:
            continue
        if key == "plan":
            problem = "the plan or its weather record holds other numbers than in the interrupted run"
        else:
            words = ARGUMENTS[key]
            problem = f"the interrupted run had {words.format(before)}, this one has {words.format(now)}"
        raise InputError(where, f"{problem}; repeat the same run, or start anew without --resume")
