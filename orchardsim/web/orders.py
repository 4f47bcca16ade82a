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
from typing import TYPE_CHECKING, Any, Final

from orchardsim import commands

if TYPE_CHECKING:
    from orchardsim.commands import Command
    from orchardsim.plan.study import Study

QUICK_TRIALS: Final = 8
"""Futures of the first answer: two processes work them out in one or two seconds."""
LAST_LOOK: Final = 1024
"""Futures beyond which a look takes memory and says little more."""
PLAN_FILE: Final = "plan.toml"
ABOUT_FILE: Final = "about.json"
"""What the page says of a kept piece of work."""
LEAST_WAIT: Final = 0.1
"""Seconds between two words on progress."""

STOP: Final = "stop"
"""Line by which the order in hand is given up."""

Say = Callable[[dict[str, Any]], None]
_stopping = threading.Event()


class Stopped(BaseException):
    """The order in hand is given up: no fault, and nothing that a library may catch."""


def main() -> None:
    """Do orders until there are none."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    os.dup2(2, 1)  # whatever a library prints is no news
    orders: list[str] = []
    came = threading.Condition()

    def listen() -> None:
        for line in sys.stdin:
            with came:
                if line.strip() == STOP:
                    orders.clear()
                    _stopping.set()
                else:
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
                _stopping.clear()
            do(order, jobs, say)
            say({"idle": True})


def _warm(jobs: int) -> None:
    """Import what a run needs, and have the trees compiled, here and in the pool."""
    from orchardsim.plan import load_plan
    from orchardsim.report.run import page, sheet  # noqa: F401
    from orchardsim.results.summary import summary_so_far
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
        say({"done": {"run": run, "numbers": numbers}.get(order["kind"], work_out)(order, jobs, say)})
    except Stopped:
        pass  # whoever stopped it knows
    except (InputError, WorkerError) as error:
        say({"failed": getattr(error, "problem", str(error))})
    except IdentityError as error:
        say({"failed": f"the simulation stopped because its books do not balance: {error}"})
    except Exception as error:  # a fault of the program, or of the disk: told in full where the command was started
        traceback.print_exc()
        say({"failed": f"this went wrong ({type(error).__name__}): {error}"})


def _plan(order: Mapping[str, Any], text: str | None = None) -> Any:
    """The plan of an order, or of another text under the same name."""
    from orchardsim.plan import load_plan

    folder, tables = Path(order["folder"]), tomllib.loads(order["text"] if text is None else text)
    return dataclasses.replace(load_plan(tables, base=folder), path=folder / f"{order['name']}.toml")


def _size(order: Mapping[str, Any], jobs: int) -> commands.Size:
    return commands.Size(trials=int(order["trials"]), years=int(order["years"]), seed=int(order["seed"]), jobs=jobs)


def _progress(say: Say, total: int) -> Callable[[int], None]:
    done, told = 0, 0.0

    def tell(step: int) -> None:
        nonlocal done, told
        if _stopping.is_set():
            raise Stopped
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
    from orchardsim.report.run.bad_years import WORST_NOTE, worst_lines
    from orchardsim.report.run.sheet import answer_lines
    from orchardsim.report.run_formats import RunFormats

    formats = RunFormats.of(dataset.attrs)
    fruit = summary["headline"].get("yield_per_area_by_leaf", {}).get("farm", {})
    return {
        "trials": summary["trials"],
        "years": summary["years"],
        "title": summary["title"],
        "sentences": answer_lines(summary, formats),
        "worst": worst_lines(summary, formats),
        "worst_note": WORST_NOTE,
        "bands": [
            _band(f"Picked fruit by leaf, {formats.yield_unit}", fruit, formats.yield_value),
            _band(f"Cash summed by year, {formats.currency}", summary["sheet"]["cash_summed_by_year"]),
        ],
    }


def _band(title: str, rows: Mapping[str, Any], shown: Callable[[float], Any] = float) -> dict[str, Any]:
    points = ("p5", "p50", "p95")
    by_step = {step: {point: float(shown(float(row[point]))) for point in points} for step, row in rows.items()}
    return {"title": title, "rows": by_step}


def run(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """A first answer from a few futures, then the whole run into its folder."""
    from orchardsim.report.run.page import report_files, write_report
    from orchardsim.results import store
    from orchardsim.results.summary import summary_document, summary_so_far
    from orchardsim.simulation.partial import PartialRun, run_differs
    from orchardsim.simulation.run import RunJob

    plan = _plan(order)
    trials = int(order["trials"])
    job = RunJob(plan, trials, int(order["years"]), int(order["seed"]), single_trees=(0,))
    names = [store.RESULTS_FILE, store.SUMMARY_FILE, *report_files()]
    tell = _progress(say, trials)
    with _folder(order, store.RUN, names, identity=job.identity, differs=run_differs) as folder:
        kept = PartialRun(folder, trials)
        for look in (*looks(trials), trials):
            for part, arrays in job.run(job.ranges(jobs, [range(kept.kept, look)]), jobs):
                kept.save(part, arrays)
                tell(len(part))
            if look < trials:
                _, arrays = next(kept.pieces(look))
                dataset = job.dataset(arrays)
                say({"first": answers(dataset, summary_so_far(dataset))})
        folder.write(store.RESULTS_FILE, lambda path: store.write_netcdf(path, job.pieces(kept, store.CHUNK_TRIALS)))
        with store.open_results(folder.place) as dataset:
            summary = summary_document(dataset)
            found = answers(dataset, summary)
        folder.write_text(store.SUMMARY_FILE, store.dump_summary(summary))
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


def compare(order: Mapping[str, Any], jobs: int) -> Command[Any]:
    """Plans in the same futures: an earlier one, and the one on the page."""
    plans = []
    for label, text in (("before", order["before"]), ("now", order["text"])):
        plan = _plan(order, text)
        plans.append(dataclasses.replace(plan, path=plan.path.with_name(f"{order['name']} {label}.toml")))
    return commands.comparison(plans, _size(order, jobs))


def study_of(order: Mapping[str, Any]) -> Study:
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


def weather(order: Mapping[str, Any], jobs: int) -> Command[Any]:
    """The quality page of the plan's weather record."""
    from orchardsim.core.errors import InputError

    plan = _plan(order)
    record = plan.weather.record
    if record is None:
        raise InputError("weather", "the plan names no station record; bring one, or state 'bundled'")
    cultivars = {group.cultivar_name: group.phenology for group in plan.groups}
    return commands.look_back(record, plan.weather.latitude, cultivars, plan.units, record.name)


