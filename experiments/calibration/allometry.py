"""Height and spread against trunk area: straight lines in logs through the five-year means of 17 stocks.

    python experiments/calibration/allometry.py

Data: Autio et al. 2017, J. Amer. Pomol. Soc. 71(3):149-166, Table 5 (Honeycrisp, tall spindle, mean of 10 sites).
"""

from __future__ import annotations

import numpy as np

# trunk area [cm2], height [cm], spread [cm]
TREES = np.array([
    (6.5, 216, 110), (10.0, 256, 143), (9.2, 267, 155), (10.1, 265, 152), (9.4, 279, 157), (7.0, 249, 123),
    (7.5, 247, 128), (12.5, 284, 169), (11.5, 299, 171), (13.5, 280, 182), (17.5, 311, 171), (20.1, 296, 170),
    (21.0, 316, 184), (18.6, 311, 163), (17.6, 300, 166), (33.9, 366, 222), (2.0, 149, 58),
])  # fmt: skip


def main() -> None:
    area, *sizes = TREES.T
    for name, size in zip(("height", "spread"), sizes, strict=True):
        exponent, level = np.polyfit(np.log(area), np.log(size / 100), 1)
        rest = np.log(size / 100) - level - exponent * np.log(area)
        print(
            f"{name}: {np.exp(level):.3f} m * area^{exponent:.3f}; spread of logs about the line {rest.std(ddof=2):.3f}"
        )


if __name__ == "__main__":
    main()
