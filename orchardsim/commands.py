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
    from orchardsim.report.weather.history import WeatherHistory
    from orchardsim.results.comparison import Comparison
    from orchardsim.results.first_numbers import FirstNumbers
    from orchardsim.results.folder import OutputFolder
    from orchardsim.results.levels import LevelsFound
    from orchardsim.results.next import NextAnswer, WaitAnswer
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


def comparison(plans: Sequence[Plan], size: Size) -> Command[Comparison]:
    """Plans in the same futures."""
    from orchardsim.analysis.compare import check_plans, compare
    from orchardsim.report.compare.page import comparison_files, write_comparison
    from orchardsim.report.compare.table import comparison_screen, comparison_table
    from orchardsim.report.compare.words import comparison_sentences
    from orchardsim.results.comparison import COMPARE_PAGE, KIND, comparison_document

    check_plans(plans)
    return Command(
        heading=f"{len(plans)} plans: {size.trials} futures of {size.years} years each",
        kind=KIND,
        files=comparison_files(),
        page=COMPARE_PAGE,
        steps=size.trials * len(plans),
        find=lambda _, progress: compare(plans, progress=progress, **vars(size)),
        write=write_comparison,
        sentences=comparison_sentences,
        screen=comparison_screen,
        text=comparison_table,
        document=comparison_document,
        saved="compare_sheet.pdf, compare.html, compare.json, figures/",
    )


def numbers_to_state(plan: Plan) -> Command[FirstNumbers]:
    """The numbers that a plan leaves open and that move its NPV most."""
    from orchardsim.analysis.first_numbers import first_numbers
    from orchardsim.report.check import check_document, state_first_lines, state_first_text
    from orchardsim.report.levels.words import first_number_lines
    from orchardsim.results.first_numbers import KIND

    return Command(
        heading="the numbers to state first",
        kind=KIND,
        files=[],
        page="",
        steps=1,
        find=lambda _, progress: first_numbers(plan),
        write=lambda folder, found: folder.finish(),
        sentences=lambda found: state_first_lines(found, plan.formats),
        screen=lambda found: state_first_text(found, plan.formats),
        text=lambda found: "\n".join(["", *first_number_lines(found, plan.formats)]),
        document=lambda found: check_document(plan, found),
        saved="",
    )


def stress_test(plan: Plan, size: Size, only: Sequence[str] | None = None) -> Command[Stress]:
    """Named bad seasons at every leaf."""
    from orchardsim.analysis.stress import choose, stress, stress_size
    from orchardsim.report.stress.page import stress_files, write_stress
    from orchardsim.report.stress.words import stress_screen, stress_sentences, stress_table
    from orchardsim.results.stress import KIND, STRESS_PAGE, stress_document

    chosen = choose(only)
    return Command(
        heading=f"{plan.title}: {len(chosen)} bad seasons at every leaf, {size.trials} futures of {size.years} years",
        kind=KIND,
        files=stress_files(),
        page=STRESS_PAGE,
        steps=stress_size(plan, size.trials, size.years, chosen),
        find=lambda _, progress: stress(plan, bad_seasons=chosen, progress=progress, **vars(size)),
        write=write_stress,
        sentences=stress_sentences,
        screen=stress_screen,
        text=stress_table,
        document=stress_document,
        saved="stress.html, stress.json, figures/",
    )


def search_for_spares(plan: Plan, size: Size) -> Command[SparesAnswer]:
    """How many trees to hold and to order."""
    from orchardsim.analysis.spares import check_spares, spares
    from orchardsim.report.spares.page import spares_files, write_spares
    from orchardsim.report.spares.table import spares_screen, spares_text
    from orchardsim.report.spares.words import spares_sentences
    from orchardsim.results.spares import KIND, SPARES_PAGE, spares_document

    check_spares(plan, size.trials, size.years)
    half = size.trials // 2
    return Command(
        heading=f"{plan.title}: policies chosen on {half} futures of {size.years} years, told from "
        f"{size.trials - half}; takes about eight times as long as a run of as many futures",
        kind=KIND,
        files=spares_files(),
        page=SPARES_PAGE,
        steps=100,
        find=lambda _, progress: spares(plan, progress=progress, **vars(size)),
        write=write_spares,
        sentences=spares_sentences,
        screen=spares_screen,
        text=spares_text,
        document=spares_document,
        saved="spares.html, spares.json, figures/",
    )


def look_at_levels(plan: Plan, size: Size) -> Command[LevelsFound]:
    """What each open level does to the money; one process does it all."""
    from orchardsim.analysis import levels
    from orchardsim.report.levels.page import levels_files, write_levels
    from orchardsim.report.levels.words import levels_screen, levels_sentences, levels_text
    from orchardsim.results.levels import KIND, LEVELS_PAGE, levels_document

    trials, years, seed = size.trials, size.years, size.seed
    return Command(
        heading=f"{plan.title}: open levels, {trials} futures of {years} years",
        kind=KIND,
        files=levels_files(),
        page=LEVELS_PAGE,
        steps=trials * levels.levels_size(plan),
        find=lambda _, progress: levels.look_at_levels(plan, trials=trials, years=years, seed=seed, progress=progress),
        write=write_levels,
        sentences=levels_sentences,
        screen=levels_screen,
        text=levels_text,
        document=levels_document,
        saved="levels.html, levels.json, figures/",
    )


