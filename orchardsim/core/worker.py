"""The worker's side of the pool: does the tasks that come in by a pipe, and ends with its parent."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import os
import pickle
import queue
import signal
import struct
import sys
import threading
from collections.abc import Callable
from typing import Any, BinaryIO, Final

HEAD: Final = struct.Struct("!Q")
"""Length of a message [byte], which goes before it."""
_PR_SET_PDEATHSIG: Final = 1
"""prctl(2), option by which a process gets a signal when its parent ends."""


def send(stream: BinaryIO, message: bytes) -> None:
    """Write one message."""
    stream.write(HEAD.pack(len(message)))
    stream.write(message)
    stream.flush()


def receive(stream: BinaryIO) -> bytes | None:
    """Read one message; None where the other side has gone."""
    head = stream.read(HEAD.size)
    if len(head) < HEAD.size:
        return None
    (length,) = HEAD.unpack(head)
    message = stream.read(length)
    return message if len(message) == length else None


TRIM_THRESHOLD, TOP_PAD, MMAP_THRESHOLD = -1, -2, -3
"""Numbers of three settings of glibc's ``mallopt`` (malloc.h)."""


def spare_memory_work() -> None:
    """Look for rubbish seldom and keep memory, in a process of the program's own.

    What is imported stays, and half of the work of looking is that. Memory let go of is kept for the next array of its
    size, where the C library can be told so (glibc): a run asks for the same sizes every year, and the system clears
    each page that it hands out anew.
    """
    gc.set_threshold(50_000, 20, 20)
    with contextlib.suppress(AttributeError, OSError, TypeError):
        tell = ctypes.CDLL(None).mallopt
        tell(TRIM_THRESHOLD, 1 << 29)
        tell(TOP_PAD, 1 << 28)
        tell(MMAP_THRESHOLD, 1 << 25)


def serve() -> None:
    """Do what comes in by standard input, as a fresh interpreter; see :func:`serve_pipes`."""
    spare_memory_work()
    serve_pipes(os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb"))


def serve_pipes(incoming: BinaryIO, outgoing: BinaryIO) -> None:
    """Do tasks until the pipe ends.

    Messages are pickled: ``("function", number, bytes)`` keeps a function, ``("ready", number)`` imports what it needs,
    ``("task", number, arguments)`` calls it and ``("forget",)`` drops all of them. The second and third are answered by
    ``(True, result)`` or ``(False, exception)``.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _end_with_parent()
    # What a library prints must not come between the answers.
    with open(os.devnull, "rb") as nothing:
        os.dup2(nothing.fileno(), 0)
    os.dup2(2, 1)
    inbox: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(incoming, inbox), daemon=True).start()
    functions: dict[int, Callable[..., Any]] = {}
    while True:
        kind, *content = pickle.loads(inbox.get())
        if kind == "forget":
            functions.clear()
        elif kind == "function":
            functions[content[0]] = content[1]
        elif kind == "ready":
            send(outgoing, _answer(functions, content[0], None))
        else:
            send(outgoing, _answer(functions, *content))


def _answer(functions: dict[int, Any], number: int, arguments: bytes | None) -> bytes:
    try:
        if isinstance(functions[number], bytes):  # unpickled here, where a fault has an answer to go into
            functions[number] = pickle.loads(functions[number])
        if arguments is None:
            return pickle.dumps((True, None))
        return pickle.dumps((True, functions[number](*pickle.loads(arguments))), pickle.HIGHEST_PROTOCOL)
    except BaseException as error:
        return pickle.dumps((False, error))


def _listen(incoming: BinaryIO, inbox: queue.SimpleQueue[bytes]) -> None:
    """Take messages in; when the parent has gone, end at once, whatever is being done."""
    while (message := receive(incoming)) is not None:
        inbox.put(message)
    os._exit(0)


def _end_with_parent() -> None:
    """Ask Linux to end this process with its parent, even where a stranger's copy keeps the pipe open."""
    if sys.platform != "linux":
        return
    try:
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0)
    except (AttributeError, OSError):
        return  # another C library; the end of the pipe still ends the worker
