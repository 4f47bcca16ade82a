"""Where the ``orchardsim`` command begins: an interrupt ends it in one line from here on, in imports too."""

from __future__ import annotations

import os
import signal
from typing import Any, NoReturn


def _stop(number: int, frame: Any) -> NoReturn:
    os.write(2, b"orchardsim: stopped; nothing was begun\n")
    os._exit(128 + number)


def start() -> int:
    """Run the command line."""
    signal.signal(signal.SIGINT, _stop)
    from orchardsim.cli.main import main

    # The command itself tells of an interrupt. Once it has ended, nothing is left to stop: its exit code stands, and
    # the interpreter's own end, which would set the signal back to sudden death, leaves an ignored one alone.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    return main()
