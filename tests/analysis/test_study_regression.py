"""A Latin hypercube over plan keys of every kind, and the limits of its regression."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import xarray
from scipy.stats import binom, qmc

from orchardsim.analysis.measures import STUDY_MEASURES
from orchardsim.analysis.study import study_design
from orchardsim.analysis.study_answers import study_findings
from orchardsim.analysis.study_regression import CellRegression
from orchardsim.plan.study import load_study
from orchardsim.report.study.figures import figures_of
from orchardsim.report.study.words import methods_paragraph, study_table
from orchardsim.results.study import StudyDesign
from orchardsim.results.study_trials import StudyTrials
from orchardsim.risk.contrasts import simultaneous_limits
from tests.plan.examples import CONFIGS, changed

WET = {"value": [100.0] * 12, "unit": "mm"}
FACTORS: list[dict[str, Any]] = [
    {"name": "row", "key": "block.row_spacing", "low": 3.0, "high": 5.0, "unit": "m"},
    {
        "name": "site",
        "level": [
            {"name": "warm", "keys": {"weather.record": "bundled warm", "weather.normals.rain": WET}},
            {"name": "cool", "keys": {"weather.record": "bundled cool", "site.latitude": "42.95 degree"}},
        ],
    },
    {"name": "trend", "key": "weather.trend", "levels": ["keep", "extend"]},
    {
        "name": "crop",
        "level": [
            {"name": "cropped", "keys": {"cultivar.Gala.crop_load_target": [0, 6, 6, 6]}},
            {"name": "spared", "keys": {"cultivar.Gala.crop_load_target": [0, 0, 3, 6]}},
        ],
    },
]


def sampled(**changes: Any) -> dict[str, Any]:
    return {
        "title": "sampled",
        "plan": changed(("block.net_area", "0.05 ha"), ("block.row_length", "20 m")),
        "design": "latin_hypercube",
        "samples": 12,
        "trials": 40,
        "factor": FACTORS,
        **changes,
    }


@pytest.fixture(scope="module")
def design() -> StudyDesign:
    return study_design(load_study(sampled()))


def test_a_sample_meets_levels_of_sites_weather_and_crops_equally_often(design: StudyDesign) -> None:
    for factor in ("site", "trend", "crop"):
        names = [design.names(cell)[factor] for cell in range(12)]
        assert {names.count(one) for one in design.factors[factor]} == {6}
    plans = [cell.plan for cell in load_study(sampled()).cells]
    latitudes = [42.95 if design.names(cell)["site"] == "cool" else 34.68 for cell in range(12)]
    assert [plan.weather.latitude for plan in plans] == pytest.approx(latitudes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"factor": FACTORS[1:]}, "found no range"),
        ({"samples": 4, "factor": [FACTORS[0], {"name": "t", "key": "title", "levels": list("abcde")}]}, "no fewer"),
        ({"factor": [*FACTORS, {"name": "again", "key": "block.row_spacing", "levels": ["3 m", "4 m"]}]}, "another"),
    ],
)
def test_a_sample_that_cannot_be_drawn_is_refused(changes: dict[str, Any], words: str) -> None:
    from orchardsim.core.errors import InputError

    with pytest.raises(InputError, match=words):
        load_study(sampled(**changes))


def test_a_known_answer_is_found_factor_by_factor(design: StudyDesign) -> None:
    # Made to be: 10 a metre of row spacing, more where the ground is good, 7 for the cool site, nothing for the rest.
    rng = np.random.default_rng(2)
    cool = design.levels[:, 1]
    row = np.array(design.values["row"])
    level = rng.normal(size=40)
    values = (10 * row + 7 * cool)[:, None] + 30 * rng.normal(size=40) + 4 * row[:, None] * level
    values += rng.normal(0, 0.1, size=values.shape)
    trials = StudyTrials(design, STUDY_MEASURES, {"npv_per_area": values}, {}, {"site_growth of north": level})
    again = StudyTrials.of(xarray.Dataset.from_dict(trials.dataset().to_dict()))
    found = study_findings(again)
    answer = found.answer("npv_per_area")
    contrasts = {one.factor: one for one in answer.contrasts}
    assert list(contrasts) == ["row", "site", "trend", "crop"]
    np.testing.assert_allclose(contrasts["row"].mean, np.ptp(row) * (10 + 4 * level.mean()), atol=0.1)
    np.testing.assert_allclose(contrasts["site"].mean, -7, atol=0.1)
    assert contrasts["row"].told_apart
    assert not contrasts["crop"].told_apart
    assert answer.foretold == pytest.approx(1, abs=1e-3)
    assert sum(one.share for one in answer.shares) == pytest.approx(1, abs=1e-3)
    assert [(one.contrast.split(":")[0], one.level) for one in answer.assumptions] == [("row", "site_growth of north")]
    assert set(figures_of(found)) == {"cells", "contrasts", "factors", "shares", "assumptions"}
    for _, plot in figures_of(found).values():
        assert plot(found, None).axes
    assert "foretells 100 %" in study_table(found)
    assert "a Latin hypercube of 12 cells" in methods_paragraph(found)
    assert "cool (weather.record = bundled cool, site.latitude = 42.95 degree)" in methods_paragraph(found)


@pytest.mark.slow
def test_limits_of_a_regression_hold_for_other_cells_too() -> None:
    # 300 studies of 12 cells and 20 trials, each with its own sample of cells and a misfit: all four limits
    # hold together in at least as many as 95 % would give once in 1,000 (binomial). Limits from trials alone do not.
    rng = np.random.default_rng(8)
    truth = np.array([2.0, -1.0, 0.0, 0.0])
    design = study_design(load_study(sampled()))
    held = without = 0
    for _ in range(300):
        points = qmc.LatinHypercube(4, rng=rng).random(12)
        levels = np.column_stack([np.arange(12), *(points[:, place] < 0.5 for place in (1, 2, 3))]).astype(np.int64)
        drawn = (points[:, 0] - points[:, 0].min()) / np.ptp(points[:, 0])
        one = StudyDesign(**{**vars(design), "levels": levels, "values": {"row": tuple(drawn)}})
        effects = np.column_stack([drawn, levels[:, 1:]]) @ truth + rng.normal(size=12)
        values = effects + rng.normal(size=(20, 12))
        regression = CellRegression(one)
        right = truth * [1, -1, -1, -1]
        narrow = simultaneous_limits(values @ regression.weights.T, rng, resamples=500)
        wide = regression.widened(narrow, values.mean(axis=0))
        held += bool(((wide.low <= right) & (right <= wide.high)).all())
        without += bool(((narrow.low <= right) & (right <= narrow.high)).all())
    assert held >= binom.ppf(0.001, 300, 0.95)
    assert without < binom.ppf(0.001, 300, 0.95)


@pytest.mark.slow
def test_the_shipped_sample_is_read() -> None:
    found = load_study(CONFIGS / "studies" / "room_site_and_crop.toml")
    assert [len(set(one.levels)) for one in found.factors] == [24, 24, 24, 2, 2]
