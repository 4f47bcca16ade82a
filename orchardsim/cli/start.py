"""Where the ``orchardsim`` command begins: an interrupt ends it in one line from here on, in imports too."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from typing import Any, NoReturn


def _stop(number: int, frame: Any) -> NoReturn:
    os.write(2, b"orchardsim: stopped; nothing was begun\n")
    os._exit(128 + number)


def hasten() -> None:
    """Spare a command what only a longer program needs; half of a short run is getting ready."""
    if not any(word.startswith("--d") for word in sys.argv):  # --dask, which may be cut short
        # libraries of units and of labelled arrays open it wherever it is installed, for arrays that nobody here has
        sys.modules["dask"] = None  # type: ignore[assignment]
    from orchardsim.core.worker import spare_memory_work

    spare_memory_work()


def start() -> int:
    """Run the command line."""
    signal.signal(signal.SIGINT, _stop)
    hasten()
    from orchardsim.cli.main import main
    from orchardsim.core.pool import copy_this_process

    copy_this_process()

    # The command itself tells of an interrupt. Once it has ended, nothing is left to stop: its exit code stands, and
    # the interpreter's own end, which would set the signal back to sudden death, leaves an ignored one alone.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    code = main()
    if sys.modules.get("dask") is None:  # a client of its cluster would want to say goodbye
        with contextlib.suppress(AttributeError, OSError, ValueError):  # what got lost was told
            sys.stdout.flush()
        # the interpreter would take a third of a second to put away what the system takes back anyway
        os._exit(code)
    return code
