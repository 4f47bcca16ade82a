"""Score the tree model against published trials.

    python experiments/score/run.py --out DIR [--trials 24] [--warming]

Prints a table, writes DIR/score.json and one picture per group of targets. ``--warming`` adds the verdicts with every
month one degree warmer and cooler.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.score.pictures import draw
from experiments.score.rows import Row, Score, score
from experiments.score.trials import GOOD_GROWER, RESEARCH_MEAN


def target_of(row: Row) -> str:
    return row.id.split(".")[0]


def verdicts(rows: list[Row]) -> dict[str, bool]:
    """Target -> met: every counted row of it is met."""
    found: dict[str, bool] = {}
    for row in rows:
        if not (row.input or row.part):
            found[target_of(row)] = found.get(target_of(row), True) and row.met
    return found


def table(found: Score) -> str:
    """The rows as text."""
    lines = [f"site growth levels: research mean {RESEARCH_MEAN}, good grower {GOOD_GROWER} (T2-T5, T11, T12)", ""]
    for row in found.rows:
        kind = "input check" if row.input else "part" if row.part else "met" if row.met else "MISSED"
        if row.part or row.input:
            kind += ", inside" if row.met else ", outside"
        lines.append(
            f"{row.id:20s} {row.published:>28s} | {row.ours:9.3g} ({row.low:.3g} to {row.high:.3g}) "
            f"[{row.tolerance[0]:.4g}, {row.tolerance[1]:.4g}] {kind:22s} {row.what}; {row.source}"
        )
    lines += ["", *found.notes, ""]
    result = verdicts(found.rows)
    lines.append(
        f"{sum(result.values())} of {len(result)} targets met; missed: "
        + (", ".join(name for name, met in result.items() if not met) or "none")
    )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=24)
    parser.add_argument("--warming", action="store_true")
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)

    def say(what: str) -> None:
        print(f"running: {what}", file=sys.stderr, flush=True)

    found = score(chosen.trials, say=say)
    print(table(found))
    whole = {
        "site_growth": {"research_mean": RESEARCH_MEAN, "good_grower": GOOD_GROWER},
        "trials": chosen.trials,
        "rows": [dataclasses.asdict(row) for row in found.rows],
        "targets": verdicts(found.rows),
        "notes": found.notes,
    }
    if chosen.warming:
        for shift in (-1.0, 1.0):
            other = verdicts(score(chosen.trials, warming=shift, say=say).rows)
            whole[f"targets_{shift:+g}K"] = other
            missed = ", ".join(name for name, met in other.items() if not met) or "none"
            print(f"{shift:+g} K in every month: {sum(other.values())} of {len(other)} met; missed: {missed}")
    (chosen.out / "score.json").write_text(json.dumps(whole, indent=1), encoding="utf-8")
    draw(found, chosen.out)


if __name__ == "__main__":
    main()
