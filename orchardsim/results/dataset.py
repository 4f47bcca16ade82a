"""Results become one labelled Dataset, checked against the variable table on the way in."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.core.calendar import QUARTERS
from orchardsim.core.labels import BOX_COUNTS, CAUSES, GRADES, OUTLETS, SHARED, TASKS
from orchardsim.core.ledger_items import ITEM
from orchardsim.core.variables import RESULTS, Variable

if TYPE_CHECKING:
    import xarray

FORMAT: Final = 4
"""Number of the layout of result files; a later layout gets a higher number."""

BLOCK_COORDS: Final = {
    "cultivar": ("cultivar of the row group", None),
    "rootstock": ("rootstock of the row group", None),
    "training": ("training system of the row group", None),
    "tree_spacing": ("distance between trees in the row", "m"),
    "row_spacing": ("distance between rows", "m"),
}
"""What each label of ``block`` is: meaning and unit; empty or missing under ``shared``."""

CONVENTIONS: Final = "CF-1.11"
"""Climate and Forecast conventions that the files follow; money has no unit there, so it is named in ``currency``."""

COORDINATES: Final = {
    "trial": "simulated future",
    "year": "year of the plan; 0 is the first outlay",
    "quarter": "quarter of the biological year",
    "block": "block or row group; shared: what belongs to no block",
    "cause": "cause of a tree's death",
    "grade": "grade of packed fruit",
    "box_count": "number of fruit in a box",
    "outlet": "outlet that fruit is sold to",
    "task": "task of the crews",
    "ledger_item": "item of the ledger",
}
"""Dims of a result and what each label of them is."""
DIMENSIONS: Final = (*COORDINATES, "tree_trial", "tree")

REQUIRED_ATTRIBUTES: Final = (
    "title",
    "plan_name",
    "display_units",
    "currency",
    "price_year",
    "real_or_nominal",
    "seed",
    "trials",
    "version",
    "plan_hash",
    "weather_method",
    "weather_words",
    "baseline_years",
    "notes",
    "plan",
    "frost_years",
    "bin_mass",
    "box_mass",
    "latitude",
)
"""What every result must say of itself; words and lists are kept as text, lists as JSON."""

_FIXED_LABELS: Final = {
    "cause": CAUSES,
    "grade": GRADES,
    "box_count": BOX_COUNTS,
    "outlet": OUTLETS,
    "quarter": QUARTERS,
    "task": TASKS,
    "ledger_item": tuple(ITEM),
}


def build_dataset(
    arrays: Mapping[str, np.ndarray], coords: Mapping[str, Iterable[Any]], attrs: Mapping[str, Any]
) -> xarray.Dataset:
    """Put the arrays of a run under their labels, with units and meanings from the variable table.

    Parameters
    ----------
    arrays : mapping of str to array
        One array for each row of :data:`orchardsim.core.variables.RESULTS`, dims in the order of the table; rows
        over single trees and open levels may be left out. An array over ``block`` may leave out the label ``shared``,
        and is then 0 there if blocks sum up, else missing.
    coords : mapping of str to labels
        ``block`` (labels of the plan's blocks) and, of each, :data:`BLOCK_COORDS`; ``trial`` and ``year`` if they do
        not run 0, 1, 2, ...; the labels of ``cause``, ``grade``, ``box_count``, ``outlet``, ``task`` and
        ``ledger_item`` are those of :mod:`orchardsim.core` unless given.
    attrs : mapping
        At least :data:`REQUIRED_ATTRIBUTES`. ``display_units`` is "us" or "metric"; the arrays are SI-based either way.

    Returns
    -------
    xarray.Dataset

    Raises
    ------
    ValueError
        If an array is absent or unknown, or its shape, kind, bounds or missing values break the table. Results
        come from the model, so this is a fault of the program and not of the plan.

    Notes
    -----
    ``shared`` is added after the plan's labels: what belongs to no block stands there, so that a sum over ``block`` is
    the farm. What does not sum is missing there.
    """
    import xarray

    _check_attributes(attrs)
    labels = _labels(arrays, coords)
    absent = [name for name, row in RESULTS.items() if name not in arrays and not _optional(row)]
    if absent:
        raise ValueError("results lack " + ", ".join(absent))
    unknown = sorted(set(arrays) - set(RESULTS))
    if unknown:
        raise ValueError("results hold variables that are not in the variable table: " + ", ".join(unknown))

    beside = {name: list(coords[name]) for name in BLOCK_COORDS if name in coords}
    variables = {}
    for name, row in RESULTS.items():
        if name not in arrays:
            continue
        values = _checked(row, np.asarray(arrays[name]), labels)
        variables[name] = (row.dims, values, _variable_attributes(row, attrs))
    used = {dim for row_dims, _, _ in variables.values() for dim in row_dims}
    return xarray.Dataset(
        variables,
        coords={
            **{dim: (dim, values, {"long_name": COORDINATES[dim]}) for dim, values in labels.items() if dim in used},
            **{name: _block_coord(name, values) for name, values in beside.items()},
        },
        attrs={
            "Conventions": CONVENTIONS,
            "orchardsim_results": FORMAT,
            **{key: _plain(value) for key, value in attrs.items()},
        },
    )


def _optional(row: Variable) -> bool:
    """Whether results may lack a variable: single trees that nobody asked for, levels of runs that knew of none."""
    return "tree" in row.dims or row.writer == "futures"


def attribute(dataset: xarray.Dataset, name: str) -> Any:
    """An attribute of a result, lists and tables read back from their JSON text; None where it has none.

    Examples
    --------
    >>> import xarray
    >>> attribute(xarray.Dataset(attrs={"notes": '["no rain in the record"]'}), "notes")
    ['no rain in the record']
    """
    value = dataset.attrs.get(name)
    if isinstance(value, str) and value[:1] in ("[", "{"):
        try:
            return json.loads(value)
        except json.JSONDecodeError:
            return value
    if isinstance(value, np.generic):
        return value.item()
    return value


def resolved(dataset: xarray.Dataset) -> dict[str, Any]:
    """The plan's resolved values; nothing in a dataset that was put together by hand."""
    plan = attribute(dataset, "plan")
    found: dict[str, Any] = plan.get("resolved", {}) if isinstance(plan, dict) else {}
    return found


def _check_attributes(attrs: Mapping[str, Any]) -> None:
    absent = [name for name in REQUIRED_ATTRIBUTES if name not in attrs]
    if absent:
        raise ValueError("results lack the attributes " + ", ".join(absent))
    if attrs["display_units"] not in ("us", "metric"):
        raise ValueError(f"display units are 'us' or 'metric', not {attrs['display_units']!r}")
    for name in ("bin_mass", "box_mass"):
        if not float(attrs[name]) > 0:
            raise ValueError(f"{name} must be above 0 kg, found {attrs[name]!r}")


def _labels(arrays: Mapping[str, np.ndarray], coords: Mapping[str, Iterable[Any]]) -> dict[str, np.ndarray]:
    coords = {name: values for name, values in coords.items() if name not in BLOCK_COORDS}
    unknown = sorted(set(coords) - set(DIMENSIONS))
    if unknown:
        raise ValueError(f"results have no dimension {', '.join(unknown)}; allowed: {', '.join(DIMENSIONS)}")
    if "block" not in coords:
        raise ValueError("results lack the labels of block")
    if "harvest_year" not in arrays or np.ndim(arrays["harvest_year"]) != 2:
        raise ValueError("results lack harvest_year over (trial, year), which sets the size of a run")
    trials, years = np.shape(arrays["harvest_year"])
    labels: dict[str, np.ndarray] = {"trial": np.arange(trials), "year": np.arange(years)}
    labels.update({dim: np.array(names, dtype=object) for dim, names in _FIXED_LABELS.items()})
    for dim, values in coords.items():
        given = list(values)
        labels[dim] = np.array(given, dtype=object) if given and isinstance(given[0], str) else np.asarray(given)
    labels["block"] = np.append(labels["block"], np.array([SHARED], dtype=object))
    for dim, names in labels.items():
        if len(set(names.tolist())) != len(names):
            raise ValueError(f"a label stands twice on {dim}")
    if not len(labels["block"]):
        raise ValueError("results lack a label")
    return labels


def _checked(row: Variable, values: np.ndarray, labels: Mapping[str, np.ndarray]) -> np.ndarray:
    missing_dims = [dim for dim in row.dims if dim not in labels]
    if missing_dims:
        raise ValueError(f"{row.name}: no labels for {', '.join(missing_dims)}")
    shape = tuple(len(labels[dim]) for dim in row.dims)
    if values.dtype.kind not in "iufb":
        raise ValueError(f"{row.name}: kind {values.dtype}, expected numbers")
    values = _with_shared(row, values, len(labels["block"]))
    if values.shape != shape:
        raise ValueError(f"{row.name}: shape {values.shape}, expected {shape} over {row.dims}")
    numbers = values.astype(np.float64)
    missing = np.isnan(numbers)
    if missing.any() and not row.may_be_missing:
        allowed = np.zeros(shape, dtype=bool)
        if "block" in row.dims:
            shared = [slice(None)] * len(shape)
            shared[row.dims.index("block")] = slice(-1, None)
            allowed[tuple(shared)] = row.over_blocks != "sum"
        if (missing & ~allowed).any():
            raise ValueError(f"{row.name}: {int((missing & ~allowed).sum())} missing values, none allowed")
    infinite = np.isinf(numbers)
    if infinite.any() and not (numbers[infinite] == row.infinite).all():
        raise ValueError(f"{row.name}: {int(infinite.sum())} infinite values")
    # A float32 sum may pass its bound by rounding; 1e-6 of the bound is beyond any real fault.
    slack = 1e-6 * max(1.0, abs(row.low or 0.0), abs(row.high or 0.0))
    present = numbers[~missing]
    if row.low is not None and present.size and present.min() < row.low - slack:
        raise ValueError(f"{row.name}: {present.min():.6g} {row.unit} is below {row.low:g}")
    if row.high is not None and present.size and present.max() > row.high + slack:
        raise ValueError(f"{row.name}: {present.max():.6g} {row.unit} is above {row.high:g}")
    if row.whole:
        if (present != np.rint(present)).any():
            raise ValueError(f"{row.name}: fractions found, expected whole numbers")
        return numbers if missing.any() or row.infinite is not None else numbers.astype(np.int64)
    return numbers


def _with_shared(row: Variable, values: np.ndarray, labels: int) -> np.ndarray:
    """The array with what stands under ``shared``, where it was left out: nothing of a sum, else missing."""
    if "block" not in row.dims or values.ndim != len(row.dims):
        return values
    axis = row.dims.index("block")
    if values.shape[axis] != labels - 1:
        return values
    shape = (*values.shape[:axis], 1, *values.shape[axis + 1 :])
    return np.concatenate([values, np.full(shape, 0.0 if row.over_blocks == "sum" else np.nan)], axis=axis)


def _block_coord(name: str, values: list[Any]) -> tuple[str, np.ndarray, dict[str, str]]:
    meaning, unit = BLOCK_COORDS[name]
    if unit is None:
        return "block", np.array([*values, ""], dtype=object), {"long_name": meaning}
    return "block", np.array([*values, np.nan], dtype=np.float64), {"long_name": meaning, "units": unit}


def _variable_attributes(row: Variable, attrs: Mapping[str, Any]) -> dict[str, str]:
    found = {"units": row.unit, "long_name": row.meaning}
    if "currency" in row.unit:
        currency = str(attrs["currency"])
        found |= {"units": {"currency": "1", "currency/kg": "kg-1"}[row.unit], "currency": currency}
        found["display_units"] = row.unit.replace("currency", currency)
    return found


def _plain(value: Any) -> str | int | float:
    """Text or number that a NetCDF attribute holds; anything else as JSON."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, (str, int, float)):
        return value
    if value is None:
        return ""
    return json.dumps(value, ensure_ascii=False, default=lambda item: item.tolist())
