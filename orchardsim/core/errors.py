"""The ways a run can stop: wrong input, books of the model that do not balance, a worker that was ended."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

from orchardsim.core.text import visible

LONGEST_LINE: Final = 300
"""Characters of an error's line, the program's name before it included."""
LONGEST_PLACE: Final = 130
LONGEST_NAME: Final = 80
"""Characters beyond which nothing is looked for that comes near a name."""
_PROGRAM: Final = len("orchardsim: ")


class InputError(Exception):
    """Bad input: one clear line, exit code 2.

    Parameters
    ----------
    where : str
        File (and line, key or row) in which the fault was found.
    problem : str
        What was found and what is allowed. Together they make one line of at most :data:`LONGEST_LINE` characters,
        without signs that would steer a terminal.
    """

    def __init__(self, where: str, problem: str) -> None:
        self.where = visible(where, LONGEST_PLACE)
        room = LONGEST_LINE - _PROGRAM - len(self.where) - 2
        self.problem = visible(" ".join(problem.split()), room)
        super().__init__(f"{self.where}: {self.problem}")

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str]]:
        """Worker processes hand their errors on."""
        return type(self), (self.where, self.problem)


class IdentityError(Exception):
    """A budget of the simulation does not close; the run is stopped because its numbers cannot be trusted."""


class WorkerError(Exception):
    """A worker process was ended from outside: killed, or for want of memory."""


def nearest_names(found: str, allowed: Iterable[str]) -> str:
    """Say which allowed names come nearest to a name that was not found.

    Examples
    --------
    >>> nearest_names("row_spaceing", ["row_spacing", "length", "name"])
    "did you mean 'row_spacing'?"
    >>> nearest_names("qqq", ["row_spacing", "name"])
    "allowed: 'name', 'row_spacing'"
    """
    names = sorted(set(allowed))
    if len(found) > LONGEST_NAME:
        return "allowed: " + ", ".join(repr(name) for name in names)
    folded = {name.casefold(): name for name in names}
    matches = difflib.get_close_matches(found.casefold(), folded, n=3, cutoff=0.55)
    if matches:
        return "did you mean " + " or ".join(repr(folded[match]) for match in matches) + "?"
    return "allowed: " + ", ".join(repr(name) for name in names)
