"""Pages of saved comparisons, stress tests and searches for spares, built again from what they kept."""

from __future__ import annotations

import json
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
from orchardsim.results.store import RESULTS_FILE, SUMMARY_FILE
from orchardsim.results.stress import STRESS_FILE, Stress
from orchardsim.results.study import STUDY_FILE, StudyFindings


@dataclass(frozen=True)
class Rebuilt:
    """A page that was built again: its path, what the command prints of it, and the numbers that stand beside it.

    Attributes
    ----------
    page : pathlib.Path
    screen, text : callable
        The short answer and the long one.
    numbers : str
        Name of the JSON file beside the page.
    """

    page: Path
    screen: Callable[[], str]
    text: Callable[[], str]
    numbers: str

    def document(self) -> dict[str, Any]:
        """The numbers as they were saved."""
        found: dict[str, Any] = json.loads((self.page.parent / self.numbers).read_text(encoding="utf-8"))
        return found


def _run(folder: Path) -> Rebuilt:
    from orchardsim.report.run.first_screen import first_screen
    from orchardsim.report.run.page import write_report
    from orchardsim.report.run.table import headline_table
    from orchardsim.results import read_results

    dataset = read_results(folder)
    return Rebuilt(
        write_report(folder),
        lambda: first_screen(dataset),
        lambda: f"{first_screen(dataset, whole=True)}\n\n{headline_table(dataset)}",
        SUMMARY_FILE,
    )


def _comparison(folder: Path) -> Rebuilt:
    from orchardsim.report.compare.page import write_comparison
    from orchardsim.report.compare.table import comparison_screen, comparison_table

    found = _kept(folder / COMPARE_FILE, Comparison)
    page = write_comparison(folder, found)
    return Rebuilt(page, lambda: comparison_screen(found), lambda: comparison_table(found), COMPARE_FILE)


def _stress(folder: Path) -> Rebuilt:
    from orchardsim.report.stress.page import write_stress
    from orchardsim.report.stress.words import stress_screen, stress_table

    found = _kept(folder / STRESS_FILE, Stress)
    return Rebuilt(write_stress(folder, found), lambda: stress_screen(found), lambda: stress_table(found), STRESS_FILE)


def _spares(folder: Path) -> Rebuilt:
    from orchardsim.report.spares.page import write_spares
    from orchardsim.report.spares.table import spares_screen, spares_text

    found = _kept(folder / SPARES_FILE, SparesAnswer)
    return Rebuilt(write_spares(folder, found), lambda: spares_screen(found), lambda: spares_text(found), SPARES_FILE)


def _study(folder: Path) -> Rebuilt:
    from orchardsim.report.study.page import write_study
    from orchardsim.report.study.words import study_screen, study_table

    found = _kept(folder / STUDY_FILE, StudyFindings)
    return Rebuilt(write_study(folder, found), lambda: study_screen(found), lambda: study_table(found), STUDY_FILE)


def _fit(folder: Path) -> Rebuilt:
    from orchardsim.report.fit.page import write_fit
    from orchardsim.report.fit.words import fit_screen, fit_text

    kept = _kept(folder / FIT_FILE, Kept)
    said = (kept.found, kept.following, kept.waiting)
    page = write_fit(folder, kept.found, None, kept.following, kept.waiting)
    return Rebuilt(page, lambda: fit_screen(*said), lambda: fit_text(*said), FIT_FILE)


def _levels(folder: Path) -> Rebuilt:
    from orchardsim.report.levels.page import write_levels
    from orchardsim.report.levels.words import levels_screen, levels_text

    found = _kept(folder / LEVELS_FILE, LevelsFound)
    return Rebuilt(write_levels(folder, found), lambda: levels_screen(found), lambda: levels_text(found), LEVELS_FILE)


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
