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

    return main()
