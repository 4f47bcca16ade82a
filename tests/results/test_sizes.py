"""Sizes packed in light, typical and heavy crops, against sums by hand over invented arrays."""

from __future__ import annotations

import numpy as np
import pytest

from orchardsim.core.labels import BOX_COUNTS
from orchardsim.results import build_dataset, summary_document
from orchardsim.results.block_results import years_in_full_crop
from orchardsim.results.sizes import packed_sizes
from tests.results.invented_run import ATTRS, invented_arrays

TRIALS = 40


@pytest.fixture(scope="module")
def arrays():
    """Crops of the first label rise from trial to trial; light ones pack 72s, heavy ones 163s; trial 0 fails."""
    arrays, coords = invented_arrays(trials=TRIALS)
    rank = np.arange(TRIALS) / (TRIALS - 1)
    arrays["fruit_number"][:, :, 0] = np.where(rank > 0, 1000 + 500 * rank, 1)[:, None]
    fresh = arrays["packed_mass"][:, :, 0, :2].sum(-1)
    arrays["boxed_mass"][:, :, 0] = 0
    arrays["boxed_mass"][:, :, 0, BOX_COUNTS.index("72")] = fresh * (1 - rank)[:, None]
    arrays["boxed_mass"][:, :, 0, BOX_COUNTS.index("163")] = fresh * rank[:, None]
    return build_dataset(arrays, coords, {**ATTRS, "trials": TRIALS})


def test_classes_hold_the_crops_that_they_name(arrays):
    found = {one.crop_class: one for one in packed_sizes(arrays) if one.label == "home"}
    assert set(found) == {"light", "typical", "heavy"}
    # a tenth of 39 trials that bear in each mature year
    wanted = 0.1 * 39 * years_in_full_crop(arrays, "home").size
    assert found["light"].crops == pytest.approx(wanted, abs=1) and found["heavy"].crops == pytest.approx(wanted, abs=1)
    place = BOX_COUNTS.index("163")
    # trials 1 to 4 of 39 (ranks 1/39 to 4/39, the fourth in nine of ten years), 36 to 39, about the middle
    assert 0.02 < found["light"].shares[place] < 0.11
    assert 0.90 < found["heavy"].shares[place] <= 1
    assert found["typical"].shares[place] == pytest.approx(0.5, abs=0.06)
    for one in found.values():
        assert one.shares.sum() == pytest.approx(1)
        assert np.nanmin(one.errors) >= 0


def test_the_summary_holds_them(arrays):
    document = summary_document(arrays)
    sizes = document["by_block"]["home"]["sizes"]
    for entry in sizes.values():
        assert sum(each["share"] for each in entry["share_by_box_count"].values()) == pytest.approx(1, abs=1e-5)
    assert list(sizes["heavy"]["share_by_box_count"]) == list(BOX_COUNTS)


def test_a_block_without_a_crop_packs_nothing():
    arrays, coords = invented_arrays(trials=TRIALS)
    for name in ("fruit_number", "crop_mass", "harvested_mass", "packed_mass", "boxed_mass"):
        arrays[name] = np.zeros_like(arrays[name])
    assert packed_sizes(build_dataset(arrays, coords, {**ATTRS, "trials": TRIALS})) == []
