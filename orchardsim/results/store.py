"""Results of a run as files: NetCDF written a few trials at a time, read whole or by variable."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file
from orchardsim.core.memory import check_memory
from orchardsim.core.text import visible
from orchardsim.results.dataset import FORMAT
from orchardsim.results.folder import OutputFolder

if TYPE_CHECKING:
    import xarray

RESULTS_FILE: Final = "results.nc"
SUMMARY_FILE: Final = "summary.json"
REPORT_FILE: Final = "report.html"
SHEET_FILE: Final = "sheet.html"
SHEET_PAPER: Final = "sheet.pdf"
FIGURES_FOLDER: Final = "figures"
RUN: Final = "run"
"""Kind of the files of a run, in the words of a message."""

CHUNK_TRIALS: Final = 25
"""Trials that are written, and packed, together; the bytes of the file hang on it."""
SCALAR_CHUNK_TRIALS: Final = 1000
"""The same for numbers with one value per trial."""
CHUNK_CACHE: Final = 2**16
"""Memory for unpacked chunks of each variable of an open file [byte]; all are read once, in order."""

SMALL: Final = 2e7
"""Results up to this size are read into memory when they are opened [byte]: quicker than variable by variable."""


def write_run(out_dir: str | Path, dataset: xarray.Dataset, summary: Mapping[str, Any], force: bool = False) -> Path:
    """Write ``results.nc`` and ``summary.json`` of a run into a folder, made where there is none; gives the folder.

    ``force`` replaces another run; its report and pictures go too, for they would tell of the old one.

    Raises
    ------
    InputError
        If the folder may not be written.
    """
    with OutputFolder(out_dir, RUN, names=(RESULTS_FILE, SUMMARY_FILE), force=force) as folder:
        folder.write(RESULTS_FILE, lambda path: write_netcdf(path, chunks(dataset)))
        folder.write_text(SUMMARY_FILE, dump_summary(summary))
        folder.finish()
    return folder.place


def chunks(dataset: xarray.Dataset) -> Iterator[xarray.Dataset]:
    """A result in pieces of :data:`CHUNK_TRIALS` trials, as :func:`write_netcdf` wants it."""
    for start in range(0, dataset.sizes["trial"], CHUNK_TRIALS):
        yield dataset.isel(trial=slice(start, start + CHUNK_TRIALS))


def write_netcdf(path: Path, pieces: Iterable[xarray.Dataset]) -> None:
    """Write a result piece by piece, in trial order, each of :data:`CHUNK_TRIALS` trials but the last.

    What has no trials is taken from the first.

    Raises
    ------
    OSError
        If the disk is full, or the NetCDF library fails otherwise.
    """
    import netCDF4

    pieces = iter(pieces)
    first = next(pieces)
    try:
        with _small_chunk_cache():
            first.to_netcdf(
                path, engine="netcdf4", format="NETCDF4", encoding=_encoding(first), unlimited_dims=["trial"]
            )
            with netCDF4.Dataset(path, "a") as file:
                file.set_auto_maskandscale(False)
                start = first.sizes["trial"]
                for piece in pieces:
                    stop = start + piece.sizes["trial"]
                    for name, values in piece.variables.items():
                        if values.dims[:1] == ("trial",):
                            file.variables[str(name)][start:stop] = values.values
                    start = stop
    except RuntimeError as error:  # what the NetCDF library raises, a full disk included
        raise OSError(None, f"{error} (is the disk full?)") from error


def add_attributes(path: Path, attributes: Mapping[str, str]) -> None:
    """Write more attributes into a NetCDF file."""
    import netCDF4

    try:
        with netCDF4.Dataset(path, "a") as file:
            file.setncatts(attributes)
    except RuntimeError as error:
        raise OSError(None, f"{error} (is the disk full?)") from error


def read_results(out_dir: str | Path) -> xarray.Dataset:
    """Read a saved run back, all of it into memory; ``out_dir`` and errors as those of :func:`open_results`."""
    with open_results(out_dir) as dataset:
        check_memory(dataset.nbytes, str(out_dir), "the results")
        with _readable(out_dir):
            return dataset.load()


@contextlib.contextmanager
def open_results(out_dir: str | Path) -> Iterator[xarray.Dataset]:
    """Open a saved run; unless it is small, values are read when they are asked for and not kept.

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
    with _readable(path), _small_chunk_cache():
        dataset = xarray.open_dataset(path, engine="netcdf4", decode_times=False, cache=False)
    with dataset:
        if dataset.nbytes <= SMALL:
            with _readable(path):
                dataset.load()
        if "orchardsim_results" not in dataset.attrs:
            raise InputError(str(path), "is a NetCDF file, but not the result of a run of orchardsim")
        found = dataset.attrs["orchardsim_results"]
        if str(found) != str(FORMAT):
            raise InputError(
                str(path),
                f"was saved in layout {visible(str(found), 20)}, this version reads layout {FORMAT}: run the plan anew",
            )
        yield dataset


def dump_summary(summary: Mapping[str, Any]) -> str:
    """The summary as it stands in its file: keys in the order of the document, one number a line."""
    return json.dumps(summary, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


@contextlib.contextmanager
def _readable(path: str | Path) -> Iterator[None]:
    try:
        yield
    except Exception as error:  # whatever the libraries make of bytes that are not theirs
        raise InputError(str(path), "is not a NetCDF file, or it is damaged") from error


@contextlib.contextmanager
def _small_chunk_cache() -> Iterator[None]:
    """Files opened within keep few unpacked chunks; by default the library keeps 16 MB of each of some 60 variables."""
    import netCDF4

    before = netCDF4.get_chunk_cache()
    netCDF4.set_chunk_cache(CHUNK_CACHE)
    try:
        yield
    finally:
        netCDF4.set_chunk_cache(*before)


def _encoding(dataset: xarray.Dataset) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for key, values in dataset.variables.items():
        name, packed = str(key), {"zlib": True, "complevel": 1}
        if values.dims == ("trial",):
            found[name] = {"chunksizes": (SCALAR_CHUNK_TRIALS,)}
        elif values.dims[:1] == ("trial",):
            found[name] = packed | {"chunksizes": (CHUNK_TRIALS, *values.shape[1:])}
        elif values.ndim > 1:
            found[name] = packed
    return found
