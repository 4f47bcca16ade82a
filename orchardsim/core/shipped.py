"""Plans, measurements and studies that ship with the program: in a copy of the repository, or as installed."""

from __future__ import annotations

import functools
import sysconfig
from pathlib import Path


@functools.cache
def shipped_folder() -> Path | None:
    """Folder of the shipped plans; None where this installation holds none."""
    beside = Path(__file__).resolve().parents[2] / "configs"
    schemes = (sysconfig.get_default_scheme(), sysconfig.get_preferred_scheme("user"))
    installed = (Path(sysconfig.get_path("data", scheme)) / "share" / "orchardsim" for scheme in schemes)
    return next((place for place in (beside, *installed) if any(place.glob("*.toml"))), None)


def shipped_plans() -> dict[str, Path]:
    """Plans that ship with the program, by name."""
    place = shipped_folder()
    return {path.stem: path for path in sorted(place.glob("*.toml"))} if place is not None else {}


def shipped_as(name: str) -> Path | None:
    """The shipped file of a name; None where there is none."""
    place = shipped_folder()
    return next((path for path in sorted(place.rglob("*")) if path.name == name), None) if place is not None else None
