"""Finished units of work of a run in progress, so that an interrupted run can go on."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError


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
        note = folder / "run.json"
        text = json.dumps(dict(identity), sort_keys=True)
        if resume:
            if not note.is_file():
                raise InputError(f"--resume {folder.parent}", "found no interrupted run in this folder")
            if note.read_text(encoding="utf-8") != text:
                raise InputError(
                    f"--resume {folder.parent}",
                    "the interrupted run had another plan, seed, number of trials or years, or program version; "
                    "repeat its arguments or start anew without --resume",
                )
        else:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(parents=True)
            note.write_text(text, encoding="utf-8")

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
        with unfinished.open("wb") as stream:
            np.savez(stream, allow_pickle=False, **arrays)
        os.replace(unfinished, path)

    def clear(self) -> None:
        """Remove the folder once the whole run is saved elsewhere."""
        shutil.rmtree(self.folder, ignore_errors=True)
