"""Workers do tasks in any program that starts them, tell what went wrong, and end with their parent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from orchardsim.core.calendar import date_text
from orchardsim.core.errors import InputError, WorkerError, nearest_names
from orchardsim.core.pool import worker_pool
from orchardsim.plan import load_plan

ROOT = Path(__file__).parents[2]
PROGRAM = """
import orchardsim
plan = orchardsim.load_plan("configs/two_stages.toml")
results = orchardsim.simulate(plan, trials=6, years=6, seed=1, jobs=2)
print("trials", results.sizes["trial"])
"""


def test_results_do_not_depend_on_the_number_of_workers():
    tasks = [(date_text, (float(day), 40.0)) for day in range(0, 360, 40)]
    found = []
    for jobs in (1, 2, 3):
        with worker_pool(jobs) as pool:
            found.append(dict(pool.finished(tasks)))
            assert dict(pool.finished(tasks[:2])) == {number: found[0][number] for number in (0, 1)}
    assert found[0] == found[1] == found[2] and len(found[0]) == len(tasks)


def test_nothing_gets_lost_where_a_worker_is_done_before_this_process_looks(monkeypatch):
    tasks = [(date_text, (float(day), 40.0)) for day in range(9)]
    with worker_pool(2) as pool:
        wanted = dict(pool.finished(tasks))
        monkeypatch.setattr("threading.Thread.start", lambda thread: thread.run())
        assert dict(pool.finished(tasks)) == wanted


def test_a_pool_within_a_pool_is_the_same():
    with worker_pool(2) as outer, worker_pool(2) as inner, worker_pool(1) as alone:
        assert inner is outer and alone is not outer


def test_faults_come_back_as_they_were_raised():
    with worker_pool(2) as pool:
        with pytest.raises(TypeError):
            dict(pool.finished([(nearest_names, ()), (nearest_names, ("a", ("a",)))]))
        with pytest.raises(InputError, match="no_such"):
            dict(pool.finished([(load_plan, ("no_such_1.toml",)), (load_plan, ("no_such_2.toml",))]))
        assert len(dict(pool.finished([(nearest_names, ("a", ("a",)))] * 3))) == 3  # and the pool goes on


def test_a_worker_that_is_killed_is_told():
    with worker_pool(2) as pool:
        pool.start(2)
        pool._workers[0].process.kill()
        with pytest.raises(WorkerError, match="ended from outside"):
            list(pool.finished([(time.sleep, (0.2,))] * 20))
        assert len(list(pool.finished([(abs, (-1,)), (abs, (-2,))]))) == 2


@pytest.mark.slow
@pytest.mark.parametrize("way", ["pipe", "script", "function of a notebook"])
def test_a_program_needs_no_main_guard(way, tmp_path):
    script = tmp_path / "script.py"
    script.write_text(PROGRAM, encoding="utf-8")
    words = {
        "script": [sys.executable, str(script)],
        "pipe": [sys.executable, "-"],
        "function of a notebook": [sys.executable, "-c", f"exec(compile({PROGRAM!r}, '<cell 1>', 'exec'), {{}})"],
    }[way]
    done = subprocess.run(
        words, input=PROGRAM if way == "pipe" else None, cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == "trials 6\n"


COPIES = "from orchardsim.core.pool import copy_this_process; copy_this_process()\n"
"""How the command line begins."""


@pytest.mark.parametrize("begin", ["", COPIES])
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_their_parent(number, begin):
    program = begin + (
        "import time\nfrom orchardsim.core.pool import worker_pool\n"
        "with worker_pool(4) as pool:\n"
        "    pool._start(4)\n"
        "    print(*(worker.process.pid for worker in pool._workers), flush=True)\n"
        "    list(pool.finished([(time.sleep, (600,))] * 4))\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    workers = [int(word) for word in parent.stdout.readline().split()]
    assert len(workers) == 3 and all(_lives(worker) for worker in workers)
    time.sleep(0.5)
    parent.send_signal(number)
    parent.wait()
    parent.stdout.close()
    until = time.monotonic() + 20  # of a busy machine; it takes milliseconds
    while time.monotonic() < until and any(_lives(worker) for worker in workers):
        time.sleep(0.05)
    assert not any(_lives(worker) for worker in workers)


COPIED = """
import os, threading, time
from orchardsim.core.calendar import date_text
from orchardsim.core.errors import WorkerError
from orchardsim.core.pool import worker_pool
tasks = [(date_text, (float(day), 40.0)) for day in range(0, 360, 40)]
with worker_pool(3) as pool:
    found = dict(pool.finished(tasks))
    assert found == {number: date_text(*words) for number, (_, words) in enumerate(tasks)}
    assert [type(worker.process).__name__ for worker in pool._workers] == ["_Copy"] * 2
    assert dict(pool.finished(tasks[:2])) == {number: found[number] for number in (0, 1)}
    pool._workers[0].process.kill()
    try:
        list(pool.finished([(time.sleep, (0.05,))] * 30))
    except WorkerError as error:
        print(str(error)[:33])
held = threading.Event()
threading.Thread(target=held.wait).start()
with worker_pool(2) as pool:
    assert len(dict(pool.finished([(os.getpid, ())] * 2))) == 2
    print(*(type(worker.process).__name__ for worker in pool._workers))
held.set()
try:
    os.waitpid(-1, os.WNOHANG)
except ChildProcessError:
    print("none left")
"""


def test_copies_of_the_command_line_work_as_fresh_workers_do():
    done = subprocess.run(
        [sys.executable, "-W", "error::DeprecationWarning", "-c", COPIES + COPIED],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == ["a worker process was ended from o", "_Fresh", "none left"]


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    try:  # an ended process that nobody has asked after yet is no longer alive
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return sys.platform != "linux"