def fit(order: Mapping[str, Any], jobs: int) -> Command[Any]:
    """What measured trees say of what is not known yet."""
    return commands.learning(
        _plan(order), order["text"], Path(order["folder"]) / order["measurements"], _size(order, jobs),
        following=order["following"], waiting=order["waiting"], out=Path(order["place"]),
    )  # fmt: skip


def numbers(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """The numbers that a plan leaves open and that move its NPV most, each with its key."""
    from orchardsim.analysis.first_numbers import first_numbers
    from orchardsim.report.check import crew_lines, state_first_lines

    plan = _plan(order)
    with _folder(order, "numbers to state first", []) as folder:
        found = first_numbers(plan)
        keys = [one.key for one in found.numbers]
        sentences = [*state_first_lines(found, plan.formats), *crew_lines(found)]
        told = {"title": plan.title, "sentences": sentences, "pages": [], "keys": keys}
        about = _about(folder, order, told)
        folder.finish()
    return about


def work_out(order: Mapping[str, Any], jobs: int, say: Say) -> dict[str, Any]:
    """Answer a question of a kind, and keep it under the plan."""
    from orchardsim.results.fit import SHEET_PAPER, SHEET_TABLE

    command = QUESTIONS[order["kind"]](order, jobs)
    kind = command.kind
    with _folder(order, kind.name, command.files, **command.kept) as folder:
        found = command.find(folder, _progress(say, command.steps))
        title = tomllib.loads(order["text"])["title"]
        pages = [kind.page, *([SHEET_PAPER, SHEET_TABLE] if order.get("following") else [])]
        about = _about(folder, order, {"title": title, "sentences": kind.sentences(found), "pages": pages})
        kind.write(folder, found)
    return about


QUESTIONS: Final[dict[str, Callable[[Mapping[str, Any], int], Command[Any]]]] = {
    "compare": compare,
    "stress": lambda order, jobs: commands.stress_test(_plan(order), _size(order, jobs)),
    "spares": lambda order, jobs: commands.search_for_spares(_plan(order), _size(order, jobs)),
    "levels": lambda order, jobs: commands.look_at_levels(_plan(order), _size(order, jobs)),
    "study": lambda order, jobs: commands.declared_study(study_of(order), jobs),
    "weather": weather,
    "fit": fit,
}
KINDS: Final = ("run", "numbers", *QUESTIONS)
"""What can be ordered."""

if __name__ == "__main__":
    main()
