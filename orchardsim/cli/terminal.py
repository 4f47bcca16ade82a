"""What is printed never stops the work: a closed pipe, a full device and a terminal without our letters."""

from __future__ import annotations

import codecs
import contextlib
import os
import sys
import unicodedata
from collections.abc import Iterator
from typing import Any, Final, TextIO

PLAIN: Final = {
    "±": "+/-", "°": "deg ", "–": "-", "—": "-", "×": "x", "²": "2", "³": "3", "…": "...", "≤": "<=", "≥": ">=",
    "·": ".", "µ": "u", "’": "'", "‘": "'", "“": '"', "”": '"', "→": "->", "−": "-", "½": "1/2", " ": " ",
}  # fmt: skip
"""What stands for a letter that a terminal cannot show."""


def plain(text: str, encoding: str) -> str:
    """Text with plain letters where an encoding lacks them.

    Examples
    --------
    >>> plain("12 ± 3 m²", "ascii")
    '12 +/- 3 m2'
    """

    def replace(error: UnicodeError) -> tuple[str, int]:
        assert isinstance(error, UnicodeEncodeError)
        parts = []
        for letter in error.object[error.start : error.end]:
            base = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
            parts.append(PLAIN.get(letter) or base or "?")
        return "".join(parts), error.end

    codecs.register_error("orchardsim_plain", replace)
    return text.encode(encoding, "orchardsim_plain").decode(encoding)


class SafeStream:
    """A text stream whose faults are kept, not raised; all else is the stream's own.

    Attributes
    ----------
    fault : OSError or ValueError or None
        The first; nothing is written after it.
    within_line : bool
        The last text did not end its line.
    """

    def __init__(self, stream: TextIO | None) -> None:
        self.stream = stream
        self.fault: OSError | ValueError | None = None
        self.within_line = False

    def write(self, text: str) -> int:
        """Write as much as the stream can show."""
        if self.stream is not None and self.fault is None:
            try:
                try:
                    self.stream.write(text)
                except UnicodeEncodeError:
                    self.stream.write(plain(text, self.stream.encoding))
            except (OSError, ValueError) as error:  # ValueError: closed
                self.fault = error
            self.within_line = not text.endswith("\n")
        return len(text)

    def flush(self) -> None:
        """Hand on what was written."""
        if self.stream is not None and self.fault is None:
            try:
                self.stream.flush()
            except (OSError, ValueError) as error:
                self.fault = error

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)

    def silence(self) -> None:
        """After a fault, let the interpreter's own last flush go nowhere."""
        self.flush()
        if self.fault is not None and self.stream is not None:
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), self.stream.fileno())


@contextlib.contextmanager
def safe_streams() -> Iterator[tuple[SafeStream, SafeStream]]:
    """For the time of a command, standard output and error that raise nothing."""
    for number in range(3):  # a file of ours must not take the number of a stream that was closed beforehand
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    before = sys.stdout, sys.stderr
    out, error = SafeStream(before[0]), SafeStream(before[1])
    sys.stdout, sys.stderr = out, error
    try:
        yield out, error
    finally:
        out.silence()
        error.silence()
        sys.stdout, sys.stderr = before