def declared_study(study: Study, jobs: int, dask: str | None = None) -> Command[StudyAnswer]:
    """A declared experiment over keys of a plan."""
    from orchardsim.analysis.study import run_study, study_differs, study_identity, study_size
    from orchardsim.analysis.study_answers import study_findings
    from orchardsim.report.study.page import write_study
    from orchardsim.report.study.words import study_screen, study_sentences, study_table
    from orchardsim.results.study import KIND, STUDY_FILE, STUDY_PAGE
    from orchardsim.results.study_tables import study_document

    def find(folder: OutputFolder | None, progress: Progress) -> StudyAnswer:
        results = run_study(study, jobs=jobs, out=folder, dask=dask, progress=progress)
        return StudyAnswer(study_findings(results), results)

    return Command(
        heading=f"{study!r}".strip("<>"),
        kind=KIND,
        files=[STUDY_FILE, STUDY_PAGE],
        page=STUDY_PAGE,
        steps=study_size(study),
        find=find,
        write=lambda folder, found: write_study(folder, found.findings, found.results.dataset()),
        sentences=lambda found: study_sentences(found.findings),
        screen=lambda found: study_screen(found.findings),
        text=lambda found: study_table(found.findings),
        document=lambda found: study_document(found.findings),
        saved="study.html, trials.nc, methods.txt, tables (.csv) and figures",
        kept={"identity": study_identity(study), "differs": study_differs},
    )


@dataclass(frozen=True)
class StudyAnswer:
    """What a study found, and its trials."""

    findings: StudyFindings
    results: Any


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


@dataclass(frozen=True)
class Learned:
    """What measured trees told, and what follows from it as far as it was asked for."""

    fit: Fit
    following: NextAnswer | None = None
    waiting: WaitAnswer | None = None


def learning(
    plan: Plan,
    text: str,
    measurements: Path,
    size: Size,
    *,
    following: bool = False,
    waiting: bool = False,
    between: str | None = None,
    record: str | None = None,
    say: Callable[[str], object] = lambda line: None,
) -> Command[Learned]:
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
    record : str, optional
        Path of the plan's weather record as seen from the folder, where it has one of its own.
    """
    import tomllib

    from orchardsim.analysis.decision import options_of
    from orchardsim.analysis.fit import fit
    from orchardsim.analysis.waiting import WAITS
    from orchardsim.plan.coming import young_blocks
    from orchardsim.plan.learned import read_learned
    from orchardsim.plan.raw import subtable
    from orchardsim.report.fit.next_words import next_sentences, shift_sentences, wait_sentences
    from orchardsim.report.fit.page import write_fit
    from orchardsim.report.fit.words import fit_screen, fit_sentences, fit_text
    from orchardsim.results.fit import FIT_FILE, FIT_PAGE, KIND, LEARNED_FILE, fit_document

    assert plan.path is not None
    name, folder_of_plan = plan.path.name, plan.path.parent
    carried = subtable(tomllib.loads(text), "futures").get("learned")
    before = read_learned(folder_of_plan / carried, plan.where) if isinstance(carried, str) else None
    choices = options_of(plan, between) if following or waiting else ()
    if choices:
        young_blocks(plan)
    runs = (len(choices) + 1 if following else 0) + ((len(WAITS) + 1) * len(choices) + 1 if waiting else 0)

    def find(folder: OutputFolder | None, progress: Progress) -> Learned:
        found = fit(plan, measurements, seed=size.seed, before=before, say=say)
        return _followed(found, between, size, following, waiting, progress)

    def write(folder: OutputFolder, found: Learned) -> None:
        written = {name: found.fit.plan_text(text, record=record), LEARNED_FILE: found.fit.learned.text()}
        write_fit(folder, found.fit.findings, written, found.following, found.waiting)

    return Command(
        heading="learning from measured trees" + (", then simulating the options" if choices else ""),
        kind=KIND,
        files=[FIT_FILE, FIT_PAGE, LEARNED_FILE, name],
        page=FIT_PAGE,
        steps=runs * size.trials,
        find=find,
        write=write,
        sentences=lambda found: [
            *fit_sentences(found.fit.findings),
            *(shift_sentences(found.following) + next_sentences(found.following) if found.following else ()),
            *(wait_sentences(found.waiting) if found.waiting else ()),
        ],
        screen=lambda found: fit_screen(found.fit.findings, found.following, found.waiting),
        text=lambda found: fit_text(found.fit.findings, found.following, found.waiting),
        document=lambda found: fit_document(found.fit.findings, found.following, found.waiting),
        saved=f"{name} (carries what was learned in {LEARNED_FILE}; run, compare, spares and study read it), "
        f"{FIT_PAGE}, {FIT_FILE}",
    )


def _followed(
    found: Fit, between: str | None, size: Size, following: bool, waiting: bool, progress: Progress
) -> Learned:
    """What to measure next and what waiting is worth, as far as they are asked for."""
    from orchardsim.analysis.decision import NOT_PLANTED, money_of, option_tables, options_of
    from orchardsim.analysis.next_measurements import next_measurements
    from orchardsim.analysis.waiting import worth_of_waiting
    from orchardsim.plan.coming import without_coming

    after = wait = None
    if not (following or waiting):
        return Learned(found)
    plan, learned, raw = found.prior, found.plan.futures.learned, found.tables()
    choices = options_of(plan, between)
    if following:
        tables = [(one.name, option_tables(raw, one, plan.where)) for one in choices]
        tables.append((NOT_PLANTED, without_coming(plan, raw)))
        money = money_of(plan, tables, progress=progress, **vars(size))
        after = next_measurements(plan, learned, money, found.next_season, seed=size.seed)
    if waiting:
        wait = worth_of_waiting(plan, raw, learned, choices, found.next_season, progress=progress, **vars(size))
    return Learned(found, after, wait)
