"""How much memory and time a run of the demo takes as its trials grow.

``python experiments/benchmark/memory.py [TRIALS ...] [--jobs N] [--out DIR]`` runs the demo from the command line with
page and sheet into an empty folder, each size as a process of its own, and looks at all its processes ten times a
second (Linux). Memory of the processes together counts what copies share in each of them; without what is shared it is
less. Growth is that from the size before. Writes ``memory.json`` and ``memory.txt``.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

DEMO: Final = str(Path(__file__).parents[2] / "configs" / "demo.toml")
TRIALS: Final = (200, 2000, 8000)
LOOK: Final = 0.1
"""Seconds between two looks."""
PROGRAM: Final = "import sys; from orchardsim.cli.start import start; sys.exit(start())"


def processes(root: int) -> list[int]:
    """A process and all that it started."""
    found = [root]
    for process in found:
        with contextlib.suppress(OSError):
            for thread in Path(f"/proc/{process}/task").iterdir():
                found += [int(child) for child in (thread / "children").read_text().split()]
    return found


def resident(process: int) -> tuple[int, int]:
    """Memory of a process [byte]: all of it, and without the part of others in what is shared; 0 where it has ended."""
    found = {"Rss": 0, "Pss": 0}
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
            name, _, rest = line.partition(":")
            if name in found:
                found[name] = int(rest.split()[0]) * 1024
    return found["Rss"], found["Pss"]


def measure(trials: int, jobs: int) -> dict[str, Any]:
    """One run: the most memory and the time by the clock."""
    most = [0, 0, 0]
    with tempfile.TemporaryDirectory() as place:
        words = ["run", DEMO, "--trials", str(trials), "--jobs", str(jobs), "--out", str(Path(place) / "run")]
        start = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        while process.poll() is None:
            seen = [resident(each) for each in processes(process.pid)]
            now = (sum(rss for rss, _ in seen), sum(pss for _, pss in seen), max(rss for rss, _ in seen))
            most = [max(pair) for pair in zip(most, now, strict=True)]
            time.sleep(LOOK)
        clock = time.perf_counter() - start
    if process.returncode:
        raise SystemExit(f"{' '.join(words)}: ended with {process.returncode}")
    together, apart, largest = (round(bytes_ / 1e6) for bytes_ in most)
    return {
        "trials": trials,
        "clock_seconds": round(clock, 1),
        "megabytes_together": together,
        "megabytes_without_shared": apart,
        "megabytes_of_the_largest": largest,
    }


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("trials", nargs="*", type=int, default=TRIALS)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "latest")
    options = parser.parse_args()
    lines = ["  trials   clock s   ms a trial   MB together   without shared   largest   MB a further trial"]
    print(lines[0])
    found: list[dict[str, Any]] = []
    for trials in options.trials:
        row = measure(trials, options.jobs)
        growth = ""
        if found:
            more = row["megabytes_together"] - found[-1]["megabytes_together"]
            growth = f"{more / (trials - found[-1]['trials']):.4f}"
        found.append(row)
        lines.append(
            f"{trials:>8,d}{row['clock_seconds']:>10.1f}{1000 * row['clock_seconds'] / trials:>13.1f}"
            f"{row['megabytes_together']:>14,d}{row['megabytes_without_shared']:>17,d}"
            f"{row['megabytes_of_the_largest']:>10,d}{growth:>21}"
        )
        print(lines[-1], flush=True)
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "memory.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    (options.out / "memory.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
