"""What a first screen of the terminal holds."""

from __future__ import annotations


def fits_a_screen(text: str, closing: int = 2) -> bool:
    """Whether a text stands on 24 lines of 80 columns with so many closing lines below it."""
    lines = text.splitlines()
    return 0 < len(lines) <= 24 - closing and max(map(len, lines)) <= 80
