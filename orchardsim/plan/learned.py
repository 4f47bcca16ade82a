"""What measured trees taught, kept in a file beside the plan: written by ``fit``, read with the plan that names it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from orchardsim.core.errors import InputError
from orchardsim.core.files import read_bytes
from orchardsim.core.futures import OPEN_LEVELS, Learned
from orchardsim.core.text import quoted
from orchardsim.plan.futures import LEARNED
from orchardsim.plan.plan import Plan, canonical
from orchardsim.plan.raw import RawTable

EXPECTED: Final = "what `orchardsim fit` learned (JSON)"
LARGEST_FILE: Final = 20_000_000
LAYOUT: Final = 1
DIGITS: Final = 6
"""Significant digits of a kept draw."""


@dataclass(frozen=True)
class LearnedFile:
    """Content of the file.

    Attributes
    ----------
    blocks : tuple of str
        Blocks that were measured.
    ground : str
        Fingerprint of those blocks and of all that the draws rest on; see :func:`ground_of`.
    needs : mapping
        Cultivar -> what bloom dates said of its ``chill_requirement`` and ``bloom_heat``: ``before`` and ``after``.
    rows : tuple of tuple of str
        Every measurement used, so that later ones add up with them.
    """

    blocks: tuple[str, ...]
    ground: str
    learned: Learned
    needs: Mapping[str, Mapping[str, Sequence[float]]]
    rows: tuple[tuple[str, ...], ...]

    def text(self) -> str:
        """The file as it is written."""
        draws = [[float(f"{value:.{DIGITS}g}") for value in row] for row in self.learned.draws]
        content = {
            "layout": LAYOUT,
            "blocks": list(self.blocks),
            "ground": self.ground,
            "parts": [list(part) for part in self.learned.parts],
            "needs": {name: {key: list(pair) for key, pair in own.items()} for name, own in self.needs.items()},
            "measurements": [list(row) for row in self.rows],
            "draws": draws,
        }
        return json.dumps(content | {"sha256": _digest(content)}, separators=(",", ":")).replace("],[", "],\n[") + "\n"


def _digest(content: RawTable) -> str:
    text = json.dumps({key: content[key] for key in content if key != "sha256"}, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def read_learned(path: Path, where: str) -> LearnedFile:
    """Read what was learned.

    ``where``: the plan that names it, for messages. Raises InputError if the file is missing, damaged, or something
    else.
    """
    try:
        raw = json.loads(read_bytes(path, EXPECTED, LARGEST_FILE))
        if raw["layout"] != LAYOUT or raw["sha256"] != _digest(raw):
            raise ValueError
        parts = tuple((str(level), str(key)) for level, key in raw["parts"])
        draws = np.array(raw["draws"], dtype=np.float64).reshape(-1, len(parts))
        if any(level not in OPEN_LEVELS for level, _ in parts) or not len(draws) or not np.isfinite(draws).all():
            raise ValueError
        return LearnedFile(
            tuple(raw["blocks"]), raw["ground"], Learned(parts, draws), raw["needs"],
            tuple(tuple(row) for row in raw["measurements"]),
        )  # fmt: skip
    except InputError as error:
        raise InputError(where, f"futures.learned: {quoted(path.name)} {error.problem}") from None
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(
            where,
            f"futures.learned: {quoted(path.name)} is damaged or no file of `orchardsim fit`; allowed: the file as "
            "`fit` wrote it; fit the measurements again",
        ) from None


def ground_of(plan: Plan, blocks: Sequence[str]) -> str:
    """Fingerprint of what draws rest on: the measured blocks, the levels before measuring, weather, and the trees' own
    numbers. What else stands on the farm, prices and work may change without harm.
    """
    ground: list[object] = []
    for block in plan.blocks:
        if block.name in blocks:
            groups = [
                (group.cultivar, group.stock, group.grade, group.rows, group.cultivar_name, group.stock_name)
                for group in block.groups
            ]
            ground += [block.name, block.year_planted, block.plan.layout, block.plan.training, block.site, groups]
    weather = plan.weather
    levels = {name: dict(own) for name, own in plan.futures.stated.items()}
    content = [ground, levels, plan.physiology, plan.hazards, weather.record, weather.latitude, plan.calendar_year]
    text = json.dumps(canonical(content), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def carrying_learned(plan: Plan, futures: RawTable | None, folder: Path) -> Plan:
    """The plan with the file of what was learned that its ``[futures]`` may name, relative to a folder.

    Raises InputError if it was learned on other blocks, other levels, another record, or with other numbers of the
    trees.
    """
    name = (futures or {}).get(LEARNED)
    if name is None:
        return plan
    if not isinstance(name, str):
        raise InputError(
            plan.where,
            f"futures.{LEARNED}: found {quoted(name)}, expected the name of a file that `orchardsim fit` wrote",
        )
    file = read_learned(folder / name, plan.where)
    missing = [block for block in file.blocks if block not in [own.name for own in plan.blocks]]
    if missing:
        raise InputError(
            plan.where,
            f"futures.learned: {quoted(name)} was learned in block {quoted(missing[0])}, which the plan does not have; "
            "allowed: a file of this plan",
        )
    if ground_of(plan, file.blocks) != file.ground:
        raise InputError(
            plan.where,
            f"futures.learned: {quoted(name)} belongs to another plan: block {', '.join(file.blocks)}, the levels in "
            "[futures], the weather record or the trees' numbers differ from those it was fitted with; fit again",
        )
    return plan.with_futures(learned=file.learned)
