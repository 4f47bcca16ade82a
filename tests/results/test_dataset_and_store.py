"""The dataset is held to the variable table, and a run is written whole or not at all."""

from __future__ import annotations

import json

import numpy as np
import pytest

from orchardsim.core.errors import InputError
from orchardsim.core.variables import RESULTS
from orchardsim.results import (
    build_dataset,
    dump_summary,
    of_farm,
    read_results,
    summary_document,
    whole_farm,
    write_run,
)
from orchardsim.results.store import chunks, open_results, write_netcdf
from tests.results.invented_run import ATTRS, invented_arrays, invented_dataset


@pytest.fixture(scope="module")
def dataset():
    return invented_dataset(trials=40)


def test_every_variable_carries_its_unit_and_meaning(dataset):
    for name, row in RESULTS.items():
        if "tree" in row.dims or row.writer == "futures":
            continue
        assert dataset[name].dims == row.dims
        assert dataset[name].attrs["long_name"] == row.meaning
        shown = dataset[name].attrs.get("display_units", dataset[name].attrs["units"])
        assert shown == row.unit.replace("currency", "USD")
        some_missing = row.infinite is not None or ("block" in row.dims and row.over_blocks != "sum")
        assert dataset[name].dtype.kind == ("i" if row.whole and not some_missing else "f")


def _changed(name, change):
    arrays, coords = invented_arrays(trials=5, years=6)
    arrays[name] = change(np.array(arrays[name], dtype=float))
    return arrays, coords


def _set(value):
    def change(values):
        values.reshape(-1)[0] = value
        return values

    return change


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("crop_mass", lambda a: a[:, :-1], "shape"),
        ("crop_mass", _set(-1.0), "below 0"),
        ("frost_kill", _set(1.01), "above 1"),
        ("crop_mass", _set(np.nan), "missing"),
        ("net_cash_flow", _set(np.inf), "infinite"),
        ("irr", _set(np.inf), "infinite"),
        ("trees_alive", _set(3.5), "fractions"),
        ("crop_mass", lambda a: a.astype(str), "expected numbers"),
    ],
)
def test_an_array_that_breaks_the_table_is_refused_by_name(name, change, words):
    arrays, coords = _changed(name, change)
    with pytest.raises(ValueError, match=words) as failure:
        build_dataset(arrays, coords, ATTRS)
    assert name in str(failure.value)


def test_absent_and_unknown_variables_labels_and_attributes_are_refused():
    arrays, coords = invented_arrays(trials=5, years=6)
    with pytest.raises(ValueError, match="lack npv"):
        build_dataset({k: v for k, v in arrays.items() if k != "npv"}, coords, ATTRS)
    with pytest.raises(ValueError, match="profit"):
        build_dataset({**arrays, "profit": arrays["npv"]}, coords, ATTRS)
    with pytest.raises(ValueError, match="twice on block"):
        build_dataset(arrays, {"block": ["home", "shared"]}, ATTRS)
    with pytest.raises(ValueError, match="plan_hash"):
        build_dataset(arrays, coords, {k: v for k, v in ATTRS.items() if k != "plan_hash"})


def test_shared_holds_nothing_of_a_sum_and_what_does_not_sum_is_missing_there():
    arrays, coords = invented_arrays(trials=5, years=6)
    found = build_dataset(arrays, coords, ATTRS)
    assert list(found["block"].values) == ["home", "north", "shared"]
    for name, row in RESULTS.items():
        if "block" in row.dims and row.writer != "futures" and name not in ("ledger", "net_cash_flow", "npv_by_block"):
            shared = found[name].sel(block="shared")
            assert (shared == 0).all() if row.over_blocks == "sum" else shared.isnull().all(), name
    arrays["net_cash_flow"][:, :, -1] = np.nan
    with pytest.raises(ValueError, match="net_cash_flow"):
        build_dataset(arrays, coords, ATTRS)


