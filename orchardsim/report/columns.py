"""The one table printer of the terminal: cells as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence


def text_columns(cells: Sequence[Sequence[str]], left: Sequence[int] = (0,), *, fold_heads: bool = False) -> list[str]:
    """Cells as lines, columns two spaces apart.

    Parameters
    ----------
    cells : sequence of rows of text
        All of one length; the first is the head.
    left : sequence of int
        Columns of words, which stand left; the others stand right.
    fold_heads : bool
        Break heads at their spaces where that makes a column narrower.

    Examples
    --------
    >>> text_columns([["", "gaps filled"], ["Gala", "12"]], fold_heads=True)
    ['        gaps', '      filled', 'Gala      12']
    """
    head, *body = cells
    widths = [
        max([len(row[at]) for row in body] + [max(map(len, text.split()), default=0) if fold_heads else len(text)])
        for at, text in enumerate(head)
    ]
    heads = [textwrap.wrap(text, width) if text else [] for text, width in zip(head, widths, strict=True)]
    tall = max([1, *map(len, heads)])
    folded = [[([""] * (tall - len(lines)) + lines)[line] for lines in heads] for line in range(tall)]
    return [
        "  ".join(
            text.ljust(width) if at in left else text.rjust(width)
            for at, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [*folded, *body]
    ]
