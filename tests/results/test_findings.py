"""Findings come back as they were kept, and a file can make nothing but our own dataclasses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.results.comparison import Measure
from orchardsim.results.findings import VERSION, findings_bytes, kinds, read_findings
from orchardsim.results.stress import Estimate, Usual


def test_dataclasses_arrays_tuples_and_odd_numbers_come_back(tmp_path: Path) -> None:
    usual = Usual(Estimate(1.5, np.float64(0.25)), 100.0, Estimate(2.0, 0.1), Estimate(1.0, 0.0), float("inf"),
                  Estimate(float("nan"), 0.0), (1.0, 2.0), ())  # fmt: skip
    measure = Measure("npv", "NPV", "at year 0", "money", "high", values=np.array([[1.0, np.inf], [np.nan, 1e-300]]))
    (tmp_path / "kept.npz").write_bytes(findings_bytes({"usual": usual, 3: (measure, None, True, "ä")}))
    back = read_findings(tmp_path / "kept.npz")
    assert back["usual"].present_cash == Estimate(1.5, 0.25)
    assert back["usual"].payback_year == float("inf")
    assert np.isnan(back["usual"].reserve.value)
    assert back["usual"].crop == (1.0, 2.0)
    same, *rest = back[3]
    np.testing.assert_array_equal(same.values, measure.values)
    assert (same.key, same.better, same.has_mean) == ("npv", "high", True)
    assert rest == [None, True, "ä"]


@pytest.mark.parametrize("named", ["os system", "store write_run", "folder OutputFolder", "stress Path"])
def test_nothing_else_is_made_from_a_file(tmp_path: Path, named: str) -> None:
    path = tmp_path / "kept.npz"
    np.savez(path, structure=np.array(json.dumps({"version": VERSION, "findings": {"kind": named, "fields": {}}})))
    with pytest.raises(InputError, match="run the command again"):
        read_findings(path)


def test_a_file_names_no_class_path_and_another_version_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "kept.npz"
    path.write_bytes(findings_bytes(Estimate(1.0, 0.5)))
    with np.load(path) as file:
        text = str(file["structure"])
    assert "orchardsim" not in text and kinds()["stress Estimate"] is Estimate
    np.savez(path, structure=np.array(text.replace(f'"version": {VERSION}', '"version": 1')))
    with pytest.raises(InputError, match="another version"):
        read_findings(path)


def test_unknown_kinds_are_not_kept() -> None:
    with pytest.raises(TypeError, match="object"):
        findings_bytes({"thing": object()})
