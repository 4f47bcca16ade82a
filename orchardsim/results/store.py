"""The result folder: written whole or not at all, never over another run unless told to."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file
from orchardsim.core.memory import check_memory
from orchardsim.core.text import visible
from orchardsim.results.dataset import FORMAT

if TYPE_CHECKING:
    import xarray

RESULTS_FILE: Final = "results.nc"
SUMMARY_FILE: Final = "summary.json"
REPORT_FILE: Final = "report.html"
FIGURES_FOLDER: Final = "figures"


def prepare_run_folder(out_dir: str | Path, *, force: bool = False, resume: bool = False) -> Path:
    """Say before a long run whether its folder may be written; nothing is made or changed.

    Parameters
    ----------
    out_dir : path
        Folder of the run.
    force : bool
        Another run that stands there may be replaced.
    resume : bool
        The run goes on with the finished units of an interrupted one; a finished run in the folder is still
        refused without ``force``.

    Raises
    ------
    InputError
        If the path is a file, cannot be written, or holds another run and ``force`` is not set.
    """
    folder = Path(out_dir)
    if folder.exists() and not folder.is_dir():
        raise InputError(str(folder), "is a file; --out needs a folder")
    held = [name for name in (RESULTS_FILE, SUMMARY_FILE, REPORT_FILE) if (folder / name).exists()]
    if held and not force:
        what = "holds a finished run" if resume else "holds another run"
        raise InputError(
            str(folder), f"{what} ({', '.join(held)}); name another folder with --out, or replace it with --force"
        )
    nearest = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    if not nearest.is_dir():
        raise InputError(str(folder), f"cannot be made: {nearest.name} is a file; --out needs a folder")
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise InputError(str(folder), f"cannot be written: no right to write in {nearest.name or nearest}")
    return folder


def write_run(out_dir: str | Path, dataset: xarray.Dataset, summary: Mapping[str, Any], force: bool = False) -> Path:
    """Write ``results.nc`` and ``summary.json`` of a run.

    Both files are written in full beside their place before either takes it, so that a stopped run leaves no half
    file. With ``force`` the report and pictures of the run that stood there go too, for they would tell of the
    old one.

    Parameters
    ----------
    out_dir : path
        Folder of the run; made where it does not exist.
    dataset : xarray.Dataset
        From :func:`orchardsim.results.build_dataset`.
    summary : mapping
        From :func:`orchardsim.results.summary_document`.
    force : bool
        Replace another run.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    InputError
        If the folder may not be written.
    """
    folder = prepare_run_folder(out_dir, force=force)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        scratch = _scratch(folder, RESULTS_FILE), _scratch(folder, SUMMARY_FILE)
    except OSError as error:
        raise InputError(str(folder), f"the folder cannot be written ({error.strerror or error})") from error
    try:
        packed = {
            str(name): {"zlib": True, "complevel": 1} for name, values in dataset.data_vars.items() if values.ndim > 1
        }
        dataset.to_netcdf(scratch[0], engine="netcdf4", format="NETCDF4", encoding=packed)
        scratch[1].write_text(dump_summary(summary), encoding="utf-8")
        if force:
            _remove_report(folder)
        os.replace(scratch[0], folder / RESULTS_FILE)
        os.replace(scratch[1], folder / SUMMARY_FILE)
    except OSError as error:
        raise InputError(str(folder), f"the results could not be written ({error.strerror or error})") from error
    finally:
        for path in scratch:
            path.unlink(missing_ok=True)
    return folder


def write_text_whole(path: Path, text: str) -> None:
    """Write a text file in full beside its place, then put it there."""
    write_bytes_whole(path, text.encode("utf-8"))


def write_bytes_whole(path: Path, content: bytes) -> None:
    """Write a file in full beside its place, then put it there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    scratch = _scratch(path.parent, path.name)
    try:
        scratch.write_bytes(content)
        os.replace(scratch, path)
    finally:
        scratch.unlink(missing_ok=True)


def read_results(out_dir: str | Path) -> xarray.Dataset:
    """Read a saved run back, all of it into memory.

    Parameters
    ----------
    out_dir : path
        Folder of the run, or its ``results.nc``.

    Raises
    ------
    InputError
        If there is no run, or the file is not one of ours.
    """
    import xarray

    path = Path(out_dir)
    if path.is_dir():
        path = path / RESULTS_FILE
    if not path.exists():
        raise InputError(str(out_dir), f"holds no run: {RESULTS_FILE} is not there")
    check_file(path, "the results of a run (NetCDF)")
    try:
        with xarray.open_dataset(path, engine="netcdf4", decode_times=False) as stored:
            check_memory(stored.nbytes, str(path), "the results")
            dataset = stored.load()
    except InputError:
        raise
    except Exception as error:  # whatever the libraries make of bytes that are not theirs
        raise InputError(str(path), "is not a NetCDF file, or it is damaged") from error
    if "orchardsim_results" not in dataset.attrs:
        raise InputError(str(path), "is a NetCDF file, but not the result of a run of orchardsim")
    found = dataset.attrs["orchardsim_results"]
    if str(found) != str(FORMAT):
        raise InputError(
            str(path),
            f"was saved in layout {visible(str(found), 20)}, this version reads layout {FORMAT}: run the plan anew",
        )
    return dataset


def dump_summary(summary: Mapping[str, Any]) -> str:
    """The summary as it stands in its file: keys in the order of the document, one number a line."""
    return json.dumps(summary, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _scratch(folder: Path, name: str) -> Path:
    handle, path = tempfile.mkstemp(prefix=f".{name}.", suffix=".part", dir=folder)
    os.close(handle)
    # The temporary file is private by default; the results are for whoever the folder is for.
    umask = os.umask(0)
    os.umask(umask)
    os.chmod(path, 0o666 & ~umask)
    return Path(path)


def _remove_report(folder: Path) -> None:
    (folder / REPORT_FILE).unlink(missing_ok=True)
    figures = folder / FIGURES_FOLDER
    if figures.is_dir():
        for path in figures.iterdir():
            if path.suffix in (".svg", ".png"):
                path.unlink()
