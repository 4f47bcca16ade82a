"""The table of sizes that the page of a run shows: fresh fruit by box count."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from orchardsim.report.run_formats import RunFormats
from orchardsim.results.sizes import A_CROP, CROP_CLASSES, packed_sizes

if TYPE_CHECKING:
    import xarray

TYPICAL: Final = "{:.0f} to {:.0f}".format(*(100 * bound for bound in CROP_CLASSES["typical"]))


def box_cells(dataset: xarray.Dataset, formats: RunFormats) -> list[list[str]]:
    """Fresh fruit by box count in % of its mass: a head, then three rows for each label; empty without a crop."""
    found = packed_sizes(dataset)
    if not found:
        return []
    counts = [str(count) for count in dataset["box_count"].values]
    cells = [["", "crop", f"grown, {formats.yield_unit}", "fresh, %", *counts]]
    seen = set()
    for one in found:
        name = "" if one.label in seen else one.label
        seen.add(one.label)
        cells.append(
            [
                name,
                one.crop_class,
                f"{float(formats.yield_value(np.array(one.crop))):,.1f}",
                _percent(one.fresh),
                *(_percent(share) for share in one.shares),
            ]
        )
    return cells


def box_note(dataset: xarray.Dataset, formats: RunFormats) -> str:
    """What the table rests on, its largest error, and what the model leaves out."""
    found = packed_sizes(dataset)
    errors = [float(np.nanmax(one.errors)) for one in found if not np.isnan(one.errors).all()]
    worst = f" The standard error of a share is at most {100 * max(errors):.1f} points." if errors else ""
    return (
        "Mature crops of a label, all futures and years, by number of fruit against the middle crop of the same leaf. "
        f"Light: the lightest tenth; typical: ranks {TYPICAL} %; heavy: the heaviest tenth. Crops below "
        f"{100 * A_CROP:.0f} % of the middle one have failed and are left out. Columns: fresh fruit (extra fancy and "
        f"fancy) in % of its mass, by number of fruit in a box of {formats.mass(formats.box_mass)}. The ends hold "
        "larger and smaller fruit."
        f"{worst} Colour, pit and defects are taken to be alike at all sizes."
    )


def _percent(share: Any) -> str:
    value = float(share)
    return "–" if np.isnan(value) else f"{100 * value:.0f}"
