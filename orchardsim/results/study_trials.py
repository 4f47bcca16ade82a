"""Every measure of every cell of a study by trial, and the same as a dataset that opens anywhere."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from orchardsim.core.errors import InputError
from orchardsim.results.next import WaitAnswer, WaitRow
from orchardsim.results.study import MeasureFacts, StudyDesign

if TYPE_CHECKING:
    import xarray

    from orchardsim.results.folder import OutputFolder

Array = NDArray[np.float64]
FILE: Final = "trials.nc"
DESIGN: Final = "study_design"
"""Attribute that holds the design of a study as JSON."""
WAITING: Final = "study_waiting"
"""Attribute that holds what waiting is worth, as JSON."""
KNOWN: Final = "_levels_known"
"""Ending of a measure's name in the trials whose open levels stood at their middle."""


@dataclass(frozen=True)
class StudyTrials:
    """Every measure of every cell by trial.

    Attributes
    ----------
    values : mapping
        Measure -> array (cell, trial), inside units; measures that some cell lacks are left out.
    known : mapping
        Measure -> array (cell, known trial): the first trials again, with every open level at its middle.
    drawn : mapping
        Open level, such as "site_growth of north" -> array (trial,); the same in all cells that have it.
    waiting : tuple of (circumstance, WaitAnswer)
        Where the study weighs planting later.
    """

    design: StudyDesign
    facts: Mapping[str, MeasureFacts]
    values: Mapping[str, Array]
    known: Mapping[str, Array]
    drawn: Mapping[str, Array]
    waiting: tuple[tuple[str, WaitAnswer], ...] = ()

    def dataset(self) -> xarray.Dataset:
        """The trials as a dataset.

        Returns
        -------
        xarray.Dataset
            Dims (factor, ..., trial), or (cell, trial) of a Latin hypercube; ``known_trial`` where open levels stood at
            their middle; ``drawn_level`` over (level, trial); CF attributes.
        """
        import xarray

        design = self.design
        names = list(design.factors)
        coords: dict[str, Any] = {"trial": ("trial", np.arange(design.trials), {"long_name": "simulated future"})}
        if design.factorial:
            coords |= {name: (name, np.array(levels, dtype=object)) for name, levels in design.factors.items()}
            dims: tuple[str, ...] = tuple(names)
        else:
            for (name, levels), column in zip(design.factors.items(), design.levels.T, strict=True):
                drawn = design.values.get(name)
                coords[name] = (
                    "cell",
                    np.array(drawn or [levels[at] for at in column], dtype=None if drawn else object),
                )
            coords["cell"] = ("cell", np.arange(design.cells))
            dims = ("cell",)
        variables: dict[str, Any] = {}
        for key, array in self.values.items():
            one = self.facts[key]
            about = {
                "long_name": one.name,
                "units": one.unit,
                "comment": one.meaning,
                "better": one.better,
                "has_mean": int(one.has_mean),
            }
            variables[key] = ((*dims, "trial"), self._shaped(array), about)
            if key in self.known:
                about = about | {"long_name": f"{one.name}, open levels at their middle"}
                variables[key + KNOWN] = ((*dims, "known_trial"), self._shaped(self.known[key]), about)
        if self.drawn:
            coords["level"] = ("level", np.array(list(self.drawn), dtype=object))
            about = {"long_name": "open level that the trial met", "units": "1"}
            variables["drawn_level"] = (("level", "trial"), np.stack(list(self.drawn.values())), about)
        declared = {
            each.name: getattr(design, each.name) for each in dataclasses.fields(design) if each.name != "attrs"
        }
        attrs = {"Conventions": "CF-1.11", **design.attrs, DESIGN: json.dumps(declared, default=_plain)}
        if self.waiting:
            attrs[WAITING] = json.dumps([[name, dataclasses.asdict(one)] for name, one in self.waiting])
        return xarray.Dataset(variables, coords, attrs)

    def _shaped(self, array: Array) -> Array:
        if not self.design.factorial:
            return array
        sizes = [len(levels) for levels in self.design.factors.values()]
        shaped = np.empty((*sizes, array.shape[1]))
        shaped[tuple(self.design.levels.T)] = array
        return shaped

    @classmethod
    def of(cls, dataset: xarray.Dataset) -> StudyTrials:
        """Read back what :meth:`dataset` wrote.

        Raises
        ------
        InputError
            If the dataset is not that of a study.
        """
        if DESIGN not in dataset.attrs:
            raise InputError("dataset", "holds no study; expected what study() gave, or the trials.nc of a study")
        attrs = {key: value for key, value in dataset.attrs.items() if key not in (DESIGN, WAITING, "Conventions")}
        design = _design(json.loads(dataset.attrs[DESIGN]), attrs)
        facts, values, known = {}, {}, {}

        def by_cell(name: str) -> Array:
            array = np.asarray(dataset[name].values, dtype=np.float64)
            return array[tuple(design.levels.T)] if design.factorial else array

        for name in map(str, dataset.data_vars):
            if "better" not in dataset[name].attrs or name.endswith(KNOWN):
                continue
            about = dataset[name].attrs
            facts[name] = MeasureFacts(
                name, about["long_name"], about["comment"], about["units"], about["better"], bool(about["has_mean"])
            )
            values[name] = by_cell(name)
            if name + KNOWN in dataset:
                known[name] = by_cell(name + KNOWN)
        drawn = {}
        if "drawn_level" in dataset:
            levels = dataset["drawn_level"]
            drawn = {str(name): levels.values[row] for row, name in enumerate(dataset["level"].values)}
        return cls(design, facts, values, known, drawn, _waiting(json.loads(dataset.attrs.get(WAITING, "[]"))))


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray) else dict(value)


def _waiting(document: list[Any]) -> tuple[tuple[str, WaitAnswer], ...]:
    def of(found: dict[str, Any]) -> WaitAnswer:
        rows = tuple(WaitRow(**{**row, "shares": tuple(row["shares"])}) for row in found["rows"])
        return WaitAnswer(**{**found, "options": tuple(found["options"]), "rows": rows})

    return tuple((name, of(found)) for name, found in document)


def _design(document: dict[str, Any], attrs: dict[str, Any]) -> StudyDesign:
    many = {
        "factors": {name: tuple(levels) for name, levels in document["factors"].items()},
        "sets": {name: tuple(words) for name, words in document["sets"].items()},
        "values": {name: tuple(values) for name, values in document["values"].items()},
        "levels": np.array(document["levels"], dtype=np.int64).reshape(-1, len(document["factors"])),
    }
    return StudyDesign(**(document | many), attrs=attrs)


def write_trials(folder: OutputFolder, trials: StudyTrials) -> None:
    """Keep the trials in the classic format, which holds no time of writing: the same study is the same file."""
    folder.write(FILE, lambda path: trials.dataset().to_netcdf(path, engine="scipy", format="NETCDF3_64BIT"))
