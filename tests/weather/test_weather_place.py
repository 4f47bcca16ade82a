"""Whose climate a plan runs on, and dry ground without rain refused with what to add."""

from __future__ import annotations

import copy
import dataclasses

import pytest

import orchardsim
from orchardsim.cli.main import main
from orchardsim.core.errors import InputError
from orchardsim.core.streams import Streams
from orchardsim.simulation.seasons import build_library
from orchardsim.weather.place import Climate, climate_lines, climate_of
from tests.simulation.small_plan import SMALL


def plan(*, irrigated=True, rain=True):
    table = copy.deepcopy(SMALL)
    table["site"] |= {"irrigated": irrigated}
    if not rain:
        del table["weather"]["normals"]
    return orchardsim.load_plan(table)


def seasons_of(farm):
    return build_library(farm, Streams(1), range(1), 3, "sampled")


def test_dry_ground_without_rain_is_refused_with_what_to_add():
    with pytest.raises(InputError, match=r"not irrigated.*add weather\.normals\.rain .*irrigated = true"):
        seasons_of(plan(irrigated=False, rain=False))
    seasons_of(plan(irrigated=False))
    seasons_of(plan(rain=False))


def test_check_says_the_same(tmp_path, capsys):
    from tests.simulation.small_plan import CONFIGS

    text = (CONFIGS / "warm_site.toml").read_text(encoding="utf-8")
    start, end = text.index("[weather.normals]"), text.index("[[block]]")
    path = tmp_path / "dry.toml"
    path.write_text((text[:start] + text[end:]).replace("irrigated = true", "irrigated = false"), encoding="utf-8")
    assert main(["check", str(path), "--unsimulated"]) == 2
    assert "weather.normals.rain" in capsys.readouterr().err
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    assert main(["check", str(path), "--unsimulated", "--all"]) == 0
    assert "Water stress is not computed" in capsys.readouterr().out


def test_whose_climate_it_is():
    found = climate_of(plan().weather)
    assert found.borrowed and found.rain and found.record_latitude == 34.66
    own = Climate("mine.csv", 42.0, 42.2, False, True)
    assert climate_lines(own) == ["Climate: mine.csv, 42° N; the site is at 42.2° N."]
    unsaid = dataclasses.replace(own, record_latitude=None)
    assert "no latitude stated" in climate_lines(unsaid)[0]
    (line,) = climate_lines(Climate("", None, -38.0, False, True))
    assert "monthly normals" in line and "38° S" in line
