"""Stops a command at any moment: by then every file is whole, and workers and locks end with the process.

An exception in the main thread could get lost in the import of a library, in a callback or in the closing of a file, or
wait for a thread that has no reason to end. So the handler says what is kept, tidies up and ends the process itself.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any, Final

SIGNALS: Final = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
)

NOTHING: Final = "nothing was begun"
NOT_KEPT: Final = "nothing is kept without --out"
ENDED: Final = "the command had ended"

_told: list[Callable[[], str]] = []
_tidied: list[Callable[[], object]] = []
_begun = False
"""Whether any work was begun."""
_late: list[int] | None = None
"""Signals that came while none may break in; None where they may."""


@contextlib.contextmanager
def stopping() -> Iterator[None]:
    """For the time of a command, end the process in one line when it is told to stop."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.signal(number, _stop) for number in SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def kept(words: Callable[[], str], tidy: Callable[[], object] = lambda: None) -> Iterator[None]:
    """For the time of a piece of work, what a stopped command says of it, and what it takes away."""
    global _begun
    _begun = True
    _told.append(words)
    _tidied.append(tidy)
    try:
        yield
    except KeyboardInterrupt as stopped:  # raised by something else than the handler below
        if not stopped.args:
            stopped.args = (words(),)
        raise
    finally:
        _told.pop()
        _tidied.pop()


@contextlib.contextmanager
def unbroken() -> Iterator[None]:
    """For a short piece of work that is done whole or not at all: a signal waits for its end."""
    global _late
    _late = []
    try:
        yield
    finally:
        came, _late = _late, None
        if came:
            _stop(came[0], None)


def _stop(number: int, frame: Any) -> None:
    if _late is not None:
        _late.append(number)
        return
    for each in SIGNALS:
        signal.signal(each, signal.SIG_IGN)
    words = "stopped"
    with contextlib.suppress(Exception):
        words = f"stopped; {_told[-1]() if _told else ENDED if _begun else NOTHING}"
    for tidy in reversed(_tidied):
        with contextlib.suppress(Exception):
            tidy()
    with contextlib.suppress(Exception):  # what was printed so far
        sys.stdout.flush()
    line = f"orchardsim: {words}\n".encode(errors="replace")
    with contextlib.suppress(OSError):
        os.write(2, b"\n" + line if getattr(sys.stderr, "within_line", False) else line)
    os._exit(128 + number)
