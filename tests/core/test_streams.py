"""Random numbers by address: independent of order, of other blocks, of the split over workers."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from orchardsim.core.streams import Streams

addresses = st.tuples(
    st.sampled_from(["set", "loss", "price"]), st.text(max_size=8), st.integers(0, 5000), st.integers(0, 60)
)


@given(address=addresses, seed=st.integers(0, 2**63 - 1), short=st.integers(1, 50), long=st.integers(50, 200))
def test_a_position_keeps_its_draw_whatever_is_asked_beside_it(address, seed, short, long):
    process, place, trial, year = address
    few = Streams(seed).at(process, place, trial=trial, year=year).random(short, dtype=np.float32)
    many = Streams(seed).at(process, place, trial=trial, year=year).random(long, dtype=np.float32)
    assert np.array_equal(few, many[:short])


@given(first=addresses, second=addresses)
def test_different_addresses_give_different_streams(first, second):
    draws = [
        Streams(1).at(process, place, trial=trial, year=year).integers(0, 2**63, 4)
        for process, place, trial, year in (first, second)
    ]
    assert np.array_equal(*draws) == (first == second)


def test_the_philox_generator_is_the_published_one():
    """First block of Philox4x64-10 with key 0 and counter 1, against a second implementation in plain integers.

    The round function and constants are those of Salmon et al. 2011, "Parallel random numbers: as easy as 1, 2, 3"
    (SC11, table 2 and section 4.3; from memory), written out here independently of NumPy.
    """
    mask = 2**64 - 1
    counter, key = [1, 0, 0, 0], [0, 0]
    for _ in range(10):
        high0, low0 = divmod(0xD2E7470EE14C6C93 * counter[0], 2**64)
        high1, low1 = divmod(0xCA5A826395121157 * counter[2], 2**64)
        counter = [high1 ^ counter[1] ^ key[0], low1, high0 ^ counter[3] ^ key[1], low0]
        key = [(key[0] + 0x9E3779B97F4A7C15) & mask, (key[1] + 0xBB67AE8584CAA73B) & mask]
    raw = np.random.Philox(key=np.zeros(2, np.uint64), counter=np.zeros(4, np.uint64)).random_raw(4)
    assert counter == [int(word) for word in raw]


def test_an_address_is_the_key_and_the_upper_words_of_the_counter():
    streams = Streams(12, {"price": 5})
    for process, place, trial, year in (("loss", "north", 3, 7), ("price", "", 0, 0)):
        counter = np.array([0, 0, year, trial], np.uint64)
        bits = np.random.Philox(key=streams.key(process, place), counter=counter)
        found = streams.at(process, place, trial=trial, year=year)
        np.testing.assert_array_equal(found.random(50), np.random.Generator(bits).random(50))
    np.testing.assert_array_equal(streams.key("price"), Streams(5).key("price"))


def test_neighbouring_streams_are_uncorrelated():
    """300 pairs of neighbouring streams, 200 normals each: the mean correlation has standard error 1 / sqrt(300 * 200).

    The bound is 4.5 standard errors: false alarm about 7 in a million.
    """
    streams = Streams(20)
    rows = np.array([streams.at("noise", "north", trial=t, year=3).standard_normal(200) for t in range(301)])
    r = [stats.pearsonr(rows[i], rows[i + 1]).statistic for i in range(300)]
    assert abs(np.mean(r)) < 4.5 / np.sqrt(300 * 200)
