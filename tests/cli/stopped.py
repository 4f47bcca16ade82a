"""A small run in a process of its own, watched from outside: what a test of kills and interrupts needs."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
RUN = ["run", str(ROOT / "configs" / "old_block.toml"), "--trials", "6", "--years", "4", "--jobs", "2", "--out"]
"""A plan with little to compute."""
MINE = {
    "partial/notes.txt": "mine", "figures/mine.png": "mine", "figures/cash.png.part": "mine", "report.txt": "mine",
    ".results.nc.old.part": "mine",
}  # fmt: skip
"""Files of the user's own that stand in the folder beforehand."""
RESULTS = ("results.nc", "summary.json", "report.html", "figures/cash.svg")


def start(out: Path, *more: str) -> subprocess.Popen[str]:
    """Begin the run."""
    return subprocess.Popen(
        [sys.executable, "-m", "orchardsim", *RUN, str(out), *more],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def ended(process: subprocess.Popen[str], seconds: float = 120.0) -> tuple[int, list[str]]:
    """Exit code, and the lines of the program's own messages."""
    _, text = process.communicate(timeout=seconds)
    lines = [line.rpartition("\r")[2] for line in text.split("\n")]
    return process.returncode, [line for line in lines if line.startswith(("orchardsim:", "Traceback"))]


def wait_until(condition: Callable[[], bool], process: subprocess.Popen[str]) -> None:
    """Wait for something that the process does; no longer than it lives."""
    while process.poll() is None and not condition():
        time.sleep(0.002)


def plant(out: Path) -> None:
    """Put the user's own files into the folder."""
    for name, content in MINE.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_text(content, encoding="utf-8")


def untouched(out: Path) -> bool:
    """Whether they are all there as they were."""
    return all((out / name).read_text(encoding="utf-8") == content for name, content in MINE.items())


def results(out: Path) -> dict[str, str]:
    """Digests of what the run wrote."""
    return {name: hashlib.sha256((out / name).read_bytes()).hexdigest() for name in RESULTS}


def litter(out: Path) -> list[str]:
    """Files that a finished run should not leave."""
    return [path.name for path in (out / ".orchardsim").iterdir() if path.name not in ("lock", "manifest.jsonl")]


def children(process: subprocess.Popen[str]) -> list[int]:
    """Workers of the process, where the system tells them."""
    try:
        return [int(word) for word in Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()]
    except OSError:
        return []


def lives(process: int) -> bool:
    """Whether a process is there and has not ended."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
