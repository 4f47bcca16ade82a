"""One pool of worker processes for every command, the same on every platform.

Workers are fresh interpreters that import this package alone: the user's own script, notebook or piped program is never
run again in them, so it needs no main guard. Only the command line, whose process is nobody else's, has them copied
from itself (fork) where the system is Linux: they start at once, with all that is imported, read and compiled. They end
with their parent, however that ends.
"""

from __future__ import annotations

import collections
import contextlib
import contextvars
import functools
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import Any, BinaryIO, Final

from orchardsim.core.errors import WorkerError
from orchardsim.core.worker import receive, send, serve_pipes

Task = tuple[Callable[..., Any], tuple[Any, ...]]
Answer = tuple[int, bool, Any]
"""A task's number, whether it went well, and its result or fault."""

NO_TASK: Final = -1
WAIT: Final = 0.5
"""Seconds between looks for an interrupt, where waiting itself cannot be interrupted."""

_processes: dict[str, bool] = {"ours": False, "compiled": False}
"""Whether this process is the command line's own, so that copies of it are safe: no stranger's threads or devices; and
whether it has done a task, so that what tasks compile is made."""
_open_pool: contextvars.ContextVar[WorkerPool | None] = contextvars.ContextVar("open_pool", default=None)


def copy_this_process() -> None:
    """Let workers be copies of this process, which runs the command line and nothing else."""
    _processes["ours"] = sys.platform == "linux"


@contextlib.contextmanager
def worker_pool(jobs: int) -> Iterator[WorkerPool]:
    """A pool of so many processes, this one among them; within another one of the same size, that one.

    ``jobs``: processes; with 1 everything is done in this one.
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

    ``jobs``: processes at most. They are started when there is more than one task for them.
    """

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        self._workers: list[_Worker] = []

    def start(self, tasks: int) -> None:
        """Start the workers that so many tasks can use, so that they import while the tasks are prepared.

        Copies of this process have nothing to import and are better made late.
        """
        if not _copies():
            self._start(tasks)

    def _start(self, tasks: int) -> None:
        if self.jobs > 1 and tasks > 1 and sys.executable:
            while len(self._workers) < min(self.jobs, tasks) - 1:
                streams = [stream for worker in self._workers for stream in (worker.incoming, worker.outgoing)]
                self._workers.append(_Worker(_Copy(streams) if _copies() else _Fresh()))

    def finished(
        self, tasks: Sequence[Task], meanwhile: Callable[[], object] = lambda: None
    ) -> Iterator[tuple[int, Any]]:
        """Results of tasks as they finish, with the task's number. This process does its share of them.

        A function that stands in several tasks (the same object, such as one ``functools.partial`` with the big
        arguments in it) is sent to each worker once. Raises WorkerError if a worker is killed from outside.

        Parameters
        ----------
        tasks : sequence of (function, arguments)
            Functions of this package, which a worker can import.
        meanwhile : callable, optional
            What this process has to do before the results can be used: done first, while others work.
        """
        waiting = collections.deque(enumerate(tasks))
        if self.jobs > 1 and len(tasks) > 1 and _to_compile():  # once for all
            number, (function, arguments) = waiting.popleft()
            yield number, function(*arguments)
            _processes["compiled"] = True
        self._start(len(waiting))
        if not self._workers or len(waiting) < 2:
            for number, (function, arguments) in waiting:
                yield number, function(*arguments)
            return
        answers: queue.Queue[Answer] = queue.Queue()
        pickled = functools.lru_cache(maxsize=None)(_Pickled)
        left = len(waiting)  # before the workers take any
        for worker in self._workers:
            threading.Thread(target=worker.work, args=(tasks[0][0], waiting, answers, pickled), daemon=True).start()
        try:
            meanwhile()
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


def _copies() -> bool:
    """Whether a worker started now is a copy; not beside other threads: a copy would find their locks taken."""
    return _processes["ours"] and threading.active_count() == 1


