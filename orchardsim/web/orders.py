"""The process that simulates: it is ready before it is needed, and may be ended at any moment.

Orders come as lines of JSON on standard input, news goes out as lines of JSON on standard output. The work itself is
that of the command line: the same functions, the same folders.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
import os
import sys
import threading
import time
import tomllib
import traceback
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

QUICK_TRIALS: Final = 8
"""Futures of the first answer: two processes work them out in one or two seconds."""
LAST_LOOK: Final = 1024
"""Futures beyond which a look takes memory and says little more."""
PLAN_FILE: Final = "plan.toml"
ABOUT_FILE: Final = "about.json"
"""What the page says of a kept piece of work."""
LEAST_WAIT: Final = 0.1
"""Seconds between two words on progress."""

Say = Callable[[dict[str, Any]], None]


def main() -> None:
    """Do orders until there are none."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    os.dup2(2, 1)  # whatever a library prints is no news
    orders: list[str] = []
    came = threading.Condition()

    def listen() -> None:
        for line in sys.stdin:
            with came:
                orders.append(line)
                came.notify()
        os._exit(0)  # the page has gone

    def say(news: dict[str, Any]) -> None:
        out.write(json.dumps(news, allow_nan=False) + "\n")

    threading.Thread(target=listen, daemon=True).start()
    from orchardsim.core.pool import worker_pool

    jobs = os.cpu_count() or 1
    with worker_pool(jobs):
        _warm(jobs)
        say({"ready": True})
        while True:
            with came:
                while not orders:
                    came.wait()
                order = json.loads(orders.pop(0))
            do(order, jobs, say)


def _warm(jobs: int) -> None:
    """Import what a run needs, and have the trees compiled, here and in the pool."""
    from orchardsim.plan import load_plan
    from orchardsim.report.run import page, sheet  # noqa: F401
    from orchardsim.results.so_far import summary_so_far
    from orchardsim.simulation.run import simulate

    dataset = simulate(load_plan(WARM_PLAN), trials=2 * jobs, years=3, seed=1, jobs=jobs)
    answers(dataset, summary_so_far(dataset))


WARM_PLAN: Final[dict[str, Any]] = {
    "title": "warming up",
    "units": "metric",
    "currency": "USD",
    "site": {"latitude": "43 degree", "elevation": "200 m"},
    "weather": {"record": "bundled cool"},
    "block": [
        {
            "name": "east",
            "cultivar": "Gala",
            "rootstock": "M.9",
            "training": "tall_spindle",
            "row_spacing": "3.5 m",
            "tree_spacing": "1 m",
            "trees": 40,
        }
    ],
}
"""A few trees of no farm."""


def do(order: Mapping[str, Any], jobs: int, say: Say) -> None:
    """Do one order, and tell how it ended."""
    from orchardsim.core.errors import IdentityError, InputError, WorkerError

    try:
        say({"done": KINDS[order["kind"]](order, jobs, say)})
    except (InputError, WorkerError) as error:
        say({"failed": getattr(error, "problem", str(error))})
    except IdentityError as error:
        say({"failed": f"the simulation stopped because its books do not balance: {error}"})
    except Exception as error:  # a fault of the program, or of the disk: told in full where the command was started
        traceback.print_exc()
        say({"failed": f"this went wrong ({type(error).__name__}): {error}"})


def _plan(order: Mapping[str, Any], text: str) -> Any:
    from orchardsim.plan import load_plan

    folder = Path(order["folder"])
    return dataclasses.replace(load_plan(tomllib.loads(text), base=folder), path=folder / f"{order['name']}.toml")


def _progress(say: Say, total: int) -> Callable[[int], None]:
    done, told = 0, 0.0

    def tell(step: int) -> None:
        nonlocal done, told
        done += step
        now = time.monotonic()
        if now - told >= LEAST_WAIT or done >= total:
            told = now
            say({"progress": done, "total": total})

    return tell


def _folder(order: Mapping[str, Any], kind: str, names: list[str], **arguments: Any) -> Any:
    from orchardsim.results.folder import OutputFolder

    place = Path(order["place"])
    place.parent.mkdir(exist_ok=True)
    return OutputFolder(place, kind, names=[*names, PLAN_FILE, ABOUT_FILE], **arguments)


def _about(folder: Any, order: Mapping[str, Any], found: Mapping[str, Any]) -> dict[str, Any]:
    """Keep the plan beside its results, and what the page says of them."""
    about = {"kind": order["kind"], **found}
    folder.write_text(PLAN_FILE, order["text"])
    folder.write_text(ABOUT_FILE, json.dumps(about, allow_nan=False, ensure_ascii=False))
    return about


