"""Questions that the command line and the page to plan on ask alike: the work behind each, its files and its words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from orchardsim.analysis.fit import Fit
    from orchardsim.plan import Plan
    from orchardsim.plan.study import Study
    from orchardsim.report.pages import Kind
    from orchardsim.report.weather.history import WeatherHistory
    from orchardsim.results.comparison import Comparison
    from orchardsim.results.first_numbers import FirstNumbers
    from orchardsim.results.fit import Kept
    from orchardsim.results.folder import OutputFolder
    from orchardsim.results.levels import LevelsFound
    from orchardsim.results.spares import SparesAnswer
    from orchardsim.results.stress import Stress
    from orchardsim.results.study import StudyFindings
    from orchardsim.season.parameters import Phenology
    from orchardsim.weather.history import WeatherReport

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
    heading : str
        What is being worked out.
    kind, files, page : str, list of str, str
        Of the folder that it is saved in: the kind, the files to come, the page among them.
    steps : int
        Of the progress.
    find : callable
        Works it out, with the folder (None where nothing is saved) and the function that counts on.
    write : callable
        Writes what was found into the folder.
    sentences : callable
        The answer in words.
    screen, text, document : callable
        The short answer of a terminal, the long one, and all numbers.
    saved : str
        Files to look at, in words.
    kept : mapping
        Arguments of the folder by which an interrupted piece of work is known again.
    """

    heading: str
    kind: str
    files: list[str]
    page: str
    steps: int
    find: Callable[[OutputFolder | None, Progress], Found]
    write: Callable[[OutputFolder, Found], object]
    sentences: Callable[[Found], list[str]]
    screen: Callable[[Found], str]
    text: Callable[[Found], str]
    document: Callable[[Found], Mapping[str, Any]]
    saved: str
    kept: Mapping[str, Any] = field(default_factory=dict)


def _of_kind(
    kind: Kind[Found],
    heading: str,
    steps: int,
    find: Callable[[OutputFolder | None, Progress], Found],
    saved: str = "",
    *,
    files: Sequence[str] = (),
    kept: Mapping[str, Any] | None = None,
) -> Command[Found]:
    """A question whose answer is a kind of findings with a page; ``files``: to come beside those of the kind."""
    return Command(
        heading=heading,
        kind=kind.name,
        files=[*kind.files(), *files],
        page=kind.page,
        steps=steps,
        find=find,
        write=kind.write,
        sentences=kind.sentences,
        screen=kind.screen,
        text=kind.text,
        document=kind.document,
        saved=saved or f"{kind.page}, {kind.numbers}, figures/",
        kept=kept or {},
    )


def comparison(plans: Sequence[Plan], size: Size) -> Command[Comparison]:
    """Plans in the same futures."""
    from orchardsim.analysis.compare import check_plans, compare
    from orchardsim.report.compare.page import KIND

    check_plans(plans)
    return _of_kind(
        KIND,
        f"{len(plans)} plans: {size.trials} futures of {size.years} years each",
        size.trials * len(plans),
        lambda _, progress: compare(plans, progress=progress, **vars(size)),
        "compare_sheet.pdf, compare.html, compare.json, figures/",
    )


def numbers_to_state(plan: Plan) -> Command[FirstNumbers]:
    """The numbers that a plan leaves open and that move its NPV most."""
    from orchardsim.analysis.first_numbers import first_numbers
    from orchardsim.report.check import check_document, first_number_lines, state_first_lines, state_first_text

    return Command(
        heading="the numbers to state first",
        kind="numbers to state first",
        files=[],
        page="",
        steps=1,
        find=lambda _, progress: first_numbers(plan),
        write=lambda folder, found: folder.finish(),
        sentences=lambda found: state_first_lines(found, plan.formats),
        screen=lambda found: state_first_text(found, plan),
        text=lambda found: "\n".join(["", *first_number_lines(found, plan.formats)]),
        document=lambda found: check_document(plan, found),
        saved="",
    )


def stress_test(plan: Plan, size: Size, only: Sequence[str] | None = None) -> Command[Stress]:
    """Named bad seasons at every leaf."""
    from orchardsim.analysis.stress import choose, stress, stress_size
    from orchardsim.report.stress.page import KIND

    chosen = choose(only)
    return _of_kind(
        KIND,
        f"{plan.title}: {len(chosen)} bad seasons at every leaf, {size.trials} futures of {size.years} years",
        stress_size(plan, size.trials, size.years, chosen),
        lambda _, progress: stress(plan, bad_seasons=chosen, progress=progress, **vars(size)),
    )


def search_for_spares(plan: Plan, size: Size) -> Command[SparesAnswer]:
    """How many trees to hold and to order."""
    from orchardsim.analysis.spares import check_spares, spares
    from orchardsim.report.spares.page import KIND

    check_spares(plan, size.trials, size.years)
    half = size.trials // 2
    return _of_kind(
        KIND,
        f"{plan.title}: policies chosen on {half} futures of {size.years} years, told from "
        f"{size.trials - half}; takes about eight times as long as a run of as many futures",
        100,
        lambda _, progress: spares(plan, progress=progress, **vars(size)),
    )


