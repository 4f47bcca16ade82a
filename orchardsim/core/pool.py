"""One pool of worker processes for every command, the same on every platform.

Workers are fresh interpreters that import this package alone: the user's own script, notebook or piped program is never
run again in them, so it needs no main guard. They end with their parent, however that ends.
"""

from __future__ import annotations

import collections
import contextlib
import contextvars
import functools
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any, BinaryIO, Final

from orchardsim.core.errors import WorkerError
from orchardsim.core.worker import receive, send

Task = tuple[Callable[..., Any], tuple[Any, ...]]
Answer = tuple[int, bool, Any]
"""A task's number, whether it went well, and its result or fault."""

NO_TASK: Final = -1
WAIT: Final = 0.5
"""Seconds between looks for an interrupt, where waiting itself cannot be interrupted."""

_open_pool: contextvars.ContextVar[WorkerPool | None] = contextvars.ContextVar("open_pool", default=None)


@contextlib.contextmanager
def worker_pool(jobs: int) -> Iterator[WorkerPool]:
    """A pool of so many processes, this one among them; within another one of the same size, that one.

    Parameters
    ----------
    jobs : int
        Processes; with 1 everything is done in this one.
    """
    outer = _open_pool.get()
    if outer is not None and outer.jobs == jobs:
        yield outer
        return
    pool = WorkerPool(jobs)
    token = _open_pool.set(pool)
    try:
        yield pool
    finally:
        _open_pool.reset(token)
        pool.close()


def pool_at_hand() -> WorkerPool:
    """The pool that is open here; where there is none, this process alone."""
    return _open_pool.get() or WorkerPool(1)


class WorkerPool:
    """Processes that share out independent tasks; see :func:`worker_pool`.

    Parameters
    ----------
    jobs : int
        Processes at most. They are started when there is more than one task for them.
    """

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        self._workers: list[_Worker] = []

    def start(self, tasks: int) -> None:
        """Start the workers that so many tasks can use, so that they import while the tasks are prepared."""
        if self.jobs > 1 and tasks > 1 and sys.executable:
            while len(self._workers) < min(self.jobs, tasks) - 1:
                self._workers.append(_Worker())

    def finished(self, tasks: Sequence[Task]) -> Iterator[tuple[int, Any]]:
        """Results of tasks as they finish, with the task's number. This process does its share of them.

        A function that stands in several tasks (the same object, such as one ``functools.partial`` with the big
        arguments in it) is sent to each worker once.

        Parameters
        ----------
        tasks : sequence of (function, arguments)
            Functions of this package, which a worker can import.

        Raises
        ------
        WorkerError
            If a worker is killed from outside.
        """
        self.start(len(tasks))
        if not self._workers or len(tasks) < 2:
            for number, (function, arguments) in enumerate(tasks):
                yield number, function(*arguments)
            return
        waiting = collections.deque(enumerate(tasks))
        answers: queue.Queue[Answer] = queue.Queue()
        pickled = functools.lru_cache(maxsize=None)(_Pickled)
        for worker in self._workers:
            threading.Thread(target=worker.work, args=(tasks[0][0], waiting, answers, pickled), daemon=True).start()
        left = len(tasks)
        try:
            while left:
                number, good, value = _next(waiting, answers)
                if not good:
                    raise value
                left -= 1
                yield number, value
        finally:
            if left:  # stopped half-way: what is under way is of no use to anybody
                waiting.clear()
                self.close()

    def close(self) -> None:
        """End all workers at once; nothing that they hold is needed any more."""
        for worker in self._workers:
            worker.process.kill()
        for worker in self._workers:
            worker.process.wait()
        self._workers.clear()


def _next(waiting: collections.deque[tuple[int, Task]], answers: queue.Queue[Answer]) -> Answer:
    """The next answer: one that has come, else one of this process's own, else one to wait for."""
    with contextlib.suppress(queue.Empty):
        return answers.get_nowait()
    try:
        number, (function, arguments) = waiting.popleft()
    except IndexError:
        while True:
            with contextlib.suppress(queue.Empty):
                return answers.get(timeout=WAIT)
    return number, True, function(*arguments)


class _Pickled:
    """A function, pickled once for all workers."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.number = id(function)
        self.content = pickle.dumps(function, pickle.HIGHEST_PROTOCOL)


class _Worker:
    """One process, and the thread's work of handing it tasks."""

    process: subprocess.Popen[bytes]

    def __init__(self) -> None:
        self._turn = threading.Lock()
        paths = [os.path.abspath(path) for path in sys.path]
        program = f"import sys; sys.path[:] = {paths!r}; from orchardsim.core.worker import serve; serve()"
        # A group of its own: a terminal's Ctrl-C is for the parent alone.
        group: dict[str, Any] = {}
        if sys.platform == "win32":
            group["creationflags"] = subprocess.CREATE_NEW_PROCESS_GROUP
        else:
            group["process_group"] = 0
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, **group
        )

    def work(
        self,
        first: Callable[..., Any],
        waiting: collections.deque[tuple[int, Task]],
        answers: queue.Queue[Answer],
        pickled: Callable[[Callable[..., Any]], _Pickled],
    ) -> None:
        """Hand the worker one waiting task after the other, until there is none or one fails.

        No task is taken before the worker has imported what the ``first`` function needs: until then others get on.
        """
        with self._turn:
            known: set[int] = set()
            number = NO_TASK
            try:
                self._ask(pickled(first), None, known)
                while True:
                    number, (function, arguments) = waiting.popleft()
                    good, value = self._ask(pickled(function), arguments, known)
                    answers.put((number, good, value))
                    if not good:
                        return
            except IndexError:  # nothing waits any more
                with contextlib.suppress(OSError):
                    send(self._stdin, pickle.dumps(("forget",)))
            except BaseException as error:
                answers.put((number, False, error))

    def _ask(self, function: _Pickled, arguments: tuple[Any, ...] | None, known: set[int]) -> tuple[bool, Any]:
        """Answer of the worker to a task; without arguments, that it is ready for the function."""
        try:
            if function.number not in known:
                known.add(function.number)
                send(self._stdin, pickle.dumps(("function", function.number, function.content)))
            if arguments is None:
                send(self._stdin, pickle.dumps(("ready", function.number)))
            else:
                send(self._stdin, pickle.dumps(("task", function.number, pickle.dumps(arguments))))
            answer = receive(self._stdout)
        except OSError:
            answer = None
        if answer is None:
            raise WorkerError(
                f"a worker process was ended from outside (exit status {self.process.wait()}; for want of memory?)"
            )
        good, value = pickle.loads(answer)
        return good, value

    @property
    def _stdin(self) -> BinaryIO:
        assert self.process.stdin is not None
        return self.process.stdin  # type: ignore[return-value]

    @property
    def _stdout(self) -> BinaryIO:
        assert self.process.stdout is not None
        return self.process.stdout  # type: ignore[return-value]
