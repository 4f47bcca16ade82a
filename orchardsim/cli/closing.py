"""The last lines of every command that simulates."""

from __future__ import annotations


def print_closing(saved: bool, more: str = "") -> None:
    """Say where more is to be had, then the caution that is the same everywhere."""
    from orchardsim.report.cautions import CAUTION_LINE

    keep = "" if saved else "nothing was saved: --out DIR keeps page and numbers"
    line = "; ".join(part for part in (more, keep) if part)
    if line:
        print(f"{line[0].upper()}{line[1:]}.")
    print(CAUTION_LINE)
