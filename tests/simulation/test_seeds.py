"""Two seeds must differ as their stated standard errors say: no less, no more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

import orchardsim
from orchardsim.results import summary_document
from tests.simulation.small_plan import small_plan

TRIALS, YEARS = 300, 12
SEEDS = range(11, 17)


def numbers(node: Any, path: str = "") -> Iterator[tuple[str, float, float]]:
    """Every statistic of the headline with its standard error, wherever it stands in the document."""
    if isinstance(node, dict):
        errors = node.get("standard_error")
        if isinstance(errors, dict):
            for key, error in errors.items():
                if isinstance(node.get(key), (int, float)) and isinstance(error, (int, float)):
                    yield f"{path}/{key}", float(node[key]), float(error)
            return
        for key, value in node.items():
            yield from numbers(value, f"{path}/{key}")
    elif isinstance(node, list):
        for place, value in enumerate(node):
            yield from numbers(value, f"{path}/{place}")


@pytest.mark.slow
def test_two_seeds_differ_as_the_standard_errors_say():
    """z of each headline number between two seeds, three pairs: no |z| above 4.5, 90 to 99 % within 2.

    The numbers share trials and are far from independent, so pairs are pooled and the share within 2 is held to the
    wide range that is asked for; under independence |z| > 4.5 has a chance of 7 in a million each.
    """
    plan = small_plan()
    runs = [
        dict((path, (value, error)) for path, value, error in numbers(summary_document(result)["headline"]))
        for result in (
            orchardsim.simulate(plan, trials=TRIALS, years=YEARS, seed=seed, jobs=2) for seed in range(11, 17)
        )
    ]
    z = []
    for one, other in zip(runs[::2], runs[1::2], strict=True):
        for path in one.keys() & other.keys():
            (a, a_error), (b, b_error) = one[path], other[path]
            error = float(np.hypot(a_error, b_error))
            if error > 0:
                z.append((abs(a - b) / error, path))
    assert len(z) > 300
    worst = max(z)
    assert worst[0] <= 4.5, worst
    within = float(np.mean([value <= 2 for value, _ in z]))
    assert 0.90 <= within <= 0.99, within
