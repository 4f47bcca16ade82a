"""What drives the spread of the demo's NPV and peak borrowing: weather, prices, losses, trees, crews, costs.

    python experiments/risk_drivers/run.py --out DIR [--plan configs/demo.toml] [--trials 1024]

Eight sets of trials are run; at 1,024 trials of the demo that takes about ten minutes of one core.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from tqdm import tqdm

from orchardsim.analysis.risk_drivers import BASE_TRIALS, SOURCES, RiskDrivers, risk_drivers

ROOT = Path(__file__).parents[2]


def table(found: RiskDrivers) -> str:
    """Shares in percent with their intervals, one line for each source."""
    lines = []
    for measure, by_source in found.shares.items():
        lines.append(f"{measure}: standard deviation {found.spread[measure]:,.0f}, n = {found.trials} trials a set")
        lines.append(f"  {'source':20s}{'alone':>8s}  {'interval':>16s}{'with others':>14s}  {'interval':>16s}   %")
        for source, one in by_source.items():
            alone = f"{100 * one.first_order_low:.0f} to {100 * one.first_order_high:.0f}"
            total = f"{100 * one.total_low:.0f} to {100 * one.total_high:.0f}"
            lines.append(
                f"  {source:20s}{100 * one.first_order:8.0f}  {alone:>16s}{100 * one.total:14.0f}  {total:>16s}"
            )
        lines.append(f"  {'interaction':20s}{100 * found.interaction(measure):8.0f}")
    return "\n".join(lines)


def main() -> None:
    """Run and write ``risk_drivers.json``."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plan", type=Path, default=ROOT / "configs" / "demo.toml")
    parser.add_argument("--trials", type=int, default=BASE_TRIALS)
    parser.add_argument("--years", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    with tqdm(total=options.trials * (2 + len(SOURCES)), unit=" trials", file=sys.stderr, mininterval=5) as bar:
        found = risk_drivers(
            options.plan, trials=options.trials, years=options.years, seed=options.seed, jobs=options.jobs,
            progress=bar.update,
        )  # fmt: skip
    print(table(found))
    options.out.mkdir(parents=True, exist_ok=True)
    document = {"plan": options.plan.name, **found.document()}
    (options.out / "risk_drivers.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
