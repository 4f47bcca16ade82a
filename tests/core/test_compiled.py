"""Where compiled code is kept, and what a first run says: checked in processes of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CALL = "import numpy as np; from orchardsim.core.elementary import exp; print(float(exp(np.float32(0))))"


def run(cache: Path) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"XDG_CACHE_HOME": str(cache), "HOME": str(cache), "LOCALAPPDATA": str(cache)}
    return subprocess.run([sys.executable, "-c", CALL], env=environment, capture_output=True, text=True, check=True)


@pytest.mark.slow
def test_machine_code_is_kept_and_the_first_run_says_so(tmp_path: Path) -> None:
    first, second = run(tmp_path), run(tmp_path)
    assert first.stdout == second.stdout == "1.0\n"
    assert first.stderr.startswith("compiling once")
    assert first.stderr.count("compiling once") == 1
    assert second.stderr == ""
    assert list(tmp_path.rglob("*.nbc"))


@pytest.mark.slow
def test_a_run_works_where_nothing_can_be_written(tmp_path: Path) -> None:
    no_folder = tmp_path / "file"
    no_folder.write_text("in the way")
    assert run(no_folder).stdout == "1.0\n"
    assert no_folder.read_text() == "in the way"


@pytest.mark.slow
def test_a_broken_file_of_machine_code_is_made_anew(tmp_path: Path) -> None:
    run(tmp_path)
    for path in tmp_path.rglob("*.nbc"):
        path.write_bytes(b"nonsense")
    assert run(tmp_path).stdout == "1.0\n"
