"""The one table printer of the terminal: cells as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import Final, TypeVar

Row = TypeVar("Row")


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


def cells_of(rows: Iterable[Row], *columns: tuple[str, Callable[[Row], str]]) -> list[list[str]]:
    """Cells of a table, the head first; a column is its head and what it shows of a row.

    Examples
    --------
    >>> cells_of([3, 4], ("number", str), ("twice", lambda one: str(2 * one)))
    [['number', 'twice'], ['3', '6'], ['4', '8']]
    """
    return [[head for head, _ in columns], *([text(row) for _, text in columns] for row in rows)]


SCREEN_WIDTH: Final = 80
"""Columns of a first screen."""
SCREEN_LINES: Final = 22
"""Lines of it: of a terminal's 24, two are left for the closing lines."""

Pieces = Sequence[Sequence[str]]
"""Lines that stand or fall together, the most important first."""


def sentence_pieces(sentences: Iterable[str], *, indent: str = "") -> list[list[str]]:
    """Each sentence as the lines that it takes on a first screen."""
    return [textwrap.wrap(one, SCREEN_WIDTH, subsequent_indent=indent) for one in sentences]


def table_pieces(cells: Sequence[Sequence[str]], left: Sequence[int] = (0,)) -> list[list[str]]:
    """Head with its first row, then each row; nothing where the table is wider than a first screen."""
    lines = text_columns(cells, left, fold_heads=True)
    head = len(lines) - len(cells) + 2
    if len(cells) < 2 or max(map(len, lines)) > SCREEN_WIDTH:
        return []
    return [lines[:head], *([line] for line in lines[head:])]


def one_screen(*parts: Pieces, lines: int = SCREEN_LINES) -> str:
    """Parts one below the other, a blank line between, each as far as its pieces fit on so many lines.

    Examples
    --------
    >>> print(one_screen(sentence_pieces(["One."]), table_pieces([["", "NPV"], ["A", "12"]])))
    One.
    <BLANKLINE>
       NPV
    A   12
    """
    shown: list[str] = []
    for pieces in parts:
        gap = [""] if shown else []
        for piece in pieces:
            if len(shown) + len(gap) + len(piece) > lines:
                break
            shown += [*gap, *piece]
            gap = []
    return "\n".join(shown)


def above_table(said: Pieces, table: Pieces) -> str:
    """A first screen of pieces, in order, as far as they leave room for the whole table below them."""
    room = SCREEN_LINES - 1 - sum(map(len, table))
    shown: list[Sequence[str]] = []
    for piece in said:
        room -= len(piece)
        if room < 0:
            break
        shown.append(piece)
    return one_screen(shown, table)
