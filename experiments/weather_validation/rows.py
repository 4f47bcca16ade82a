"""One row of the validation table, and the record that everything is fitted to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orchardsim.weather.bundled import bundled_record_path
from orchardsim.weather.sampling import prepare_record

Floats = NDArray[np.float64]
LATITUDE = 34.7
ELEVATION = 250.0


@dataclass
class Table:
    """Rows of the validation, in order."""

    rows: list[dict[str, Any]] = field(default_factory=list)

    def add(
        self,
        name: str,
        observed: float | None,
        generated: float | None,
        low: float | None,
        high: float | None,
        *,
        note: str = "",
        judge: float | None = None,
    ) -> bool:
        """Add a row; it is met where ``judge`` (by default ``generated``) lies from ``low`` to ``high``.

        A row without bounds is reported only and its ``met`` is null.
        """
        value = generated if judge is None else judge
        met: bool | None = None
        if low is not None or high is not None:
            met = value is not None and not math.isnan(value)
            met = met and (low is None or value >= low) and (high is None or value <= high)
        clean = [None if number is None or math.isnan(number) else float(f"{number:.6g}") for number in
                 (observed, generated, low, high)]  # fmt: skip
        self.rows.append(
            {
                "id": name,
                "observed": clean[0],
                "generated": clean[1],
                "low": clean[2],
                "high": clean[3],
                "met": met if met is None else bool(met),
            }
            | ({"note": note} if note else {})
        )
        return bool(met)

    def shares(self) -> dict[str, dict[str, int]]:
        """Rows with bounds and rows met, by the first part of the id."""
        result: dict[str, dict[str, int]] = {}
        for row in self.rows:
            if row["met"] is None:
                continue
            part = result.setdefault(row["id"].split(".")[0], {"rows": 0, "met": 0})
            part["rows"] += 1
            part["met"] += bool(row["met"])
        return result


@dataclass(frozen=True)
class Record:
    """Complete seasons of the bundled record: windows of 457 days and the first 365 of them."""

    year: NDArray[np.int64]
    low_window: Floats
    high_window: Floats

    @property
    def low(self) -> Floats:
        """Daily minimum, (season, 365) [degC]."""
        return self.low_window[:, :365]

    @property
    def high(self) -> Floats:
        """Daily maximum, (season, 365) [degC]."""
        return self.high_window[:, :365]


def bundled_record() -> Record:
    """Complete seasons of the bundled record."""
    table = prepare_record(bundled_record_path(), LATITUDE).table
    return Record(table.harvest_year, table.temperature_min, table.temperature_max)
