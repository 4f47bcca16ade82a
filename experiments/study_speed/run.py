"""Whether the work of a study rises no faster than its cells: job R (11,400 trees) in 1, 2, 4 and 8 cells.

    python experiments/study_speed/run.py --out DIR [--trials 9] [--repeats 3]

All in one process, once warm; times are of the processor, so that other work on the machine counts little, and of
some repeats the fastest counts. Writes ``study_speed.json``.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import time
import tomllib
from pathlib import Path
from typing import Any

from orchardsim.analysis.study import run_study
from orchardsim.analysis.study_answers import study_findings
from orchardsim.plan.study import Study, load_study

ROOT = Path(__file__).parents[2]
CELLS = (1, 2, 4, 8)


def job_r(trials: int) -> Study:
    """Eight cells of 4 ha net at 1.0 x 3.5 m, 57 rows of 200 trees: four stocks by two crop policies."""
    plan: dict[str, Any] = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    block = plan["block"][0]
    for key in ("group", "pollinizer", "trees", "gross_area"):
        block.pop(key, None)
    plan["block"] = [block | {"cultivar": "Gala", "rootstock": "M.9", "row_length": "200 m", "net_area": "39900 m2"}]
    target = "cultivar.Gala.crop_load_target"
    return load_study(
        {
            "title": "job R",
            "plan": plan,
            "trials": trials,
            "known_trials": 0,
            "factor": [
                {"name": "stock", "key": "block.rootstock", "levels": ["M.9", "G.935", "M.26", "G.41"]},
                {"name": "young_crop", "key": target, "levels": [[0, 6, 6, 6], [0, 0, 3, 6]]},
            ],
        },
        base=ROOT / "configs",
    )


def main() -> None:
    """Time the studies and write what was measured."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=9, help="trials of each cell (default 9, one tile)")
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    study = job_r(options.trials)
    run_study(dataclasses.replace(study, cells=study.cells[:1]))
    found = {}
    for cells in CELLS:
        some = dataclasses.replace(study, cells=study.cells[:cells])
        times = []
        for _ in range(options.repeats):
            start = time.process_time()
            trials = run_study(some)
            times.append(time.process_time() - start)
        found[cells] = min(times)
        print(f"{cells} cells: {found[cells]:6.2f} s, {found[cells] / cells:5.2f} s a cell", flush=True)
    start = time.process_time()
    study_findings(trials)
    answers = time.process_time() - start
    print(f"answers of {CELLS[-1]} cells: {answers:.2f} s")
    options.out.mkdir(parents=True, exist_ok=True)
    document = {
        "trials": options.trials,
        "trees": study.cells[0].plan.blocks[0].geometry.trees,
        "years": study.years,
        "seconds_by_cells": found,
        "seconds_a_cell": {cells: seconds / cells for cells, seconds in found.items()},
        "seconds_of_answers": answers,
    }
    (options.out / "study_speed.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
