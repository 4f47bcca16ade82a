"""A resolved plan: the stages' parameters, what was assumed, and what the plan says of itself."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np

from orchardsim.core.files import check_file
from orchardsim.core.futures import Futures
from orchardsim.core.geometry import Geometry
from orchardsim.core.units import Display, display
from orchardsim.economy.blocks import BlockMoney, inherited_area
from orchardsim.economy.parameters import IdleLand, TreePrice
from orchardsim.operations.parameters import Crew
from orchardsim.plan.filling import Assumption
from orchardsim.plan.formats import PlanFormats
from orchardsim.plan.model import Sections
from orchardsim.plan.pollination import Pollinizer
from orchardsim.plan.row_group import RowGroup
from orchardsim.plan.tables import Stated
from orchardsim.season.parameters import BlockSite
from orchardsim.trees.parameters import BlockPlan
from orchardsim.weather.parameters import WeatherSettings

HASHED = (
    "currency",
    "price_year",
    "bin_mass",
    "box_mass",
    "weather",
    "blocks",
    "idle_land",
    "replacement",
    "crews",
    "work_rates",
    "support_rates",
    "support",
    "costs",
    "market",
    "finance",
    "tree_price",
    "hazards",
    "physiology",
    "futures",
    "calendar_year",
)
"""What a run depends on; title, place name and display units change no number."""

Json = str | int | float | bool | None | list["Json"] | dict[str, "Json"]


@dataclass(frozen=True)
class ResolvedBlock:
    """One block, ready for the stages.

    Attributes
    ----------
    plan : BlockPlan
        Layout, row groups and ground.
    site : BlockSite
        For the season room.
    pollinizers : tuple of Pollinizer
        Extra trees that take no planting position; they are bought and kept, their fruit is not counted.
    """

    name: str
    plan: BlockPlan
    site: BlockSite
    pollinizers: tuple[Pollinizer, ...] = ()

    @property
    def geometry(self) -> Geometry:
        """Rows and areas of the whole block."""
        return self.plan.layout

    @property
    def groups(self) -> tuple[RowGroup, ...]:
        """Row groups, in the order of the results' block axis."""
        return cast("tuple[RowGroup, ...]", self.plan.groups)

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the row groups on the results' block axis."""
        return self.plan.labels

    @property
    def year_planted(self) -> int:
        """Year of the plan in which the block is planted; its leaf 1."""
        return self.plan.year_planted

    def positions(self, label: str | None = None, row: int | None = None) -> tuple[int, ...]:
        """Planting positions of a row (counted from 1), of a row group, or of the whole block."""
        layout = self.plan.layout
        at = np.arange(layout.trees)
        rows = at // layout.trees_per_row
        if row is not None:
            at = at[rows == row - 1]
        elif label is not None:
            at = at[np.asarray(layout.group)[rows] == self.labels.index(label)]
        return tuple(at.tolist())

    def with_groups(self, change: Callable[[RowGroup], RowGroup]) -> ResolvedBlock:
        """The same block with each row group changed."""
        groups = tuple(change(group) for group in self.groups)
        return dataclasses.replace(self, plan=dataclasses.replace(self.plan, groups=groups))

    def leaf(self, year: int) -> int:
        """Growing season of the first planting in a year of the plan; 0 or less before it."""
        return year - self.plan.year_planted + 1


