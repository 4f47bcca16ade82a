"""The folder that a command writes into: one writer at a time, each file whole, and nothing that is not ours touched.

Beside the results stands a hidden folder with a lock, a manifest and what is not finished yet. The manifest names every
file that this program wrote, with its SHA-256 digest, and is written before the file takes its place: whatever is not
in it, or was changed since, belongs to somebody else and stops the command.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import Any, Final

from orchardsim.core.errors import InputError
from orchardsim.core.files import reason

WORKROOM: Final = ".orchardsim"
"""Hidden folder, within that of the results, for the lock, the manifest and unfinished work."""
MANIFEST: Final = "manifest.jsonl"
LOCK: Final = "lock"
LAYOUT: Final = 1
"""Number of the manifest's layout."""

Differs = Callable[[Mapping[str, Any], Mapping[str, Any]], str | None]


def _differs(before: Mapping[str, Any], now: Mapping[str, Any]) -> str | None:
    return None if before == now else "the interrupted command was another one"


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


class OutputFolder:
    """A folder opened for writing by one command; a context manager.

    Parameters
    ----------
    place : path
        Made where it does not exist, and removed again if nothing was written.
    kind : str
        What is written, in the words of a message: "run", "comparison", ...
    names : sequence of str
        Files that will be written, as far as they are known, so that one in the way is told before any work is done.
    force : bool
        Replace what this program wrote of the same kind.
    resume : bool
        Go on with an interrupted command of the same identity.
    update : bool
        Write again single files of what stands there (``report``).
    identity : mapping, optional
        What the command does; only a command with one can go on.
    differs : callable
        Says in words how two identities differ, or None.
    say : callable
        Told what the user should know.

    Attributes
    ----------
    complete : bool
        ``resume`` found the same command already finished.

    Raises
    ------
    InputError
        On entering: an empty name, a file in the way, another writer, or results that may not be replaced.
    """

    def __init__(
        self,
        place: str | Path,
        kind: str,
        *,
        names: Sequence[str] = (),
        force: bool = False,
        resume: bool = False,
        update: bool = False,
        identity: Mapping[str, Any] | None = None,
        differs: Differs = _differs,
        say: Callable[[str], object] = lambda line: None,
    ) -> None:
        if not str(place).strip():
            raise InputError("--out", "found an empty name, needs the name of a folder")
        self.place, self.kind, self.names, self.say = Path(place), kind, tuple(names), say
        self.force, self.resume, self.update = force, resume, update
        self.identity = json.loads(json.dumps(dict(identity))) if identity is not None else None
        self.differs = differs
        self.complete = False
        self._files: dict[str, set[str]] = {}
        self._kinds: dict[str, str] = {}
        self._begun: dict[str, Any] = {}
        self._done: dict[str, Any] = {}
        self._fresh: dict[str, set[str]] = {}
        self._parts: set[str] = set()
        self._made: list[Path] = []
        self._lock: Any = None

    # ---- opening and closing ----------------------------------------------------------------------------------------

    def __enter__(self) -> OutputFolder:
        try:
            self._make_folders()
            self._take_lock()
            self._read()
            self._admit()
        except OSError as error:
            self.close()
            raise InputError(
                str(self.place), f"cannot be written: {reason(error)}; name another folder with --out"
            ) from error
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the folder free; where nothing was ever written, leave it as it was found."""
        if self._lock is None:
            self._remove_made()
            return
        with contextlib.suppress(OSError):
            self._sweep()
            if not self._files:
                for name in (MANIFEST, LOCK):
                    (self.workroom / name).unlink(missing_ok=True)
                self.workroom.rmdir()
        self._lock.release()
        self._lock = None
        if not self._files:
            self._remove_made()

    @property
    def finished(self) -> bool:
        """Whether all that the command writes stands here."""
        return self.kind in self._done

    @property
    def workroom(self) -> Path:
        """Hidden folder for what is not finished."""
        return self.place / WORKROOM

    def _remove_made(self) -> None:
        for folder in reversed(self._made):
            with contextlib.suppress(OSError):
                folder.rmdir()

    def _make_folders(self) -> None:
        missing = []
        for folder in (self.place, *self.place.absolute().parents):
            if os.path.lexists(folder):
                if not folder.is_dir():
                    what = "is a file" if folder == self.place else f"cannot be made: {folder.name} is a file"
                    raise InputError(str(self.place), f"{what}; --out needs a folder")
                break
            missing.append(folder)
        for folder in reversed(missing):
            folder.mkdir(exist_ok=True)
            self._made.append(folder)
        if os.path.lexists(self.workroom) and not self._is_ours():
            raise InputError(
                str(self.workroom), "stands there and is not this program's; name another folder with --out"
            )
        self.workroom.mkdir(exist_ok=True)

    def _is_ours(self) -> bool:
        """Whether the hidden folder holds our manifest, or nothing yet."""
        if self.workroom.is_symlink() or not self.workroom.is_dir():
            return False
        try:
            with (self.workroom / MANIFEST).open(encoding="utf-8") as stream:
                return json.loads(stream.readline()).get("orchardsim") == LAYOUT
        except (OSError, ValueError, AttributeError):
            lock = self.workroom / LOCK
            empty = not lock.exists() or lock.stat().st_size == 0
            return empty and {path.name for path in self.workroom.iterdir()} <= {LOCK, MANIFEST + ".part"}

    def _take_lock(self) -> None:
        from filelock import FileLock, Timeout

        path = self.workroom / LOCK
        while True:
            lock = FileLock(path, timeout=0)
            try:
                lock.acquire()
            except Timeout:
                raise InputError(
                    str(self.place),
                    "another command is writing into this folder now; wait for it, or name another folder with --out",
                ) from None
            if path.exists():  # else its last owner took the folder away in this moment
                self._lock = lock
                return
            lock.release()
            self.workroom.mkdir(parents=True, exist_ok=True)

    def _admit(self) -> None:
        """Refuse what may not be done here; begin anew or go on."""
        going_on = False
        where = f"--resume {self.place}"
        if self.update:
            going_on = True
        elif self.resume:
            for state in (self._begun, self._done):
                if self.kind in state:
                    problem = self.differs(state[self.kind] or {}, self.identity or {})
                    if problem is not None and not self.force:
                        raise InputError(where, f"{problem}; repeat the same {self.kind}, or start anew with --force")
                    going_on = problem is None
                    self.complete = going_on and state is self._done
                    break
            else:
                if not self.force:
                    raise InputError(where, f"found no interrupted {self.kind} in this folder")
        elif not self.force:
            self._refuse_to_replace()
        for name in self.names:
            self._require_ours(name)
        if not going_on:
            for name in self._in_workroom():
                self._remove(name)
            self._note({"begin": self.kind, "identity": self.identity})

    def _refuse_to_replace(self) -> None:
        held = [
            name
            for name, kind in self._kinds.items()
            if kind == self.kind and "/" not in name and (self.place / name).exists()
        ]
        begun = [name for name in self._fresh.get(self.kind, ()) if (self.place / name).exists()]
        if self.kind in self._begun and self.identity is not None and begun:
            raise InputError(
                str(self.place),
                f"holds an unfinished {self.kind}; go on with it by --resume, or start anew with --force",
            )
        if held:
            raise InputError(
                str(self.place),
                f"holds another {self.kind} ({', '.join(held)}); name another folder with --out, or replace it with "
                "--force",
            )

    # ---- files ------------------------------------------------------------------------------------------------------

    def write(self, name: str, make: Callable[[Path], object]) -> Path:
        """Write a file: in full beside its place, then into it.

        Parameters
        ----------
        name : str
            Within the folder, with "/" between folders.
        make : callable
            Writes the file at the path that it is given.

        Raises
        ------
        InputError
            If the disk is full, or somebody else's file stands in the place.
        """
        part = f"{WORKROOM}/{name.replace('/', '_').lstrip('.')}.{secrets.token_hex(4)}.part"
        target, unfinished = self.place / name, self.place / part
        try:
            self._note({"part": part})
            make(unfinished)
            with unfinished.open("rb+") as stream:
                os.fsync(stream.fileno())
            found = digest(unfinished)
            self._require_ours(name)
            if not name.startswith(WORKROOM + "/"):
                self._retire()
            target.parent.mkdir(exist_ok=True)
            self._note({"file": name, "sha256": found, "kind": self.kind})
            os.replace(unfinished, target)
        except OSError as error:
            raise InputError(str(self.place), f"{name} could not be written: {reason(error)}") from error
        finally:
            with contextlib.suppress(OSError):
                unfinished.unlink(missing_ok=True)
        return target

    def write_text(self, name: str, text: str) -> Path:
        """Write a text file."""
        return self.write_bytes(name, text.encode("utf-8"))

    def write_bytes(self, name: str, content: bytes) -> Path:
        """Write a file of bytes."""
        return self.write(name, lambda path: path.write_bytes(content))

    def holds(self, name: str) -> bool:
        """Whether this command, before or after an interruption, wrote the file and it is still whole."""
        return name in self._fresh.get(self.kind, ()) and self._unchanged(name)

    def unfinished(self, prefix: str) -> list[str]:
        """Files of the hidden folder that were kept of this command and stand there, in order."""
        start = f"{WORKROOM}/{prefix}"
        names = (name for name in self._in_workroom() if name.startswith(start))
        return sorted(name for name in names if (self.place / name).is_file())

    def drop(self, name: str) -> None:
        """Remove a file of the hidden folder."""
        self._remove(name)

    def finish(self) -> None:
        """All is written: remove what earlier results left, and what was kept to go on with."""
        self._retire()
        for name in self._in_workroom():
            self._remove(name)
        if not self.update:
            self._apply({"done": self.kind})
        self._compact()

    def _in_workroom(self) -> list[str]:
        start = WORKROOM + "/"
        return [name for name, kind in self._kinds.items() if kind == self.kind and name.startswith(start)]

    def _unchanged(self, name: str) -> bool:
        path = self.place / name
        try:
            return not path.is_symlink() and path.is_file() and digest(path) in self._files.get(name, ())
        except OSError:
            return False

    def _require_ours(self, name: str) -> None:
        target = self.place / name
        if target.parent != self.place and os.path.lexists(target.parent) and not target.parent.is_dir():
            raise InputError(str(target.parent), "is a file where a folder is needed; move it, or name another --out")
        if not os.path.lexists(target):
            return
        damaged_part = name.startswith(WORKROOM + "/") and name in self._files
        if self._kinds.get(name) != self.kind or not (damaged_part or self._unchanged(name)):
            raise InputError(
                str(target),
                "was not written by this program, or was changed since: move it, or name another folder with --out",
            )

    def _retire(self) -> None:
        """Take away what an earlier command of this kind wrote, once the first new file is whole."""
        if self.update:
            return
        fresh = self._fresh.get(self.kind, set())
        for name in [name for name, kind in self._kinds.items() if kind == self.kind and name not in fresh]:
            self._remove(name)

    def _remove(self, name: str) -> None:
        if name.startswith(WORKROOM + "/") or self._unchanged(name):
            (self.place / name).unlink(missing_ok=True)
        self._note({"removed": name})

    # ---- manifest ---------------------------------------------------------------------------------------------------

    def _read(self) -> None:
        path = self.workroom / MANIFEST
        for record in _records(path):
            self._apply(record)
        self._sweep()
        self._compact()

    def _sweep(self) -> None:
        for part in self._parts:
            if part.startswith(WORKROOM + "/") and part.endswith(".part"):
                (self.place / part).unlink(missing_ok=True)
        self._parts.clear()

    def _apply(self, record: Mapping[str, Any]) -> None:
        if "begin" in record:
            kind = record["begin"]
            self._begun[kind] = record["identity"]
            self._done.pop(kind, None)
            self._fresh[kind] = set()
        elif "file" in record:
            name, kind = record["file"], record["kind"]
            self._files.setdefault(name, set()).add(record["sha256"])
            self._kinds[name] = kind
            self._fresh.setdefault(kind, set()).add(name)
        elif "part" in record:
            self._parts.add(record["part"])
        elif "removed" in record:
            self._files.pop(record["removed"], None)
            kind = self._kinds.pop(record["removed"], "")
            self._fresh.get(kind, set()).discard(record["removed"])
        elif "done" in record:
            kind = record["done"]
            self._done[kind] = record.get("identity", self._begun.get(kind))
            self._begun.pop(kind, None)

    def _note(self, record: Mapping[str, Any]) -> None:
        with (self.workroom / MANIFEST).open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(record, ensure_ascii=False) + "\n")
        self._apply(record)

    def _compact(self) -> None:
        """Write the manifest anew, without what no longer matters."""
        lines: list[dict[str, Any]] = [{"orchardsim": LAYOUT}]
        fresh = {(kind, name) for kind, names in self._fresh.items() for name in names}
        entries = {
            name: [{"file": name, "sha256": each, "kind": self._kinds[name]} for each in sorted(digests)]
            for name, digests in self._files.items()
        }
        for name, records in entries.items():
            if (self._kinds[name], name) not in fresh:
                lines += records
        lines += [{"begin": kind, "identity": identity} for kind, identity in self._begun.items()]
        for name, records in entries.items():
            if (self._kinds[name], name) in fresh:
                lines += records
        lines += [{"done": kind, "identity": identity} for kind, identity in self._done.items()]
        part = self.workroom / (MANIFEST + ".part")
        part.write_text("".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines), encoding="utf-8")
        os.replace(part, self.workroom / MANIFEST)


@contextlib.contextmanager
def opened(place: str | Path | OutputFolder, kind: str, names: Sequence[str] = ()) -> Iterator[OutputFolder]:
    """The folder itself where it is open already; else opened to write some of its files again."""
    if isinstance(place, OutputFolder):
        yield place
        return
    with OutputFolder(place, kind, names=names, update=True) as folder:
        yield folder


def _records(path: Path) -> Iterator[dict[str, Any]]:
    """Records of a manifest; a last line that a kill cut short says nothing."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return
    for line in text.splitlines():
        with contextlib.suppress(ValueError):
            record = json.loads(line)
            if isinstance(record, dict) and all(_inside(record[key]) for key in ("file", "part") if key in record):
                yield record


def _inside(name: str) -> bool:
    """Whether a name stays within the folder; a manifest that was tampered with may say anything."""
    path = PurePosixPath(str(name))
    return not path.is_absolute() and ".." not in path.parts and ":" not in str(name) and "\\" not in str(name)
