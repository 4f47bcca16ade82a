"""How long weather and season drivers take: 20 years x 1,000 trials, three cultivars, both weather methods.

    python experiments/season_speed/run.py --out DIR [--trials 1000] [--years 20] [--jobs 2] [--repeats 3]

Units of 25 trials are shared out over processes as in a run: each draws its weather and works out all season drivers
of three cultivars (the resampling method once for all trials, in the main process, as a run does). Writes
``season_speed.json`` with wall time, CPU time of all processes and the largest memory of a single process and of all
together. On a machine with other work the wall time says little, and CPU time is too long rather than too short (cores
share their caches); so the measurement is repeated and judged by its smallest CPU time over processes.
"""

from __future__ import annotations

import argparse
import dataclasses
import functools
import json
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

import numpy as np

from orchardsim import __version__
from orchardsim.core.streams import Streams
from orchardsim.plan.catalogue import built_in
from orchardsim.season.drivers import season_drivers_for
from orchardsim.season.parameters import BlockSite, Phenology
from orchardsim.simulation.trial_range import RANGE_TRIALS
from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.parameters import MonthlyNormals, WeatherSettings
from orchardsim.weather.sampling import sample_weather

CULTIVARS: Final = ("Gala", "Honeycrisp", "Fuji")
# Invented rain; the bundled record holds none.
NORMALS: Final = MonthlyNormals(rain=(100.0,) * 12, wet_days=(9.0,) * 12)
SETTINGS: Final = WeatherSettings(
    latitude=34.68, elevation=250.0, record=bundled_record_path(), normals=NORMALS, method="resample"
)
LIMITS: Final = {"seconds_on_two_cores": 10.0, "memory_gigabytes": 1.0}


def drive(settings: WeatherSettings, years: int, trials: range) -> dict[str, float]:
    """Weather and drivers of a unit of trials; what it cost the process that did it."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    sample = sample_weather(settings, Streams(1), trials, years)
    cases = [(built_in("cultivar", name, Phenology, "benchmark"), BlockSite()) for name in CULTIVARS]
    drivers = season_drivers_for(sample.seasons, cases)
    met = [one.bloom_day[sample.season_rows] for one in drivers]
    if any(values.shape != (len(trials), years) for values in met):
        raise RuntimeError("drivers do not cover the trials")
    after = resource.getrusage(resource.RUSAGE_SELF)
    return {
        "cpu": after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime,
        "peak_kilobytes": float(after.ru_maxrss),
        "seasons": float(len(sample.seasons.harvest_year)),
        "mean_bloom": float(np.mean(met)),
    }


def measure(method: str, trials: int, years: int, jobs: int) -> dict[str, Any]:
    """One method: time and memory."""
    settings = dataclasses.replace(SETTINGS, method=method)
    resampled = method == "resample"
    size = trials if resampled else RANGE_TRIALS
    units = [range(start, min(start + size, trials)) for start in range(0, trials, size)]
    processes = 1 if resampled else jobs
    work = functools.partial(drive, settings, years)
    start = time.perf_counter()
    # Always in fresh processes, so that memory and CPU time are those of this method alone.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        list(pool.map(_warm, range(processes)))
        begun = time.perf_counter()
        found = list(pool.map(work, units))
    end = time.perf_counter()
    cpu, peak = sum(one["cpu"] for one in found), max(one["peak_kilobytes"] for one in found)
    return {
        "method": method,
        "trials": trials,
        "years": years,
        "cultivars": list(CULTIVARS),
        "seasons_worked_out": int(sum(one["seasons"] for one in found)),
        "processes": processes,
        "wall_seconds": round(end - begun, 2),
        "wall_seconds_with_start": round(end - start, 2),
        "cpu_seconds": round(cpu, 2),
        "cpu_seconds_per_process": round(cpu / processes, 2),
        "peak_gigabytes_of_a_process": round(peak / 2**20, 3),
        "peak_gigabytes_together": round(processes * peak / 2**20, 3),
    }


def _warm(_: int) -> None:
    """Starts a process and loads what it needs."""


def main() -> None:
    """Measure both methods and write the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--trials", type=int, default=1000)
    parser.add_argument("--years", type=int, default=20)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    rows = []
    for method in ("parametric", "resample"):
        tries = [measure(method, options.trials, options.years, options.jobs) for _ in range(options.repeats)]
        row = min(tries, key=lambda one: one["cpu_seconds"])
        row["cpu_seconds_of_repeats"] = [one["cpu_seconds"] for one in tries]
        row["met"] = (
            row["cpu_seconds"] / 2 <= LIMITS["seconds_on_two_cores"]
            and row["peak_gigabytes_together"] <= LIMITS["memory_gigabytes"]
        )
        rows.append(row)
        print(json.dumps(row), file=sys.stderr)
    options.out.mkdir(parents=True, exist_ok=True)
    document = {"version": __version__, "numpy": np.__version__, "limits": LIMITS, "rows": rows}
    (options.out / "season_speed.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