def test_the_farm_adds_its_blocks_as_the_table_says():
    """Two blocks by hand: sums, means by trees, fruit and area, and nothing of what does not add."""
    arrays, coords = invented_arrays(trials=2, years=3)
    for name, pair in {
        "trees_alive": (300, 100), "fruit_number": (1000, 3000), "trunk_area_mean": (10, 30),
        "fruit_mass_mean": (200, 160), "light_interception": (0.5, 0.2), "harvested_mass": (200, 480),
    }.items():  # fmt: skip
        arrays[name] = np.broadcast_to(np.array(pair, dtype=float), (2, 3, 2)).copy()
    arrays["planted_area"] = np.array([1000.0, 2000.0])
    found = build_dataset(arrays, coords, ATTRS)
    farm = whole_farm(found)
    assert "block" not in farm.dims
    assert "bloom_day" not in farm
    hand = {"harvested_mass": 680, "trunk_area_mean": 15, "fruit_mass_mean": 170, "light_interception": 0.3}
    for name, value in hand.items():
        np.testing.assert_allclose(farm[name], value, rtol=1e-12, err_msg=name)
    with pytest.raises(ValueError, match="bloom_day"):
        of_farm(found, "bloom_day")


def test_a_mean_of_no_trees_is_missing():
    arrays, coords = invented_arrays(trials=2, years=3)
    arrays["trees_alive"] = np.zeros_like(arrays["trees_alive"])
    assert of_farm(build_dataset(arrays, coords, ATTRS), "trunk_area_mean").isnull().all()


def test_a_run_comes_back_as_it_was_written(dataset, tmp_path):
    summary = summary_document(dataset)
    folder = write_run(tmp_path / "a" / "run", dataset, summary)
    assert read_results(folder).identical(dataset)
    assert json.loads((folder / "summary.json").read_text(encoding="utf-8")) == json.loads(dump_summary(summary))
    assert sorted(path.name for path in folder.iterdir()) == [".orchardsim", "results.nc", "summary.json"]


def test_a_failed_write_leaves_the_old_run_and_no_half_file(dataset, tmp_path, monkeypatch):
    summary = summary_document(dataset)
    write_run(tmp_path, dataset, summary)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}

    def full_disk(*arguments, **keywords):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(dataset), "to_netcdf", full_disk)
    with pytest.raises(InputError, match="No space left"):
        write_run(tmp_path, dataset, summary, force=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()} == before
    assert not list(tmp_path.rglob("*.part"))


@pytest.mark.parametrize("trials", [1, 25, 40, 60])
def test_a_file_written_in_pieces_reads_as_the_whole(trials, tmp_path):
    whole = invented_dataset(trials=trials)
    write_netcdf(tmp_path / "pieces.nc", chunks(whole))
    with open_results(tmp_path / "pieces.nc") as opened:
        assert opened.load().identical(whole)


def test_reading_what_is_no_run_says_so(tmp_path):
    with pytest.raises(InputError, match="no run"):
        read_results(tmp_path)
    (tmp_path / "results.nc").write_bytes(b"\x00\x01 no netcdf at all")
    with pytest.raises(InputError, match="damaged"):
        read_results(tmp_path)
    import xarray

    xarray.Dataset({"x": ("y", [1.0])}).to_netcdf(tmp_path / "other.nc", engine="netcdf4")
    with pytest.raises(InputError, match="not the result"):
        read_results(tmp_path / "other.nc")


def test_another_layout_is_named(dataset, tmp_path):
    """A result saved by another version is told apart before anything in it is looked for."""
    folder = write_run(tmp_path / "out", dataset, summary_document(dataset))
    path = folder / "results.nc"
    other = read_results(folder).assign_attrs(orchardsim_results=1)
    path.unlink()
    other.to_netcdf(path)
    with pytest.raises(InputError, match="layout 1, this version reads layout 4"):
        read_results(folder)
