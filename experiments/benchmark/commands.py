"""How long whole commands take, as a user waits for them: once compiled, and at the first run ever.

``python experiments/benchmark/commands.py [--rounds N] [--out DIR]`` runs each command some times as a process of its
own, in turn, and keeps the least processor time (of all its processes) and the least time by the clock. On a machine
with other work the clock says little, and processor time is too long rather than too short. Writes ``commands.json``
and ``commands.txt``.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[2]
DEMO: Final = str(ROOT / "configs" / "demo.toml")
COMMANDS: Final[dict[str, tuple[list[str], float | None]]] = {
    "--help": (["--help"], None),
    "check demo": (["check", DEMO], None),
    "run demo, 50 trials": (["run", DEMO, "--trials", "50"], 3.0),
    "run demo, 200 trials": (["run", DEMO], 4.0),
    "the same with page and sheet": (["run", DEMO, "--force", "--out", "OUT"], 7.0),
}
"""Words of a command, and seconds that it should take at most on two free cores."""
FIRST: Final = "run demo, 50 trials"
FIRST_LIMIT: Final = 40.0
"""Seconds that the first run ever should take at most: it compiles."""


def measure(words: list[str], cache: Path | None = None) -> tuple[float, float, float]:
    """Processor seconds, seconds by the clock and the most megabytes of a process that a command takes."""
    environment = dict(os.environ) | ({} if cache is None else {"XDG_CACHE_HOME": str(cache)})
    with tempfile.TemporaryDirectory() as place:
        words = [str(Path(place) / "run") if word == "OUT" else word for word in words]
        program = "import sys; from orchardsim.cli.start import start; sys.exit(start())"
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-c", program, *words], env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        assert process.stderr is not None
        said = process.stderr.read()
        _, status, used = os.wait4(process.pid, 0)
        clock = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if status:
        raise SystemExit(f"{' '.join(words)}: {said.decode()}")
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return seconds, clock, used.ru_maxrss / 1024


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "latest")
    options = parser.parse_args()
    found: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as cache:
        tries = [("first run ever, 50 trials", COMMANDS[FIRST][0], FIRST_LIMIT, Path(cache), 1)]
        measure(COMMANDS[FIRST][0])  # compiles, where nothing is compiled yet
        tries += [(name, words, limit, None, options.rounds) for name, (words, limit) in COMMANDS.items()]
        for name, words, limit, own_cache, rounds in tries:
            rows = [measure(words, own_cache) for _ in range(rounds)]
            processor, clock, memory = (min(column) for column in zip(*rows, strict=True))
            found[name] = {
                "processor_seconds": round(processor, 2), "clock_seconds": round(clock, 2),
                "megabytes": round(memory), "limit_seconds": limit, "rounds": rounds,
                "load": round(os.getloadavg()[0], 1),
            }  # fmt: skip
            print(name, found[name], flush=True)
    head = f"{'command':34s}{'processor s':>12s}{'clock s':>9s}{'limit s':>9s}{'MB':>6s}{'load':>6s}"
    lines = [head]
    for name, row in found.items():
        limit = "" if row["limit_seconds"] is None else f"{row['limit_seconds']:.0f}"
        lines.append(
            f"{name:34s}{row['processor_seconds']:>12.2f}{row['clock_seconds']:>9.2f}{limit:>9s}"
            f"{row['megabytes']:>6d}{row['load']:>6.1f}"
        )
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "commands.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    (options.out / "commands.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
