"""How fast the page to plan on answers: an edit and a first answer, on this machine as it is and beside a busy core.

``python experiments/planning_page/run.py --out DIR`` serves a folder with shipped plans, changes the spacing of each
over HTTP as the page does, then orders a run, and writes ``table.txt``.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

CONFIGS = Path(__file__).parents[2] / "configs"
PLANS = ("demo", "two_stages", "first_row", "old_block")
EDITS = 20
BUSY = "while True: pass"


class Page:
    """The page's requests."""

    def __init__(self, address: str) -> None:
        self.address = address.rstrip("/")

    def ask(self, path: str, body: Any = None) -> Any:
        """Answer of the server."""
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.address + path, data=data, headers={"Origin": self.address})
        with urllib.request.urlopen(request) as answer:
            text = answer.read().decode()
        return json.loads(text) if answer.headers["content-type"].startswith("application/json") else text


def edits(page: Page, plan: str) -> list[float]:
    """Milliseconds from a changed tree spacing to land and bill."""
    page.ask(f"/plan/{plan}")
    times = []
    for number in range(EDITS):
        began = time.perf_counter()
        found = page.ask(
            f"/plan/{plan}/edit", {"place": ["block", 0, "tree_spacing"], "value": f"{1.5 + number / 100} m"}
        )
        times.append(1000 * (time.perf_counter() - began))
        assert found["shown"], found["problem"]
    return times


def first_answer(page: Page, plan: str) -> float:
    """Seconds from an order to the first answer; the run is stopped then."""
    began = time.perf_counter()
    page.ask(f"/plan/{plan}/work", {"kind": "run", "trials": 200, "years": 20, "seed": 1})
    while not page.ask("/running").get("answer"):
        time.sleep(0.02)
    took = time.perf_counter() - began
    page.ask("/running/stop", {})
    return took


def main() -> None:
    """Measure, print and save the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    out: Path = parser.parse_args().out
    lines = [f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start; {EDITS} edits each"]
    with tempfile.TemporaryDirectory() as folder:
        for plan in PLANS:
            shutil.copy(CONFIGS / f"{plan}.toml", folder)
        server = subprocess.Popen(
            [sys.executable, "-m", "orchardsim", "web", "--no-browser"], cwd=folder, stdout=subprocess.PIPE, text=True
        )
        assert server.stdout is not None
        page = Page(server.stdout.readline().strip())
        try:
            page.ask("/plan/demo")
            first_answer(page, "demo")  # compiled by now
            for busy in (0, 1):
                load = [subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(busy)]
                for plan in PLANS:
                    times = edits(page, plan)
                    lines.append(
                        f"{plan:12s} {busy} busy core: edit {statistics.median(times):4.0f} ms in the middle, "
                        f"{max(times):4.0f} ms at most; first answer of a run {first_answer(page, plan):4.1f} s"
                    )
                    print(lines[-1], flush=True)
                for one in load:
                    one.kill()
        finally:
            server.terminate()
            server.wait()
    out.mkdir(parents=True, exist_ok=True)
    (out / "table.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
