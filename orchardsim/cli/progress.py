"""What a command tells while it works: on a terminal only, so that a pipe or a log holds nothing but the answer."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from typing import Any, Final

LINE: Final = "{percentage:3.0f} % |{bar}| {elapsed} gone, about {remaining} left"
"""Progress line."""

_shown: list[Any] = []
"""Progress lines that are being shown."""


def watched() -> bool:
    """Whether somebody sits before the terminal that standard error goes to."""
    try:
        return sys.stderr.isatty()
    except ValueError:  # closed
        return False


def tell(line: str) -> None:
    """A line beside the answer, such as what is being done or where it was saved."""
    if watched() and _shown:
        _shown[-1].write(line, file=sys.stderr)  # above the progress line
    elif watched():
        print(line, file=sys.stderr)


def warn(line: str) -> None:
    """A line that must be seen even where nobody watches, such as that kept trials are damaged."""
    print(line, file=sys.stderr)


@contextlib.contextmanager
def progress(heading: str, total: int) -> Iterator[Callable[[int], object]]:
    """A heading and a line with the time left; gives the function that counts on."""
    from tqdm import tqdm

    tell(heading)
    tqdm.monitor_interval = 0  # no thread beside this one, which may have workers copied from itself
    with tqdm(
        total=total,
        file=sys.stderr,
        leave=False,
        mininterval=0.2,
        bar_format=LINE,
        disable=not watched() or not total,
        dynamic_ncols=True,
    ) as bar:
        _shown.append(bar)
        try:
            yield bar.update
        finally:
            _shown.pop()