def answers(dataset: Any, summary: Mapping[str, Any]) -> dict[str, Any]:
    """What the page shows of a run: sentences of the sheet, and the bands through leaves and years."""
    from orchardsim.report.run.sheet import answer_lines, worst_lines
    from orchardsim.report.run_formats import RunFormats

    formats = RunFormats.of(dataset.attrs)
    fruit = summary["headline"].get("yield_per_area_by_leaf", {}).get("farm", {})
    return {
        "trials": summary["trials"],
        "years": summary["years"],
        "title": summary["title"],
        "sentences": answer_lines(summary, formats),
        "worst": worst_lines(summary, formats),
        "bands": [
            _band(
                f"Picked fruit by leaf, {formats.yield_unit}", fruit, lambda value: float(formats.yield_value(value))
            ),
            _band(f"Cash summed by year, {formats.currency}", summary["sheet"]["cash_summed_by_year"], float),
        ],
    }


def _band(title: str, rows: Mapping[str, Any], size: Callable[[float], float]) -> dict[str, Any]:
    points = ("p5", "p50", "p95")
    return {
        "title": title,
        "rows": {step: {point: size(float(row[point])) for point in points} for step, row in rows.items()},
    }


def run(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """A first answer from a few futures, then the whole run into its folder."""
    from orchardsim.report.run.page import report_files, write_report
    from orchardsim.results.so_far import summary_so_far
    from orchardsim.results.store import (
        CHUNK_TRIALS,
        RESULTS_FILE,
        RUN,
        SUMMARY_FILE,
        dump_summary,
        open_results,
        write_netcdf,
    )
    from orchardsim.results.summary import summary_document
    from orchardsim.simulation.partial import PartialRun, run_differs
    from orchardsim.simulation.run import RunJob

    plan = _plan(order, order["text"])
    trials = int(order["trials"])
    job = RunJob(plan, trials, int(order["years"]), int(order["seed"]), single_trees=(0,))
    names = [RESULTS_FILE, SUMMARY_FILE, *report_files()]
    tell = _progress(say, trials)
    with _folder(order, RUN, names, identity=job.identity, differs=run_differs) as folder:
        kept = PartialRun(folder, trials)
        for look in (*looks(trials), trials):
            for part, arrays in job.run(job.ranges(jobs, range(kept.kept, look)), jobs):
                kept.save(part, arrays)
                tell(len(part))
            if look < trials:
                _, arrays = next(kept.pieces(look))
                dataset = job.dataset(arrays)
                say({"first": answers(dataset, summary_so_far(dataset))})
        folder.write(RESULTS_FILE, lambda path: write_netcdf(path, job.pieces(kept, CHUNK_TRIALS)))
        with open_results(folder.place) as dataset:
            summary = summary_document(dataset)
            found = answers(dataset, summary)
        folder.write_text(SUMMARY_FILE, dump_summary(summary))
        say({"first": found})
        write_report(folder)
        about = _about(folder, order, {**found, "pages": ["sheet.html", "sheet.pdf", "report.html"]})
        folder.finish()
    return about


def looks(trials: int) -> list[int]:
    """Numbers of futures at which a run says what it has seen: each twice as many as the one before.

    Examples
    --------
    >>> looks(200), looks(8)
    ([8, 16, 32, 64, 128], [])
    """
    numbers = itertools.takewhile(lambda number: number < trials, (QUICK_TRIALS << step for step in itertools.count()))
    return [number for number in numbers if number <= LAST_LOOK]


def compare(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """Plans in the same futures: an earlier one, and the one on the page."""
    from orchardsim.analysis.compare import check_plans, compare
    from orchardsim.report.compare.page import comparison_files, write_comparison
    from orchardsim.report.compare.words import comparison_sentences
    from orchardsim.results.comparison import COMPARE_PAGE, KIND

    plans = []
    for label, text in (("before", order["before"]), ("now", order["text"])):
        plan = _plan(order, text)
        assert plan.path is not None
        plans.append(dataclasses.replace(plan, path=plan.path.with_name(f"{order['name']} {label}.toml")))
    check_plans(plans)
    trials = int(order["trials"])
    with _folder(order, KIND, comparison_files()) as folder:
        found = compare(
            plans, trials=trials, years=int(order["years"]), seed=int(order["seed"]), jobs=jobs,
            progress=_progress(say, trials * len(plans)),
        )  # fmt: skip
        about = _about(folder, order, _said(plans[1], comparison_sentences(found), COMPARE_PAGE))
        write_comparison(folder, found)
    return about


def stress(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """Bad seasons at every leaf."""
    from orchardsim.analysis.stress import choose, stress, stress_size
    from orchardsim.report.stress.page import stress_files, write_stress
    from orchardsim.report.stress.words import stress_sentences
    from orchardsim.results.stress import KIND, STRESS_PAGE

    plan, chosen = _plan(order, order["text"]), choose(None)
    trials, years = int(order["trials"]), int(order["years"])
    with _folder(order, KIND, stress_files()) as folder:
        found = stress(
            plan, trials=trials, years=years, seed=int(order["seed"]), jobs=jobs, bad_seasons=chosen,
            progress=_progress(say, stress_size(plan, trials, years, chosen)),
        )  # fmt: skip
        about = _about(folder, order, _said(plan, stress_sentences(found), STRESS_PAGE))
        write_stress(folder, found)
    return about


def spares(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """How many trees to hold and order."""
    from orchardsim.analysis.spares import check_spares, spares
    from orchardsim.report.spares.page import spares_files, write_spares
    from orchardsim.report.spares.words import spares_sentences
    from orchardsim.results.spares import KIND, SPARES_PAGE

    plan = _plan(order, order["text"])
    trials, years = int(order["trials"]), int(order["years"])
    check_spares(plan, trials, years)
    with _folder(order, KIND, spares_files()) as folder:
        found = spares(
            plan, trials=trials, years=years, seed=int(order["seed"]), jobs=jobs, progress=_progress(say, 100)
        )
        about = _about(folder, order, _said(plan, spares_sentences(found), SPARES_PAGE))
        write_spares(folder, found)
    return about


def study(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """Several values of one key of the plan, in the same futures."""
    from orchardsim.analysis.study import run_study, study_differs, study_identity, study_size
    from orchardsim.analysis.study_answers import study_findings
    from orchardsim.report.study.page import write_study
    from orchardsim.report.study.words import study_sentences
    from orchardsim.results.study import KIND, STUDY_FILE, STUDY_PAGE

    plan = _plan(order, order["text"])
    experiment = declared_study(order)
    identity = study_identity(experiment)
    with _folder(order, KIND, [STUDY_FILE, STUDY_PAGE], identity=identity, differs=study_differs) as folder:
        tell = _progress(say, study_size(experiment))
        results = run_study(experiment, jobs=jobs, out=folder, progress=tell)
        found = study_findings(results)
        about = _about(folder, order, _said(plan, study_sentences(found), STUDY_PAGE))
        write_study(folder, found, results.dataset())
    return about


def declared_study(order: Mapping[str, Any]) -> Any:
    """The study that an order asks for.

    Raises
    ------
    InputError
        If one of its values makes no plan.
    """
    from orchardsim.plan.study import load_study

    tables = tomllib.loads(order["text"])
    declared = {
        "title": f"{order['key']} in {tables['title']}"[:80],
        "plan": tables,
        **{name: int(order[name]) for name in ("trials", "years", "seed")},
        "factor": [{"name": order["key"].rsplit(".", 1)[-1], "key": order["key"], "levels": order["levels"]}],
    }
    return load_study(declared, base=order["folder"])


def weather(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """The quality page of the plan's weather record."""
    from orchardsim.core.errors import InputError
    from orchardsim.report.weather.history import weather_history
    from orchardsim.report.weather.page import KIND, WEATHER_PAGE, weather_files, weather_sentences, write_weather_page
    from orchardsim.weather.history import weather_report
    from orchardsim.weather.sampling import baseline_harvest_years, whole_record_windows

    plan = _plan(order, order["text"])
    settings = plan.weather
    if settings.record is None:
        raise InputError("weather", "the plan names no station record; bring one, or state 'bundled'")
    report = weather_report(settings.record, settings.latitude)
    seasons = whole_record_windows(settings)
    if seasons is None or report.baseline_years == (0, 0):
        raise InputError(settings.record.name, "holds no complete season; expected daily minima and maxima of years")
    history = weather_history(
        seasons,
        {group.cultivar_name: group.phenology for group in plan.groups},
        baseline_harvest_years(settings, report.table),
        title=f"Weather record: {settings.record.name}",
        station=report.record.station,
        units=plan.units,
        quality=report.quality.lines(),
        notes=report.notes,
    )
    with _folder(order, KIND, weather_files()) as folder:
        about = _about(folder, order, _said(plan, [*report.quality.lines(), *weather_sentences(history)], WEATHER_PAGE))
        write_weather_page(history, folder)
    return about


def _said(plan: Any, sentences: list[str], page: str) -> dict[str, Any]:
    if sentences and sentences[0].endswith(":"):
        sentences = sentences[1:]
    return {"title": plan.title, "sentences": sentences, "pages": [page]}


KINDS: Final[dict[str, Callable[[Mapping[str, Any], int, Say], dict[str, Any]]]] = {
    "run": run,
    "compare": compare,
    "stress": stress,
    "spares": spares,
    "study": study,
    "weather": weather,
}
"""What can be ordered."""

if __name__ == "__main__":
    main()
