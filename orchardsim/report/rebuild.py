"""Pages of saved folders, built again from what the folders kept."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file, reason
from orchardsim.report.pages import Kind
from orchardsim.results.findings import findings_path, read_findings
from orchardsim.results.store import RESULTS_FILE, SUMMARY_FILE

KINDS: Final = ("compare", "stress", "spares", "study", "fit", "levels", "weather")
"""Folders of this room whose page makes a kind of findings; its files go by the same name."""


@dataclass(frozen=True)
class Rebuilt:
    """A page that was built again, the short answer and the long one, and the name of the JSON file beside it."""

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


def _findings(folder: Path, stem: str) -> Rebuilt:
    kind: Kind[Any] = importlib.import_module(f"orchardsim.report.{stem}.page").KIND
    path = findings_path(folder / kind.numbers)
    if not path.exists():
        raise InputError(
            str(path),
            f"is not there: {kind.numbers} alone does not hold all that the page shows; run the command again",
        )
    found = read_findings(path)
    if not isinstance(found, kind.findings):
        raise InputError(str(path), f"holds no {kind.name}; run the command again")
    return Rebuilt(kind.write(folder, found), lambda: kind.screen(found), lambda: kind.text(found), kind.numbers)


def rebuild(out_dir: str | Path, say: Callable[[str], object] = lambda line: None) -> list[Rebuilt]:
    """Build every page of a folder again: of a run, and of every kind of findings.

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
    runs, stems = (folder / RESULTS_FILE).exists(), [stem for stem in KINDS if (folder / f"{stem}.json").exists()]
    if not runs and not stems:
        allowed = ", ".join([RESULTS_FILE, *(f"{stem}.json" for stem in KINDS)])
        raise InputError(str(out_dir), f"holds nothing to report: allowed is a folder with one of {allowed}")
    say(f"{out_dir}: drawing the report of what is saved")
    return [*([_run(folder)] if runs else []), *(_findings(folder, stem) for stem in stems)]
