"""Questions that the command line and the page to plan on ask alike: the work behind each, its files and its words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from orchardsim.analysis.decision import Option
    from orchardsim.analysis.fit import Fit
    from orchardsim.plan import Plan
    from orchardsim.plan.study import Study
    from orchardsim.report.pages import Kind
    from orchardsim.results.comparison import Comparison
    from orchardsim.results.fit import Kept
    from orchardsim.results.folder import OutputFolder
    from orchardsim.results.levels import LevelsFound
    from orchardsim.results.spares import SparesAnswer
    from orchardsim.results.stress import Stress
    from orchardsim.results.study import StudyFindings
    from orchardsim.results.weather import PastWeather
    from orchardsim.season.parameters import Phenology

Found = TypeVar("Found")
Progress = Callable[[int], object]


@dataclass(frozen=True, kw_only=True)
class Size:
    """How many futures of how many years, from which seed, by how many processes."""

    trials: int
    years: int
    seed: int
    jobs: int


@dataclass(frozen=True, kw_only=True)
class Command(Generic[Found]):
    """A question, ready to be worked out; whatever is wrong with it was told before.

    Attributes
    ----------
    kind : Kind
        Of what is found: how it is said, drawn and saved.
    heading : str
        What is being worked out.
    steps : int
        Of the progress.
    find : callable
        Works it out, with the folder (None where nothing is saved) and the function that counts on.
    look_at : str
        Files to look at, in words, where they are not those of most kinds.
    more_files : sequence of str
        Files to come beside those of the kind.
    kept : mapping
        Arguments of the folder by which an interrupted piece of work is known again.
    """

    kind: Kind[Found]
    heading: str
    steps: int
    find: Callable[[OutputFolder | None, Progress], Found]
    look_at: str = ""
    more_files: Sequence[str] = ()
    kept: Mapping[str, Any] = field(default_factory=dict)

    @property
    def files(self) -> list[str]:
        """Files to come, as far as they are known."""
        return [*self.kind.files(), *self.more_files]

    @property
    def saved(self) -> str:
        """Files to look at, in words."""
        return self.look_at or f"{self.kind.page}, {self.kind.numbers}, figures/"


def comparison(plans: Sequence[Plan], size: Size) -> Command[Comparison]:
    """Plans in the same futures."""
    from orchardsim.analysis.compare import check_plans, compare
    from orchardsim.report.compare.page import KIND

    check_plans(plans)
    return Command(
        kind=KIND,
        heading=f"{len(plans)} plans: {size.trials} futures of {size.years} years each",
        steps=size.trials * len(plans),
        find=lambda _, progress: compare(plans, progress=progress, **vars(size)),
        look_at="compare_sheet.pdf, compare.html, compare.json, figures/",
    )


def stress_test(plan: Plan, size: Size, only: Sequence[str] | None = None) -> Command[Stress]:
    """Named bad seasons at every leaf."""
    from orchardsim.analysis.stress import choose, stress, stress_size
    from orchardsim.report.stress.page import KIND

    chosen = choose(only)
    return Command(
        kind=KIND,
        heading=f"{plan.title}: {len(chosen)} bad seasons at every leaf, {size.trials} futures of {size.years} years",
        steps=stress_size(plan, size.trials, size.years, chosen),
        find=lambda _, progress: stress(plan, bad_seasons=chosen, progress=progress, **vars(size)),
    )


def search_for_spares(plan: Plan, size: Size) -> Command[SparesAnswer]:
    """How many trees to hold and to order."""
    from orchardsim.analysis.spares import check_spares, spares
    from orchardsim.report.spares.page import KIND

    check_spares(plan, size.trials, size.years)
    half = size.trials // 2
    return Command(
        kind=KIND,
        heading=f"{plan.title}: policies chosen on {half} futures of {size.years} years, told from "
        f"{size.trials - half}; takes about eight times as long as a run of as many futures",
        steps=100,
        find=lambda _, progress: spares(plan, progress=progress, **vars(size)),
    )


def look_at_levels(plan: Plan, size: Size) -> Command[LevelsFound]:
    """What each open level does to the money; one process does it all."""
    from orchardsim.analysis import levels
    from orchardsim.report.levels.page import KIND

    trials, years, seed = size.trials, size.years, size.seed
    return Command(
        kind=KIND,
        heading=f"{plan.title}: open levels, {trials} futures of {years} years",
        steps=trials * levels.levels_size(plan),
        find=lambda _, progress: levels.look_at_levels(plan, trials=trials, years=years, seed=seed, progress=progress),
    )


def declared_study(study: Study, jobs: int, dask: str | None = None) -> Command[StudyFindings]:
    """A declared experiment over keys of a plan."""
    from orchardsim.analysis.study import run_study, study_differs, study_identity, study_size
    from orchardsim.analysis.study_answers import study_findings
    from orchardsim.report.study.page import KIND
    from orchardsim.results.study_trials import write_trials

    def find(folder: OutputFolder | None, progress: Progress) -> StudyFindings:
        trials = run_study(study, jobs=jobs, out=folder, dask=dask, progress=progress)
        found = study_findings(trials)
        if folder is not None:
            write_trials(folder, trials)
        return found

    return Command(
        kind=KIND,
        heading=f"{study!r}".strip("<>"),
        steps=study_size(study),
        find=find,
        look_at="study.html, trials.nc, methods.txt, tables (.csv) and figures",
        kept={"identity": study_identity(study), "differs": study_differs},
    )


def look_back(
    record: Path, latitude: float | None, cultivars: Mapping[str, Phenology], units: str, name: str
) -> Command[PastWeather]:
    """What a station record holds, and what its seasons would have done to bloom."""
    from orchardsim.analysis.past_weather import past_weather
    from orchardsim.report.weather.page import KIND

    def find(folder: OutputFolder | None, progress: Progress) -> PastWeather:
        found = past_weather(record, latitude, cultivars, name=name, units=units)
        progress(1)
        return found

    return Command(kind=KIND, heading=f"reading {name}", steps=1, find=find)


def learning(
    plan: Plan,
    text: str,
    measurements: Path,
    size: Size,
    *,
    following: bool = False,
    waiting: bool = False,
    between: str | None = None,
    out: Path | None = None,
    say: Callable[[str], object] = lambda line: None,
) -> Command[Kept]:
    """What measured trees say of the plan's open levels, and what to measure next or whether to wait.

    Parameters
    ----------
    plan : Plan
        It knows its file.
    text : str
        That file's content.
    measurements : path
        CSV file.
    following, waiting : bool
        Say what to measure next; weigh waiting.
    between : str, optional
        Options to choose between.
    out : path, optional
        Folder to come; the plan in it names its weather record as seen from there.
    """
    import os
    import tomllib

    from orchardsim.analysis.decision import options_of
    from orchardsim.analysis.fit import fit
    from orchardsim.analysis.waiting import WAITS
    from orchardsim.plan.coming import young_blocks
    from orchardsim.plan.learned import read_learned
    from orchardsim.plan.raw import subtable
    from orchardsim.report.fit.page import KIND
    from orchardsim.results.fit import LEARNED_FILE, Kept
    from orchardsim.weather.bundled import RECORDS

    assert plan.path is not None
    name, folder_of_plan = plan.path.name, plan.path.parent
    tables = tomllib.loads(text)
    carried, record = subtable(tables, "futures").get("learned"), subtable(tables, "weather").get("record")
    seen = None
    if out is not None and isinstance(record, str) and record not in RECORDS:
        seen = Path(os.path.relpath(folder_of_plan / record, out)).as_posix()
    before = read_learned(folder_of_plan / carried, plan.where) if isinstance(carried, str) else None
    choices = options_of(plan, between) if following or waiting else ()
    if choices:
        young_blocks(plan)
    waits = WAITS if waiting else WAITS[:1]
    runs = len(waits) * len(choices) + 1 if choices else 0

    def find(folder: OutputFolder | None, progress: Progress) -> Kept:
        found = fit(plan, measurements, seed=size.seed, before=before, say=say)
        kept = _followed(found, choices, waits, size, following, progress) if choices else Kept(found.findings)
        if folder is not None:
            folder.write_text(name, found.plan_text(text, record=seen))
            folder.write_text(LEARNED_FILE, found.learned.text())
        return kept

    return Command(
        kind=KIND,
        heading="learning from measured trees" + (", then simulating the options" if choices else ""),
        steps=runs * size.trials,
        find=find,
        look_at=f"{name} (carries what was learned in {LEARNED_FILE}; run, compare, spares and study read it), "
        f"{KIND.page}, {KIND.numbers}",
        more_files=[LEARNED_FILE, name],
    )


def _followed(
    found: Fit, choices: Sequence[Option], waits: Sequence[int], size: Size, following: bool, progress: Progress
) -> Kept:
    """What to measure next, if asked for, and what waiting is worth, if there are waits; one simulation for both."""
    from orchardsim.analysis.decision import money_of
    from orchardsim.analysis.next_measurements import next_measurements
    from orchardsim.analysis.waiting import worth_of_waiting
    from orchardsim.plan.coming import NOT_PLANTED, ways_to_plant
    from orchardsim.plan.keys import with_keys
    from orchardsim.results.fit import Kept

    plan, raw = found.prior, found.tables()
    assert plan.path is not None
    options = {one.name: with_keys(raw, one.changes, plan.where) for one in choices}
    ways = ways_to_plant(plan, raw, options, waits, plan.path.parent)
    money = money_of(plan, ways, progress=progress, **vars(size))
    after = wait = None
    if following:
        now = money.part([*range(len(options)), len(ways) - 1], [*options, NOT_PLANTED])
        after = next_measurements(plan, found.plan.futures.learned, now, found.next_season, seed=size.seed)
    if len(waits) > 1:
        known = plan.with_futures(learned=found.plan.futures.learned)
        wait = worth_of_waiting(known, money, list(options), waits, found.next_season, size.years, size.seed)
    return Kept(found.findings, after, wait)
