"""The example of research trials runs from any folder and tells what it should."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).parents[2] / "experiments" / "research_example" / "run.py"


def example(folder, *names):
    return subprocess.run(
        [sys.executable, str(EXAMPLE), *names], cwd=folder, capture_output=True, text=True, check=False
    )


def test_an_unknown_set_up_is_refused(tmp_path):
    found = example(tmp_path, "rootstocks")
    assert found.returncode == 2 and "found 'rootstocks', allowed: stocks, sites" in found.stderr


@pytest.mark.slow
def test_return_bloom_falls_with_crop_and_most_on_the_biennial_cultivar(tmp_path):
    # Direction: Honeycrisp returns fewer flowers after heavier crops, with little left above about 8 fruit per cm2
    # (Robinson et al.); an annual cultivar keeps most of its bloom (common practice).
    text = example(tmp_path, "bloom").stdout
    rows = [re.split(r"\s{2,}", line.strip()) for line in text.splitlines() if re.match(r"\s+\d+ to ", line)]
    honeycrisp, gala = ([float(row[column]) for row in rows] for column in (1, 3))
    assert len(rows) == 6
    assert honeycrisp[0] > honeycrisp[3] > honeycrisp[5]
    assert honeycrisp[4] / honeycrisp[0] < gala[4] / gala[0]
    assert list(tmp_path.iterdir()) == []
