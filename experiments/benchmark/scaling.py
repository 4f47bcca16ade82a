"""How the time of a run grows with trees, trials and processes, and how much memory it takes.

``python experiments/benchmark/scaling.py [--out DIR]`` simulates blocks of job R's kind (Gala on M.9, 1.0 x 3.5 m, 20
years): more rows in 9 trials, more trials of 11,400 trees, and 1,000 trials by one and two processes. Each run is a
process of its own that compiled code waits for, and begins as a command does: a second process is a copy. Times are of
the processor, of all processes together, starts included; the time by the clock stands beside them, and means little
where a machine has other work. Memory is the most that one process held. Writes ``scaling.json``, ``scaling.txt`` and
``scaling.png``.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, Final

YEARS: Final = 20
ROWS: Final = (1, 5, 19, 57, 171)
"""Rows of 200 trees; 57 are job R."""
TRIALS: Final = (9, 36, 144)
LEAST_TOLD: Final = 5e6
"""Tree-years beyond the smallest run from which their time can be told from that of the start."""
JOB_R: Final = (57, 1000)
"""Rows and trials of job R."""
ONE: Final = (
    f"import sys; sys.path.insert(0, {str(Path(__file__).parents[2])!r}); "
    "from orchardsim.cli import start; from orchardsim.core import pool; start.hasten(); pool.copy_this_process(); "
    "from experiments.benchmark.run import job_r; import orchardsim; "
    "rows, trials, jobs = map(int, sys.argv[1:]); "
    f"orchardsim.simulate(job_r(rows), trials=trials, years={YEARS}, seed=1, jobs=jobs)"
)


def measure(rows: int, trials: int, jobs: int) -> dict[str, Any]:
    """One run: processor time, time by the clock, memory."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", ONE, str(rows), str(trials), str(jobs)])
    _, status, used = os.wait4(process.pid, 0)
    clock = time.perf_counter() - start
    if status:
        raise SystemExit(f"{rows} rows, {trials} trials, {jobs} processes: ended with {status}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {
        "trees": rows * 200,
        "trials": trials,
        "jobs": jobs,
        "processor_seconds": round(seconds, 2),
        "clock_seconds": round(clock, 2),
        "gigabytes_of_a_process": round(used.ru_maxrss / 2**20, 3),
    }


def line(row: dict[str, Any], least: dict[str, Any]) -> str:
    """A row of the table; beyond the smallest run, which is nearly all start."""
    more = (row["trees"] * row["trials"] - least["trees"] * least["trials"]) * YEARS
    seconds = row["processor_seconds"] - least["processor_seconds"]
    return (
        f"{row['trees']:>8,d}{row['trials']:>8,d}{row['jobs']:>6d}{row['processor_seconds']:>13.2f}"
        f"{row['clock_seconds']:>10.2f}{f'{1e9 * seconds / more:,.0f}' if more > LEAST_TOLD else '':>21}"
        f"{row['gigabytes_of_a_process']:>9.2f}"
    )


def picture(found: list[dict[str, Any]], path: Path) -> None:
    """Processor time against trees and against trials."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, (trees, trials) = plt.subplots(1, 2, figsize=(9, 4), layout="constrained", sharey=True)
    of_trees = [row for row in found if row["trials"] == TRIALS[0]]
    of_trials = [row for row in found if row["trees"] == JOB_R[0] * 200 and row["jobs"] == 1]
    trees.loglog([row["trees"] for row in of_trees], [row["processor_seconds"] for row in of_trees], marker="o")
    trees.set(xlabel=f"trees ({TRIALS[0]} trials)", ylabel="processor time [s], start of the process included")
    trials.loglog([row["trials"] for row in of_trials], [row["processor_seconds"] for row in of_trials], marker="s")
    trials.set(xlabel="trials (11,400 trees)")
    for axes in (trees, trials):
        axes.grid(alpha=0.3)
    figure.suptitle(f"A run of {YEARS} years")
    figure.savefig(path, dpi=110)


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "latest")
    options = parser.parse_args()
    cases = [(rows, TRIALS[0], 1) for rows in ROWS]
    cases += [(JOB_R[0], trials, 1) for trials in TRIALS[1:]]
    cases += [(*JOB_R, jobs) for jobs in (1, 2)]
    measure(1, 2, 1)  # compiles, where nothing is compiled yet
    head = "   trees  trials  jobs  processor s   clock s  ns a further tree-year   GB"
    print(head)
    found = []
    for case in cases:
        found.append(measure(*case))
        print(line(found[-1], found[0]), flush=True)
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "scaling.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    (options.out / "scaling.txt").write_text(
        "\n".join([head, *(line(row, found[0]) for row in found)]) + "\n", encoding="utf-8"
    )
    picture(found, options.out / "scaling.png")


if __name__ == "__main__":
    main()
