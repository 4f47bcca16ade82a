"""Numbers and words of a picture, read back from a drawing with matplotlib's own artists."""

from __future__ import annotations

import csv
import io

import numpy as np

from orchardsim.report.drawn import drawn_series, numbers_csv, picture_words
from orchardsim.report.style import draw_band, new_figure


def test_numbers_are_those_that_were_drawn():
    values = np.array([[1.0, 5.0, 2.0], [3.0, 7.0, 4.0]])
    figure, (upper, lower) = new_figure(2, 1)
    upper.set_title("crop, t/ha")
    draw_band(upper, np.array([1, 2, 3]), values)
    lower.bar([0, 1], [2.5, -4.0], label="cash")
    lower.axhline(0)
    found = {(one.panel, one.name): one for one in drawn_series(figure)}
    band = found["crop, t/ha", "18 futures in 20"]
    np.testing.assert_allclose(band.y, np.quantile(values, 0.05, axis=0))
    np.testing.assert_allclose(band.high, np.quantile(values, 0.95, axis=0))
    np.testing.assert_allclose(found["crop, t/ha", "middle future"].y, [2.0, 6.0, 3.0])
    assert found["", "cash"].y.tolist() == [2.5, -4.0] and len(found) == 4
    rows = list(csv.DictReader(io.StringIO(numbers_csv(figure))))
    assert len(rows) == 3 * 3 + 2 and rows[0]["series"] and float(rows[-1]["value"]) == -4.0
    words = picture_words("A picture", figure)
    assert words.startswith("A picture. crop, t/ha: ") and "middle future lowest 2 at 1, highest 6 at 2" in words
