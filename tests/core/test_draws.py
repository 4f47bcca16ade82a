"""Random numbers of compiled loops: the published test vectors, the distributions against scipy, the addresses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special, stats

from orchardsim.core.compiled import compiled, in_single_precision, vectorised
from orchardsim.core.draws import Address, address, fill_normals, fill_uniforms, normal, philox, uniform
from orchardsim.core.streams import Streams

# kat_vectors of the Random123 package (Salmon et al. 2011), philox4x32 10 rounds: counter, key, result
KNOWN_ANSWERS = [
    ("00000000 00000000 00000000 00000000", "00000000 00000000", "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
    ("ffffffff ffffffff ffffffff ffffffff", "ffffffff ffffffff", "408f276d 41c83b0e a20bc7c6 6d5451fd"),
    ("243f6a88 85a308d3 13198a2e 03707344", "a4093822 299f31d0", "d16cfe09 94fdcceb 5001e420 24126ea1"),
]


def words(text: str) -> list[np.uint32]:
    return [np.uint32(int(word, 16)) for word in text.split()]


@compiled
def all_normal(word, out):
    for i in range(word.size):
        out[i] = normal(word[i])


@compiled
def all_uniform(word, out):
    for i in range(word.size):
        out[i] = uniform(word[i])


def of(function, word: NDArray) -> NDArray[np.float32]:
    out = np.empty(word.size, np.float32)
    function(word.astype(np.uint32), out)
    return out


@pytest.mark.parametrize(("counter", "key", "wanted"), KNOWN_ANSWERS)
def test_philox_gives_the_published_words(counter: str, key: str, wanted: str) -> None:
    assert [int(word) for word in philox(*words(counter), *words(key))] == [int(word) for word in words(wanted)]


def test_uniform_lies_above_zero_up_to_one() -> None:
    ends = of(all_uniform, np.array([0, 1, 2**31, 2**32 - 1]))
    np.testing.assert_array_equal(ends, np.float32([2**-32, 2**-32, 0.5, 1]))


def test_normal_is_the_inverse_of_the_distribution() -> None:
    """Against scipy.special.ndtri: within 2e-6 up to 5 standard deviations, 3e-3 beyond (one word in two million)."""
    rng = np.random.default_rng(3)
    word = np.concatenate([np.arange(4000), 2**31 + np.arange(4000), rng.integers(0, 2**32, 2_000_000)])
    beyond = (word % 2**31 + 0.5) / 2**32
    exact = np.where(word < 2**31, -special.ndtri(beyond), special.ndtri(beyond))
    off = np.abs(of(all_normal, word) - exact)
    assert off[np.abs(exact) < 5].max() < 2e-6
    assert off.max() < 3e-3


def filled(seed: int, trials: range, positions: int, year: int = 0, place: str = "b") -> NDArray[np.float32]:
    out = np.empty((len(trials), positions), np.float32)
    fill_normals(address(Streams(seed), "trees", place, trials, year), 0, out)
    return out


def test_normals_have_the_moments_and_the_distribution_of_a_normal() -> None:
    """4 million draws; each check allows 5 standard errors or p above 1e-6 (false alarm below 3e-6 in all)."""
    z = np.concatenate([filled(11, range(20), 10_000, year).ravel() for year in range(20)]).astype(np.float64)
    n = z.size
    assert abs(z.mean()) < 5 / np.sqrt(n)
    assert abs(z.var() - 1) < 5 * np.sqrt(2 / n)
    assert abs(stats.skew(z)) < 5 * np.sqrt(6 / n)
    assert abs(stats.kurtosis(z)) < 5 * np.sqrt(24 / n)
    assert stats.kstest(z[:400_000], "norm").pvalue > 1e-6
    for limit in (3.0, 4.0):
        expected = 2 * n * stats.norm.sf(limit)
        assert abs((np.abs(z) > limit).sum() - expected) < 5 * np.sqrt(expected)


def test_uniforms_are_uniform_and_the_two_are_independent() -> None:
    first, second = np.empty((50, 20_000), np.float32), np.empty((50, 20_000), np.float32)
    fill_uniforms(address(Streams(5), "loss", "b", range(50), 3), 0, first, second)
    for one in (first, second):
        assert stats.kstest(one.ravel(), "uniform").pvalue > 1e-6
    assert abs(np.corrcoef(first.ravel(), second.ravel())[0, 1]) < 5 / np.sqrt(first.size)
    # neighbours, trials and words apart
    assert abs(np.corrcoef(first[:, 1:].ravel(), first[:, :-1].ravel())[0, 1]) < 5 / np.sqrt(first.size)
    assert abs(np.corrcoef(first[1:].ravel(), first[:-1].ravel())[0, 1]) < 5 / np.sqrt(first.size)


def test_a_draw_depends_on_its_address_alone() -> None:
    """Trials alone or together, more or fewer positions: the same numbers; another seed, place or year: others."""
    together = filled(7, range(6), 100)
    np.testing.assert_array_equal(filled(7, range(4, 6), 100), together[4:])
    np.testing.assert_array_equal(filled(7, range(6), 40), together[:, :40])
    for other in (filled(8, range(6), 100), filled(7, range(6), 100, year=1), filled(7, range(6), 100, place="c")):
        assert not (other == together).any()


@pytest.mark.slow
def test_filling_runs_on_vectors_in_single_precision() -> None:
    filled(1, range(1), 8)
    one = np.empty((1, 8), np.float32)
    fill_uniforms(Address(np.zeros(2, np.uint32), np.zeros(1, np.uint32), np.uint32(0)), 0, one, one.copy())
    for function in (fill_normals, fill_uniforms):
        assert in_single_precision(function)
        assert vectorised(function)