def _to_compile() -> bool:
    """Whether one task should come first, so that workers need not compile what it compiles."""
    compiled = sys.modules.get("orchardsim.core.compiled")  # where it is missing, tasks compile nothing
    return compiled is not None and not _processes["compiled"] and bool(compiled.to_compile(_copies()))


class _Fresh:
    """A worker process that is an interpreter of its own."""

    def __init__(self) -> None:
        paths = [os.path.abspath(path) for path in sys.path]
        program = f"import sys; sys.path[:] = {paths!r}; from orchardsim.core.worker import serve; serve()"
        # A group of its own: a terminal's Ctrl-C is for the parent alone.
        group: dict[str, Any] = {}
        if sys.platform == "win32":
            group["creationflags"] = subprocess.CREATE_NEW_PROCESS_GROUP
        else:
            group["process_group"] = 0
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, **group
        )
        assert process.stdin is not None and process.stdout is not None
        self.pid, self.kill, self.wait = process.pid, process.kill, process.wait
        self.outgoing: BinaryIO = process.stdin  # type: ignore[assignment]
        self.incoming: BinaryIO = process.stdout  # type: ignore[assignment]


class _Copy:
    """A worker process that is a copy of this one.

    ``others``: this process's ends of the pipes to other workers, which the copy has no business with.
    """

    def __init__(self, others: Sequence[BinaryIO]) -> None:
        tasks, answers = os.pipe(), os.pipe()
        with warnings.catch_warnings():  # threads of a library for linear algebra, which looks after its copies itself
            warnings.simplefilter("ignore", DeprecationWarning)
            self.pid = os.fork()
        if self.pid == 0:
            try:
                for each in (signal.SIGTERM, signal.SIGHUP):
                    signal.signal(each, signal.SIG_DFL)
                os.setpgid(0, 0)
                _processes["ours"] = False
                _open_pool.set(None)
                for stream in others:
                    os.close(stream.fileno())
                os.close(tasks[1])
                os.close(answers[0])
                serve_pipes(os.fdopen(tasks[0], "rb"), os.fdopen(answers[1], "wb"))
            finally:
                os._exit(1)
        os.close(tasks[0])
        os.close(answers[1])
        self.outgoing: BinaryIO = os.fdopen(tasks[1], "wb")
        self.incoming: BinaryIO = os.fdopen(answers[0], "rb")
        self._ended: int | None = None
        self._asking = threading.Lock()

    def kill(self) -> None:
        """End it at once."""
        if self._ended is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)

    def wait(self) -> int:
        """Its exit status, once it has ended."""
        with self._asking:  # the system tells it only once
            if self._ended is None:
                self._ended = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
            return self._ended


class _Worker:
    """One process, and the thread's work of handing it tasks."""

    def __init__(self, process: _Fresh | _Copy) -> None:
        self.process, self.incoming, self.outgoing = process, process.incoming, process.outgoing
        self._turn = threading.Lock()

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
                    send(self.outgoing, pickle.dumps(("forget",)))
            except BaseException as error:
                answers.put((number, False, error))

    def _ask(self, function: _Pickled, arguments: tuple[Any, ...] | None, known: set[int]) -> tuple[bool, Any]:
        """Answer of the worker to a task; without arguments, that it is ready for the function."""
        try:
            if function.number not in known:
                known.add(function.number)
                send(self.outgoing, pickle.dumps(("function", function.number, function.content)))
            if arguments is None:
                send(self.outgoing, pickle.dumps(("ready", function.number)))
            else:
                send(self.outgoing, pickle.dumps(("task", function.number, pickle.dumps(arguments))))
            answer = receive(self.incoming)
        except OSError:
            answer = None
        if answer is None:
            raise WorkerError(
                f"a worker process was ended from outside (exit status {self.process.wait()}; for want of memory?)"
            )
        good, value = pickle.loads(answer)
        return good, value
