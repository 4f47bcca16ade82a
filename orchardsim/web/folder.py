"""The chosen folder: the only place that the page reads plans from and writes into."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from pathlib import Path
from typing import Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import read_bytes, reason
from orchardsim.weather.bundled import RECORDS

PLAN_NAME: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .-]{0,59}\.toml")
RECORD_NAME: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .-]{0,79}\.(csv|dly|nc|txt|gz)")
MEASURED_NAME: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ .-]{0,79}\.csv")
"""Names that mean the same on every system and lead out of no folder."""
LARGEST_PLAN: Final = 500_000
LARGEST_RECORD: Final = 200_000_000
"""Bytes; an hourly record of a century stays below. Our own choice."""
SHOWN: Final = {
    ".html": "text/html; charset=utf-8",
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".txt": "text/plain; charset=utf-8",
    ".toml": "text/plain; charset=utf-8",
    ".nc": "application/x-netcdf",
}
"""Files of a kept piece of work that are handed out, and what they are."""


class Folder:
    """A folder with plans, weather records and what was made from them."""

    def __init__(self, place: Path) -> None:
        self.place = place.resolve()
        if not self.place.is_dir():
            raise InputError(str(place), "no such folder; expected the folder that holds your plans")

    def plans(self) -> list[str]:
        """Names of the plan files, without ending."""
        return sorted(path.stem for path in self.place.glob("*.toml") if PLAN_NAME.fullmatch(path.name))

    def plan_path(self, name: str) -> Path:
        """Path of a plan.

        Raises
        ------
        InputError
            If the name is none of a plan.
        """
        if not PLAN_NAME.fullmatch(f"{name}.toml"):
            raise InputError(
                "name", f"found {name!r}; allowed: letters, digits, spaces, points and hyphens, at most 60 in all"
            )
        return self._inside(f"{name}.toml")

    def record_path(self, name: str) -> Path:
        """Path of a weather record; raises as :meth:`plan_path`."""
        if not RECORD_NAME.fullmatch(name):
            raise InputError("weather", f"found the file name {name!r}; allowed: a .csv, .dly, .nc, .txt or .gz file")
        return self._inside(name)

    def check_named(self, key: str, name: object) -> None:
        """Stop where a file that a plan names, such as its weather record, lies outside.

        Raises
        ------
        InputError
            Naming the key.
        """
        if isinstance(name, str) and name not in RECORDS:
            found = Path(os.path.normpath(self.place / name))
            if not (found.is_relative_to(self.place) and found.resolve().is_relative_to(self.place)):
                raise InputError(
                    key, f"{key}: found {name!r}, which leads out of the chosen folder; bring the file into it"
                )

    def measured_path(self, name: str) -> Path:
        """Path of a table of measured trees; raises as :meth:`plan_path`."""
        if not MEASURED_NAME.fullmatch(name):
            raise InputError("measurements", f"found the file name {name!r}; allowed: a .csv file")
        return self._inside(name)

    def kept(self, name: str) -> Path:
        """Folder of what was made from a plan."""
        return self._inside(f"{self.plan_path(name).stem} - kept")

    def numbers(self, name: str) -> list[int]:
        """Numbers of the pieces of work kept under a plan, oldest first."""
        place = self.kept(name)
        found = place.iterdir() if place.is_dir() else ()
        return sorted(int(path.name) for path in found if path.is_dir() and path.name.isdecimal())

    def reserve(self, name: str) -> int:
        """A new number for a piece of work; its folder is made, so that no other program takes it."""
        number = max(self.numbers(name), default=0)
        while True:
            number += 1
            try:
                (self.kept(name) / str(number)).mkdir(parents=True)
            except FileExistsError:
                continue
            except OSError as error:
                raise InputError(self.kept(name).name, f"cannot be written into: {reason(error)}") from error
            return number

    def release(self, name: str, number: int) -> None:
        """Give a number back whose folder holds nothing."""
        with contextlib.suppress(OSError):
            (self.kept(name) / str(number)).rmdir()

    def kept_file(self, name: str, number: int, inside: str) -> Path | None:
        """A file of a kept piece of work; None where there is none that may be shown."""
        place = self.kept(name) / str(number)
        path = (place / inside).resolve()
        hidden = any(part.startswith(".") for part in Path(inside).parts)
        if hidden or not path.is_relative_to(place) or path.suffix not in SHOWN or not path.is_file():
            return None
        return path

    def new(self, path: Path, content: bytes) -> None:
        """Write a new file whole.

        Raises
        ------
        InputError
            If another file has its name, or it cannot be written.
        """
        if path.exists() and path.read_bytes() != content:
            raise InputError(path.name, "stands in the folder already and holds something else; choose another name")
        self.replace(path, content)

    def replace(self, path: Path, content: bytes) -> None:
        """Write a file whole in the place of an earlier one."""
        unfinished = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
        try:
            unfinished.write_bytes(content)
            unfinished.replace(path)
        except OSError as error:
            raise InputError(path.name, f"could not be written: {reason(error)}") from error
        finally:
            unfinished.unlink(missing_ok=True)

    def read_plan(self, name: str) -> bytes:
        """Content of a plan file."""
        return read_bytes(self.plan_path(name), "a plan file (TOML)", LARGEST_PLAN)

    def _inside(self, name: str) -> Path:
        path = self.place / name
        if path.resolve().parent != self.place:
            raise InputError(name, "leads out of the chosen folder; expected a file in it")
        return path