@dataclass(frozen=True, repr=False)
class Plan(Sections):
    """A planting plan, read, checked and resolved; its sections stand in :class:`orchardsim.plan.model.Sections`.

    Attributes
    ----------
    path : Path or None
        File that it was read from.
    units : str
        "us" or "metric": how results are shown.
    assumptions : tuple of Assumption
        Every number that the plan does not state itself, with its unit, source and status.
    warnings : tuple of str
        What is legal but looks wrong or needs the user's eye.
    stated : tuple of Stated
        Every value that the plan states, as it was read.
    idle_land : tuple of IdleLand
        Land of the farm without trees.
    scenario : str
        Name of the scenario of the plan file that this is; empty for the plan itself.
    calendar_year : int or None
        Year in which the crop of year 0 is picked; where it is stated, years before year 0 are those of the record.
    """

    path: Path | None
    title: str
    site_name: str
    units: str
    currency: str
    price_year: int
    bin_mass: float
    box_mass: float
    weather: WeatherSettings
    blocks: tuple[ResolvedBlock, ...]
    crews: tuple[Crew, ...]
    tree_price: Mapping[str, TreePrice]
    futures: Futures
    assumptions: tuple[Assumption, ...]
    warnings: tuple[str, ...] = ()
    stated: tuple[Stated, ...] = ()
    idle_land: tuple[IdleLand, ...] = ()
    calendar_year: int | None = None
    scenario: str = ""

    def __repr__(self) -> str:
        groups = sum(len(block.plan.groups) for block in self.blocks)
        trees = sum(block.plan.layout.trees for block in self.blocks)
        told = f"blocks {len(self.blocks)}, row groups {groups}, trees {trees:,}"
        return f"<Plan {self.title!r}: {told}; {self.currency} of {self.price_year}>"

    @property
    def where(self) -> str:
        """Name of the plan for messages."""
        return str(self.path) if self.path is not None else "plan"

    def harvest_year(self, year: int) -> int:
        """Calendar year of the harvest of a year of a plan that states ``calendar_year``."""
        assert self.calendar_year is not None
        return self.calendar_year + year

    @property
    def terms(self) -> dict[str, Any]:
        """Name, units and money of the plan, as findings tell them."""
        return {
            "title": self.title,
            "plan_name": self.path.name if self.path is not None else "plan",
            "display_units": self.units,
            "currency": self.currency,
            "price_year": self.price_year,
            "real_or_nominal": self.finance.basis,
            "bin_mass": self.bin_mass,
            "box_mass": self.box_mass,
        }

    @property
    def display(self) -> Display:
        """Units in which results are shown."""
        return display(self.units)

    @property
    def formats(self) -> PlanFormats:
        """Shows single numbers in the plan's units."""
        return PlanFormats(self.units, self.currency, self.weather.latitude, self.box_mass)

    @property
    def groups(self) -> tuple[RowGroup, ...]:
        """All row groups, in the order of the results' block axis."""
        return tuple(group for block in self.blocks for group in block.groups)

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of all row groups on the results' block axis, without ``shared``."""
        return tuple(group.label for group in self.groups)

    @property
    def money(self) -> tuple[BlockMoney, ...]:
        """What the economy needs to know of each row group, in the order of ``labels``."""
        return tuple(group.money for group in self.groups)

    @property
    def planted_area(self) -> float:
        """Land under the trees' own spacing [m2]."""
        return math.fsum(block.geometry.planted_area for block in self.blocks)

    @property
    def gross_area(self) -> float:
        """Land with headlands, and land that lies idle [m2]; land that passes on from block to block counts once."""
        held = math.fsum(block.geometry.gross_area for block in self.blocks)
        return held - math.fsum(inherited_area(self.money)) + math.fsum(land.gross_area for land in self.idle_land)

    @functools.cached_property
    def hash(self) -> str:
        """Fingerprint (SHA-256) of everything that a run of this plan depends on, without paths or titles."""
        content = {name: canonical(getattr(self, name)) for name in HASHED}
        text = json.dumps(content, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def with_futures(self, **changes: Any) -> Plan:
        """The same plan knowing other things of its open levels: fields of :class:`orchardsim.core.futures.Futures`."""
        return dataclasses.replace(self, futures=dataclasses.replace(self.futures, **changes))

    def with_known_futures(self) -> Plan:
        """The same plan with every open level at its middle."""
        return self.with_futures(known=True)

    def with_groups(self, change: Callable[[RowGroup], RowGroup]) -> Plan:
        """The same plan with each row group changed."""
        return dataclasses.replace(self, blocks=tuple(block.with_groups(change) for block in self.blocks))

    def document(self) -> dict[str, Json]:
        """The whole plan as plain JSON values: what it states, what was assumed for it, and all that a run reads.

        Returns dict: ``stated`` and ``assumed`` (one entry a number: key, value, unit and meaning or source and
        status), and ``resolved``, the stages' parameters in the units inside the program; files by name and content.
        """
        return {
            "stated": [readable(stated) for stated in self.stated],
            "assumed": [readable(assumption) for assumption in self.assumptions],
            "resolved": {name: readable(getattr(self, name)) for name in ("title", "units", *HASHED)},
        }

    def with_record(self, record: Path | str) -> Plan:
        """The same plan on another station record.

        Raises InputError if there is no such plain file.
        """
        path = Path(record)
        check_file(path, "a daily station record")
        return dataclasses.replace(self, weather=dataclasses.replace(self.weather, record=path))


def canonical(value: object) -> Json:
    """A value as plain JSON that is the same on every machine: files by content, numbers in full precision."""
    return _json(value, lambda path: {"file": _content(path)}, float.hex)


def readable(value: object) -> Json:
    """A value as plain JSON for people and programs: files by name and content, infinite numbers as words."""
    return _json(value, lambda path: {"file": path.name, "sha256": _content(path)}, float)


def _json(value: object, file: Callable[[Path], Json], number: Callable[[float], Json]) -> Json:
    def inner(each: object) -> Json:
        return _json(each, file, number)

    if isinstance(value, Path):
        return file(value)
    if isinstance(value, np.ndarray):
        return {"array": hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: inner(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): inner(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [inner(item) for item in value]
    if value is None or isinstance(value, (bool, str, int)):
        return value
    plain = float(cast("float", value))
    return number(plain) if math.isfinite(plain) else str(plain)


def _content(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return "missing"
