"""Keeps one process ready that simulates, gives it one order at a time, and ends it when it is told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import time
from asyncio.subprocess import PIPE, Process
from collections.abc import Mapping
from typing import Any, Final

from orchardsim.web.orders import STOP

LONGEST_NEWS: Final = 1 << 24
"""Bytes of one line from the process."""
STOP_WAIT: Final = 4.0
"""Seconds that the process may take to give an order up; a range of trials takes about one."""


class Bench:
    """The place where the work is done.

    Attributes
    ----------
    state : dict
        News of the order in hand, or of the last one: ``kind``, ``name``, ``number``, ``progress`` and ``total``,
        ``first`` (an answer so far), and at its end ``done``, ``failed`` or ``stopped``.
    """

    def __init__(self) -> None:
        self.state: dict[str, Any] = {}
        self._process: Process | None = None
        self._listener: asyncio.Task[None] | None = None
        self._closed = False
        self._began = 0.0
        self._idle = asyncio.Event()
        """Set when the process has ended with the order, one way or another."""
        self._lock = asyncio.Lock()

    @property
    def busy(self) -> bool:
        """Whether an order is in hand."""
        return bool(self.state) and not any(end in self.state for end in ("done", "failed", "stopped"))

    @property
    def seconds_left(self) -> float | None:
        """Time that the rest of the order takes if it goes on as it went; None where nothing is done yet."""
        done, total = self.state.get("progress", 0), self.state.get("total", 0)
        return (time.monotonic() - self._began) * (total - done) / done if done else None

    async def open(self) -> None:
        """Start the process; it compiles the trees while the user reads."""
        async with self._lock:
            if self._process is not None or self._closed:
                return
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "orchardsim.web.orders", stdin=PIPE, stdout=PIPE, limit=LONGEST_NEWS
            )
            self._listener = asyncio.create_task(self._listen(self._process))

    async def order(self, order: Mapping[str, Any]) -> None:
        """Hand an order over; only where none is in hand."""
        self.state = {"kind": order["kind"], "name": order["name"], "number": order["number"]}
        self._idle.clear()
        self._began = time.monotonic()
        await self.open()
        assert self._process is not None and self._process.stdin is not None
        self._process.stdin.write(json.dumps(order).encode() + b"\n")
        await self._process.stdin.drain()

    async def stop(self) -> None:
        """Give up the order in hand; where that takes long, its process is ended, and the next one warms up.

        The order stays in hand until its caller has tidied up and says in ``state`` that it is ``stopped``.
        """
        if self.busy and self._process is not None and self._process.stdin is not None:
            try:
                self._process.stdin.write(f"{STOP}\n".encode())
                await asyncio.wait_for(self._idle.wait(), STOP_WAIT)
            except (TimeoutError, OSError):
                await self._end()
                await self.open()

    async def close(self) -> None:
        """End for good."""
        self._closed = True
        await self._end()

    async def _end(self) -> None:
        process, self._process = self._process, None
        listener, self._listener = self._listener, None
        if listener is not None:
            listener.cancel()
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()

    async def _listen(self, process: Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            news = json.loads(line)
            if "idle" in news:
                self._idle.set()
            elif self.busy:
                self.state.update(news)
        if self._process is process:
            self._process = None
            if self.busy:
                self.state["failed"] = "the process that simulates was ended from outside; run it again"
