"""Killed or interrupted at any moment, with a second run on the same folder: nothing is lost, nothing hangs."""

from __future__ import annotations

import random
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from orchardsim.cli.main import main
from tests.cli.stopped import RUN, children, ended, litter, lives, plant, results, start, untouched, wait_until

KILLS = 8
"""Of each phase: 64 in all."""
ALONE = {0}
"""Kills of the first half of the phases without a second run beside it: 60 have one."""
LONG = 20.0
"""Seconds after which a command or a worker hangs, on a busy machine; it takes a fraction of one."""


def _work(pattern: str, least: int = 1) -> Callable[[Path], bool]:
    return lambda out: len(list((out / ".orchardsim").glob(pattern))) >= least


PHASES: dict[str, Callable[[Path], bool]] = {
    "imports": lambda out: True,
    "folder opened": _work("manifest.jsonl"),
    "first trials": _work("trials-*.npz"),
    "all trials": _work("trials-*.npz", 2),
    "results being written": _work("results.nc.*.part"),
    "results written": lambda out: (out / "results.nc").exists(),
    "pictures": lambda out: (out / "figures" / "money.svg").exists(),
    "page": lambda out: (out / "report.html").exists(),
}
"""What can be seen of a run from outside, in order."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The results of a run that nothing stopped."""
    out = tmp_path_factory.mktemp("whole") / "run"
    assert ended(start(out))[0] == 0
    return results(out)


def go_on(out: Path, capsys) -> int:
    """Resume in this process, which saves starting one; 2 where there was nothing to go on with."""
    capsys.readouterr()
    code = main([*RUN, str(out), "--resume"])
    lines = [line for line in capsys.readouterr().err.splitlines() if line.startswith("orchardsim:")]
    assert code in (0, 2) and (not lines if code == 0 else "found no interrupted run" in lines[0])
    return code


@pytest.mark.slow
@pytest.mark.parametrize("phase", PHASES)
def test_a_killed_run_goes_on_and_two_do_not_mix(phase, whole, tmp_path, capsys):
    draw = random.Random(phase)
    for number in range(KILLS):
        out = tmp_path / str(number)
        plant(out)
        runs = [start(out)]
        if not (number in ALONE and list(PHASES).index(phase) < 4):
            runs.append(start(out))
        # the second is refused, whichever of the two that is; the other is killed
        wait_until(lambda out=out: PHASES[phase](out), runs[0])
        time.sleep(draw.uniform(0.0, 1.5 if phase == "imports" else 0.06))
        workers = [worker for run in runs for worker in children(run)]
        kill = draw.choice([signal.SIGKILL, signal.SIGTERM])
        for run in runs:
            run.send_signal(kill)
        for run in runs:
            code, lines = ended(run, LONG)
            assert code in (0, 2, -kill, 128 + kill), lines
            assert len(lines) <= 1 and "Traceback" not in lines, lines
        until = time.monotonic() + LONG
        while any(map(lives, workers)) and time.monotonic() < until:
            time.sleep(0.01)
        assert not any(map(lives, workers))
        assert untouched(out)
        if go_on(out, capsys) == 2:  # it had not come to begin
            assert not (out / "results.nc").exists()
            assert main([*RUN, str(out)]) == 0
        assert results(out) == whole and untouched(out) and litter(out) == []


@pytest.mark.slow
def test_the_first_of_two_runs_keeps_all_its_trials(whole, tmp_path):
    plant(tmp_path)
    first = start(tmp_path)
    wait_until(lambda: PHASES["folder opened"](tmp_path), first)
    code, lines = ended(start(tmp_path, "--force"))
    assert code == 2 and ("another command is writing" in lines[0] or first.poll() == 0)
    assert ended(first)[0] == 0
    assert results(tmp_path) == whole and untouched(tmp_path)


@pytest.mark.slow
def test_an_interrupt_at_any_moment_is_one_line(whole, tmp_path, capsys):
    """Delays spread evenly from the first import over writing, drawing and printing to the end."""
    begun = time.monotonic()
    assert ended(start(tmp_path / "timed"))[0] == 0
    length = time.monotonic() - begun
    tries = 16
    for number in range(tries):
        out = tmp_path / str(number)
        run = start(out)
        time.sleep(length * (number + 0.5) / tries)
        run.send_signal(signal.SIGINT)
        code, lines = ended(run, LONG)
        if code == -signal.SIGINT:
            assert number < 2  # the interpreter itself had not started
            continue
        if code == 0:
            assert results(out) == whole
            continue
        assert code == 130
        assert len(lines) == 1 and lines[0].startswith("orchardsim: stopped; ")
        if "--resume" in lines[0]:
            assert go_on(out, capsys) == 0
            assert results(out) == whole and litter(out) == []
        elif "is saved in" in lines[0] or "had ended" in lines[0]:
            assert results(out) == whole and litter(out) == []
        else:
            assert not out.exists()
