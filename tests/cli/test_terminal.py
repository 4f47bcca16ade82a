"""What is printed never stops the work, and the exit code tells when it got lost."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import Any

import pytest

from orchardsim.cli.terminal import SafeStream, plain
from tests.cli.stopped import ROOT, RUN, results

PROGRAM = [sys.executable, "-m", "orchardsim"]


def test_plain_letters_stand_for_others():
    assert plain("±5 °F, 3 m², é, 木", "ascii") == "+/-5 deg F, 3 m2, e, ?"
    assert plain("±5 °F", "latin-1") == "±5 °F"


def test_a_fault_is_kept_and_all_that_follows_is_dropped():
    class Full:
        encoding = "utf-8"
        written = 0

        def write(self, text):
            self.written += 1
            raise OSError(28, "No space left on device")

    full = Full()
    stream = SafeStream(full)  # type: ignore[arg-type]
    assert stream.write("one") == 3 and stream.write("two\n") == 4
    assert isinstance(stream.fault, OSError) and full.written == 1
    assert SafeStream(None).write("nobody listens") == 14


@pytest.mark.slow
@pytest.mark.parametrize("error_too", [False, True])
def test_a_closed_pipe_loses_nothing(error_too, tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    error = writing if error_too else subprocess.PIPE
    done = subprocess.run([*PROGRAM, *RUN, str(tmp_path / "run")], cwd=ROOT, stdout=writing, stderr=error, timeout=240)
    os.close(writing)
    assert done.returncode == 0 and (error_too or b"Traceback" not in done.stderr)
    assert len(results(tmp_path / "run")) == 4


def test_a_full_device_is_told():
    with open("/dev/full", "w") as full:
        for words in (["catalogue"], ["--help"]):
            done = subprocess.run([*PROGRAM, *words], cwd=ROOT, stdout=full, stderr=subprocess.PIPE, timeout=120)
            assert done.returncode == 1
            assert done.stderr.decode().splitlines() == [
                "orchardsim: what was printed got lost: [Errno 28] No space left on device"
            ]


def test_a_terminal_without_our_letters():
    how: dict[str, Any] = {
        "cwd": ROOT,
        "env": {**os.environ, "PYTHONIOENCODING": "ascii"},
        "capture_output": True,
        "timeout": 120,
    }
    done = subprocess.run([*PROGRAM, "catalogue", "Gala"], **how)
    assert done.returncode == 0 and done.stderr == b"" and done.stdout.isascii() and len(done.stdout) > 500


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
from orchardsim.cli.start import start
sys.argv = ["orchardsim", *sys.argv[2:]]
sys.exit(start())
"""


@pytest.mark.slow
@pytest.mark.parametrize("limit", [2_000, 60_000, 150_000])
def test_a_disk_that_fills_up_is_one_line(limit, tmp_path):
    """A limit on the size of files stands for the full disk: whichever file meets it first."""
    words = [sys.executable, "-c", LIMITED, str(limit), *RUN, str(tmp_path / "run")]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=240)
    lines = [line.rpartition("\r")[2] for line in done.stderr.splitlines()]
    told = [line for line in lines if "could not be written" in line]
    assert done.returncode == 2 and len(told) == 1 and "Traceback" not in done.stderr
    assert not list(tmp_path.rglob("*.part"))