def look_at_levels(plan: Plan, size: Size) -> Command[LevelsFound]:
    """What each open level does to the money; one process does it all."""
    from orchardsim.analysis import levels
    from orchardsim.report.levels.page import KIND

    trials, years, seed = size.trials, size.years, size.seed
    return _of_kind(
        KIND,
        f"{plan.title}: open levels, {trials} futures of {years} years",
        trials * levels.levels_size(plan),
        lambda _, progress: levels.look_at_levels(plan, trials=trials, years=years, seed=seed, progress=progress),
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

    return _of_kind(
        KIND,
        f"{study!r}".strip("<>"),
        study_size(study),
        find,
        "study.html, trials.nc, methods.txt, tables (.csv) and figures",
        kept={"identity": study_identity(study), "differs": study_differs},
    )


def past_weather(
    record: Path, latitude: float | None, cultivars: Mapping[str, Phenology], units: str, title: str
) -> Command[PastWeather]:
    """What a station record holds, and what its seasons would have done to bloom."""
    from orchardsim.core.units import display
    from orchardsim.report.weather.history import weather_history
    from orchardsim.report.weather.page import KIND, WEATHER_PAGE, weather_files, weather_sentences, write_weather_page
    from orchardsim.report.weather.words import in_words, weather_document, weather_screen, weather_text
    from orchardsim.weather.history import weather_report
    from orchardsim.weather.parameters import WeatherSettings
    from orchardsim.weather.sampling import baseline_harvest_years, whole_record_windows

    def find(folder: OutputFolder | None, progress: Progress) -> PastWeather:
        report = weather_report(record, latitude)
        if report.baseline_years == (0, 0):
            return PastWeather(report, None)
        settings = WeatherSettings(latitude=report.latitude, record=record)
        seasons = whole_record_windows(settings)
        assert seasons is not None
        history = weather_history(
            seasons,
            cultivars,
            baseline_harvest_years(settings, report.table),
            title=f"Weather record: {title}",
            station=report.record.station,
            units=units,
            quality=report.quality.lines(),
            notes=report.notes,
        )
        progress(1)
        return PastWeather(report, history)

    def sentences(found: PastWeather) -> list[str]:
        more = ["it holds no complete season"] if found.history is None else weather_sentences(found.history)
        return [*(in_words(line, display(units)) for line in found.report.quality.lines()), *more]

    return Command(
        heading=f"reading {title}",
        kind=KIND,
        files=weather_files(),
        page=WEATHER_PAGE,
        steps=1,
        find=find,
        write=lambda folder, found: found.history and write_weather_page(found.history, folder),
        sentences=sentences,
        screen=lambda found: weather_screen(title, found.report, found.history, units),
        text=lambda found: weather_text(title, found.report, found.history, units),
        document=lambda found: weather_document(title, found.report, found.history),
        saved=f"{WEATHER_PAGE} and figures/",
    )


@dataclass(frozen=True)
class PastWeather:
    """A record's quality and climate, and its bloom and frost where it holds a complete season."""

    report: WeatherReport
    history: WeatherHistory | None


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
    from orchardsim.results.fit import LEARNED_FILE
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
    runs = (len(choices) + 1 if following else 0) + ((len(WAITS) + 1) * len(choices) + 1 if waiting else 0)

    def find(folder: OutputFolder | None, progress: Progress) -> Kept:
        found = fit(plan, measurements, seed=size.seed, before=before, say=say)
        kept = _followed(found, between, size, following, waiting, progress)
        if folder is not None:
            folder.write_text(name, found.plan_text(text, record=seen))
            folder.write_text(LEARNED_FILE, found.learned.text())
        return kept

    return _of_kind(
        KIND,
        "learning from measured trees" + (", then simulating the options" if choices else ""),
        runs * size.trials,
        find,
        f"{name} (carries what was learned in {LEARNED_FILE}; run, compare, spares and study read it), {KIND.page}, "
        f"{KIND.numbers}",
        files=[LEARNED_FILE, name],
    )


def _followed(found: Fit, between: str | None, size: Size, following: bool, waiting: bool, progress: Progress) -> Kept:
    """What to measure next and what waiting is worth, as far as they are asked for."""
    from orchardsim.analysis.decision import NOT_PLANTED, money_of, option_tables, options_of
    from orchardsim.analysis.next_measurements import next_measurements
    from orchardsim.analysis.waiting import worth_of_waiting
    from orchardsim.plan.coming import without_coming
    from orchardsim.results.fit import Kept

    after = wait = None
    if not (following or waiting):
        return Kept(found.findings)
    plan, learned, raw = found.prior, found.plan.futures.learned, found.tables()
    choices = options_of(plan, between)
    if following:
        tables = [(one.name, option_tables(raw, one, plan.where)) for one in choices]
        tables.append((NOT_PLANTED, without_coming(plan, raw)))
        money = money_of(plan, tables, progress=progress, **vars(size))
        after = next_measurements(plan, learned, money, found.next_season, seed=size.seed)
    if waiting:
        wait = worth_of_waiting(plan, raw, learned, choices, found.next_season, progress=progress, **vars(size))
    return Kept(found.findings, after, wait)
