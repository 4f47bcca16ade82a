"""Validate the weather methods on the bundled record.

``python experiments/weather_validation/run.py --out DIR [--quick]`` writes ``weather_validation.json`` (rows with id,
observed, generated, low, high, met) and pictures into DIR. Needs the extra ``test`` of the package. The full run takes
about 12 minutes on one core, the quick one under a minute.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from experiments.weather_validation import half_splits, later_period, other_checks, pictures
from experiments.weather_validation.rows import Table, bundled_record
from orchardsim import __version__


def main() -> None:
    """Run all parts and write their rows."""
    parser = argparse.ArgumentParser(description="Validate the weather methods on the bundled record.")
    parser.add_argument("--out", type=Path, required=True, help="folder for the table and the pictures")
    parser.add_argument("--quick", action="store_true", help="few splits and replicates: a check that all parts run")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    start = time.monotonic()

    def report(text: str) -> None:
        print(f"{time.monotonic() - start:6.0f} s  {text}", file=sys.stderr, flush=True)

    table, record = Table(), bundled_record()
    other_checks.quality(table)
    report("quality control")
    other_checks.monte_carlo(table, record, 2000)
    report("Monte Carlo error")
    other_checks.rebuilt_hours(table)
    other_checks.seattle(table)
    other_checks.rain(table, 3 if options.quick else 10)
    report("hours, Seattle, rain")
    values = half_splits.run(
        table, record, 4 if options.quick else 40, slow_share=0.25 if options.quick else 1.0, report=report
    )
    half_splits.run_periods(table, record)
    report("bloom kill by period")
    later_period.run(table, record, 20 if options.quick else 200, report=report)
    shares = table.shares()
    result = {
        "version": __version__,
        "mode": "quick" if options.quick else "full",
        "record": "bundled record, complete harvest years "
        f"{record.year[0]} to {record.year[-1]} ({len(record.year)} seasons)",
        "shares": shares,
        "rows": table.rows,
    }
    (options.out / "weather_validation.json").write_text(json.dumps(result, indent=1) + "\n")
    pictures.draw(options.out, record, values)
    report("pictures")
    for section, counts in shares.items():
        print(f"{section:25s} {counts['met']:4d} of {counts['rows']:4d} rows inside their range")
    print("Rows outside their range:")
    for row in table.rows:
        if row["met"] is False and not row["id"].startswith("later_period"):
            print(f"  {row['id']}: {row['generated']} (range {row['low']} to {row['high']})")


if __name__ == "__main__":
    main()
