"""Pages of saved comparisons, stress tests and searches for spares, built again from what they kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file, reason
from orchardsim.results.comparison import COMPARE_FILE, Comparison
from orchardsim.results.findings import findings_path, read_findings
from orchardsim.results.fit import FIT_FILE, Kept
from orchardsim.results.levels import LEVELS_FILE, LevelsFound
from orchardsim.results.spares import SPARES_FILE, SparesAnswer
from orchardsim.results.store import RESULTS_FILE
from orchardsim.results.stress import STRESS_FILE, Stress
from orchardsim.results.study import STUDY_FILE, StudyFindings


@dataclass(frozen=True)
class Rebuilt:
    """A page that was built again: its path and what the command prints."""

    page: Path
    text: str


def _run(folder: Path) -> Rebuilt:
    from orchardsim.report.run.first_screen import first_screen
    from orchardsim.report.run.page import write_report
    from orchardsim.report.run.table import headline_table
    from orchardsim.results import read_results

    dataset = read_results(folder)
    text = "\n".join([first_screen(dataset), "", headline_table(dataset)])
    return Rebuilt(write_report(folder), text)


def _comparison(folder: Path) -> Rebuilt:
    from orchardsim.report.compare.page import write_comparison
    from orchardsim.report.compare.table import comparison_table

    found = _kept(folder / COMPARE_FILE, Comparison)
    return Rebuilt(write_comparison(folder, found), comparison_table(found))


def _stress(folder: Path) -> Rebuilt:
    from orchardsim.report.stress.page import write_stress
    from orchardsim.report.stress.words import stress_sentences, stress_table

    found = _kept(folder / STRESS_FILE, Stress)
    return Rebuilt(write_stress(folder, found), "\n".join([stress_table(found), "", *stress_sentences(found)]))


def _spares(folder: Path) -> Rebuilt:
    from orchardsim.report.spares.page import write_spares
    from orchardsim.report.spares.table import spares_table
    from orchardsim.report.spares.words import spares_sentences

    found = _kept(folder / SPARES_FILE, SparesAnswer)
    return Rebuilt(write_spares(folder, found), "\n".join([*spares_sentences(found), "", spares_table(found)]))


def _study(folder: Path) -> Rebuilt:
    from orchardsim.report.study.page import write_study
    from orchardsim.report.study.words import study_table

    found = _kept(folder / STUDY_FILE, StudyFindings)
    return Rebuilt(write_study(folder, found), study_table(found))


def _fit(folder: Path) -> Rebuilt:
    from orchardsim.report.fit.next_words import next_table, wait_table
    from orchardsim.report.fit.page import write_fit
    from orchardsim.report.fit.words import fit_table

    kept = _kept(folder / FIT_FILE, Kept)
    page = write_fit(folder, kept.found, None, kept.following, kept.waiting)
    text = [fit_table(kept.found)]
    text += [next_table(kept.following)] if kept.following is not None else []
    text += [wait_table(kept.waiting)] if kept.waiting is not None else []
    return Rebuilt(page, "\n\n".join(text))


def _levels(folder: Path) -> Rebuilt:
    from orchardsim.report.levels.page import write_levels
    from orchardsim.report.levels.words import levels_text

    found = _kept(folder / LEVELS_FILE, LevelsFound)
    return Rebuilt(write_levels(folder, found), levels_text(found))


KINDS: dict[str, Callable[[Path], Rebuilt]] = {
    RESULTS_FILE: _run,
    COMPARE_FILE: _comparison,
    STRESS_FILE: _stress,
    SPARES_FILE: _spares,
    STUDY_FILE: _study,
    FIT_FILE: _fit,
    LEVELS_FILE: _levels,
}
"""File that tells what a folder holds -> how its page is built."""


def rebuild(out_dir: str | Path, say: Callable[[str], object] = lambda line: None) -> list[Rebuilt]:
    """Build every page of a folder again: of a run, a comparison, a stress test, a search for spares.

    Parameters
    ----------
    out_dir : path
        Folder that a command wrote with ``--out``, or the ``results.nc`` of a run.
    say : callable
        Told what the folder holds before the drawing begins.

    Raises
    ------
    InputError
        If the folder holds none of them, or what it holds cannot be read.
    """
    folder = Path(out_dir)
    try:
        if not folder.is_dir():
            check_file(folder, "a folder written with --out, or its results.nc")
            return [_run(folder)]
    except (OSError, ValueError) as error:
        raise InputError(str(folder), f"cannot be read: {reason(error)}") from None
    found = [build for name, build in KINDS.items() if (folder / name).exists()]
    if not found:
        raise InputError(str(out_dir), f"holds nothing to report: allowed is a folder with one of {', '.join(KINDS)}")
    say(f"{out_dir}: drawing the report of what is saved")
    return [build(folder) for build in found]


def _kept(document: Path, kind: type) -> Any:
    path = findings_path(document)
    if not path.exists():
        raise InputError(
            str(path),
            f"is not there: {document.name} alone does not hold all that the page shows; run the command again",
        )
    found = read_findings(path)
    if not isinstance(found, kind):
        raise InputError(str(path), f"holds no {kind.__name__.lower()}; run the command again")
    return found
