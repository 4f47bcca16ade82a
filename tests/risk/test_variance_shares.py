"""Variance shares against functions whose shares are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.risk.variance_shares import variance_shares


def pick_freeze(function, n: int, seed: int):  # type: ignore[no-untyped-def]
    """Run sets A, B and A with one input from B, for inputs uniform on (-pi, pi)."""
    a, b = np.random.default_rng(seed).uniform(-np.pi, np.pi, (2, 3, n))
    mixed = {}
    for index in range(3):
        inputs = a.copy()
        inputs[index] = b[index]
        mixed[f"x{index + 1}"] = function(inputs)
    return variance_shares(function(a), function(b), mixed, np.random.default_rng(1))


def test_ishigami_function() -> None:
    """Ishigami & Homma 1990: sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1; the shares follow from its integrals by hand:

    V = 1/2 + 49/8 + pi^4/50 + pi^8/1800, V1 = (1 + pi^4/50)^2 / 2, V2 = 49/8, V13 = pi^8 (1/1800 - 1/5000).
    16,384 trials: standard errors about 0.02; 0.06 is allowed.
    """
    variance = 1 / 2 + 49 / 8 + 0.1 * np.pi**4 / 5 + 0.01 * np.pi**8 / 18
    first = ((1 + 0.1 * np.pi**4 / 5) ** 2 / 2 / variance, 49 / 8 / variance, 0.0)
    crossed = 0.01 * np.pi**8 * (1 / 18 - 1 / 50) / variance
    total = (first[0] + crossed, first[1], crossed)
    found = pick_freeze(lambda x: np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]), 16_384, 4)
    for index, source in enumerate(("x1", "x2", "x3")):
        share = found[source]
        assert share.first_order == pytest.approx(first[index], abs=0.06)
        assert share.total == pytest.approx(total[index], abs=0.06)
        assert share.first_order_low < share.first_order < share.first_order_high
        assert share.total_low < share.total < share.total_high


def test_additive_sources_share_their_variances() -> None:
    """Variances as 9 : 4 : 1, no interaction: first order and total agree. Standard errors below 0.02."""
    found = pick_freeze(lambda x: 1000 + 3 * x[0] + 2 * x[1] + x[2], 8_192, 5)
    for source, part in (("x1", 9 / 14), ("x2", 4 / 14), ("x3", 1 / 14)):
        assert found[source].first_order == pytest.approx(part, abs=0.05)
        assert found[source].total == pytest.approx(part, abs=0.05)


def test_a_source_that_does_nothing_has_no_share() -> None:
    values, other = np.random.default_rng(6).normal(size=(2, 1024))
    found = variance_shares(values, other, {"idle": values}, np.random.default_rng(1))["idle"]
    assert (found.first_order, found.total) == (0.0, 0.0)
    with pytest.raises(ValueError, match="finite"):
        variance_shares([1.0, np.inf], [1.0, 2.0], {}, np.random.default_rng(1))
    with pytest.raises(ValueError, match="equally many"):
        variance_shares([1.0, 2.0], [1.0], {}, np.random.default_rng(1))
