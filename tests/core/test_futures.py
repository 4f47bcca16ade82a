"""Open levels: their draws against the normal law, and two plans on one farm."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.futures import MOST_DEVIATIONS, OPEN_LEVELS, Doubt, Futures
from orchardsim.core.streams import Streams

OPEN = Futures({})


def test_draws_have_the_stated_middle_spread_and_common_part():
    """4,000 trials: the log's mean, spread and correlation within four standard errors (cut at three deviations)."""
    row = OPEN_LEVELS["price_level"]
    drawn = np.log(OPEN.drawn("price_level", ["Gala", "Honeycrisp"], Streams(3), range(4000)))
    assert drawn.mean(axis=0) == pytest.approx(0.0, abs=4 * row.spread / np.sqrt(4000))
    assert drawn.std(axis=0) == pytest.approx(row.spread, rel=4 / np.sqrt(8000) + 0.02)
    assert np.corrcoef(drawn.T)[0, 1] == pytest.approx(row.shared, abs=4 * (1 - row.shared**2) / np.sqrt(4000) + 0.01)
    assert np.abs(drawn).max() <= MOST_DEVIATIONS * row.spread + 1e-12


def test_a_trial_meets_the_same_level_whatever_else_stands_on_the_farm():
    alone = OPEN.drawn("site_growth", ["hill"], Streams(1), range(5))
    beside = OPEN.drawn("site_growth", ["brook", "hill"], Streams(1), range(3, 5))
    np.testing.assert_array_equal(alone[3:, 0], beside[:, 1])


def test_known_levels_stand_at_their_middle():
    known = Futures({"site_growth": {"": Doubt(1.2, 0.3)}}, known=True)
    np.testing.assert_array_equal(known.drawn("site_growth", ["a", "b"], Streams(1), range(2)), 1.2)
