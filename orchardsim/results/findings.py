"""What an analysis found, kept whole beside its page, so that the page can be built again without running anything."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from orchardsim.core.errors import InputError
from orchardsim.core.files import check_file
from orchardsim.core.memory import check_memory

STRUCTURE: Final = "structure"
VERSION: Final = 4
"""Version of the format: kinds by topic and name, fields as the dataclass lists them."""
ROOMS: Final = (
    "results.comparison", "results.fit", "results.levels", "results.next", "results.published", "results.spares",
    "results.stress", "results.study", "results.weather",
    "risk.bands", "risk.comparison", "risk.contrasts", "risk.record", "risk.utility",
    "weather.climate", "weather.history",
)  # fmt: skip
"""Modules whose dataclasses are kinds of findings; nothing else is ever made from a file."""


@functools.cache
def kinds() -> dict[str, type]:
    """Kind of findings, such as "comparison Pair" -> its dataclass."""
    return {
        kind: one
        for room in ROOMS
        for one in vars(importlib.import_module(f"orchardsim.{room}")).values()
        if isinstance(one, type) and dataclasses.is_dataclass(one) and (kind := _kind(one)).split()[0] in room
    }


def _kind(found: type) -> str:
    return f"{found.__module__.rpartition('.')[2]} {found.__name__}"


def findings_path(document: Path) -> Path:
    """Where findings are kept: beside their JSON document, under its name."""
    return document.with_suffix(".npz")


def findings_bytes(found: Any) -> bytes:
    """A dataclass of dataclasses, mappings, tuples, arrays and plain values, as the content of a file."""
    arrays: dict[str, np.ndarray] = {}
    structure = json.dumps({"version": VERSION, "findings": _plain(found, arrays)})
    held = io.BytesIO()
    np.savez_compressed(held, **{STRUCTURE: np.array(structure)}, **arrays)  # type: ignore[arg-type]
    return held.getvalue()


def read_findings(path: Path) -> Any:
    """What :func:`findings_bytes` made a file of.

    Raises
    ------
    InputError
        If there is no such file, or it is damaged or of another version.
    """
    check_file(path, "what an analysis found (.npz)")
    try:
        with zipfile.ZipFile(path) as packed:
            check_memory(sum(one.file_size for one in packed.infolist()), str(path), "the findings")
        with np.load(path, allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        document = json.loads(str(arrays.pop(STRUCTURE)))
        if document["version"] != VERSION:
            raise ValueError(f"version {document['version']}")
        return _whole(document["findings"], arrays)
    except InputError:
        raise
    except Exception as error:  # whatever the libraries make of bytes that are not theirs
        raise InputError(
            str(path), "cannot be read: it is damaged or was written by another version; run the command again"
        ) from error


def _plain(value: Any, arrays: dict[str, np.ndarray]) -> Any:
    if isinstance(value, np.ndarray):
        name = f"array_{len(arrays)}"
        arrays[name] = value
        return {"array": name}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {each.name: _plain(getattr(value, each.name), arrays) for each in dataclasses.fields(value)}
        if kinds().get(_kind(type(value))) is not type(value):
            raise TypeError(f"findings cannot hold a {type(value).__name__}")
        return {"kind": _kind(type(value)), "fields": fields}
    if isinstance(value, Mapping):
        return {"mapping": [[_plain(key, arrays), _plain(one, arrays)] for key, one in value.items()]}
    if isinstance(value, (tuple, list)):
        return {"tuple" if isinstance(value, tuple) else "list": [_plain(one, arrays) for one in value]}
    if isinstance(value, np.generic):
        return value.item()
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    raise TypeError(f"findings cannot hold a {type(value).__name__}")


def _whole(value: Any, arrays: Mapping[str, np.ndarray]) -> Any:
    if not isinstance(value, dict):
        return value
    (kind, content), *more = value.items()
    if kind == "array":
        return arrays[content]
    if kind == "mapping":
        return {_whole(key, arrays): _whole(one, arrays) for key, one in content}
    if kind in ("tuple", "list"):
        members = [_whole(one, arrays) for one in content]
        return tuple(members) if kind == "tuple" else members
    return kinds()[content](**{key: _whole(one, arrays) for key, one in more[0][1].items()})
