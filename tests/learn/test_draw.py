"""The draw: the generator against its own definition, and no roof more likely than another."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from triage.learn.draw import draw_numbers, frame_digest

MASK = 2**64 - 1


def _philox(counter: list[int], key: list[int]) -> list[int]:
    """Philox 4x64 with ten rounds, written from Salmon and others 2011."""
    for _ in range(10):
        left, right = counter[0] * 0xD2E7470EE14C6C93, counter[2] * 0xCA5A826395121157
        counter = [
            (right >> 64) ^ counter[1] ^ key[0],
            right & MASK,
            (left >> 64) ^ counter[3] ^ key[1],
            left & MASK,
        ]
        key = [(key[0] + 0x9E3779B97F4A7C15) & MASK, (key[1] + 0xBB67AE8584CAA73B) & MASK]
    return counter


def test_the_definition_gives_its_published_answer() -> None:
    # Known-answer file of the generator's authors, counter and key 0.
    known = "16554d9eca36314c db20fe9d672d0fdc d7e772cee186176b 7e68b68aec7ba23b"
    assert _philox([0] * 4, [0] * 2) == [int(word, 16) for word in known.split()]


@pytest.mark.parametrize("seed", [0, 42, 2026_11_25, 2**64 - 1])
def test_numbers_are_those_of_the_definition(seed: int) -> None:
    ids = [f"home {n}" for n in (7, 12, 3, 100, 1, 55, 8, 9, 2)] + ["Ärger", "a", "Z"]
    words = [w for block in (1, 2, 3) for w in _philox([block, 0, 0, 0], [seed, 0])]
    by_id = dict(zip(sorted(ids, key=str.encode), words, strict=True))
    assert draw_numbers(pl.Series(ids), seed).to_list() == [by_id[i] for i in ids]


def test_every_roof_is_drawn_equally_often() -> None:
    """10 of 40 under 4000 seeds: counts and pairs within the 99.9 % limits of chance."""
    ids = pl.Series([f"P{n:03d}" for n in range(40)])
    drawn = np.zeros((4000, 40), dtype=int)
    for seed in range(4000):
        order = np.argsort(draw_numbers(ids, seed).to_numpy())
        drawn[seed, order[:10]] = 1
    counts = drawn.sum(axis=0)
    spread = ((counts - 1000) ** 2).sum() / (4000 * 0.25 * 0.75) * 39 / 40
    assert spread < stats.chi2.ppf(0.999, 39)
    pairs = (drawn.T @ drawn)[np.triu_indices(40, 1)]
    chance = 10 * 9 / (40 * 39)
    far = np.abs(pairs - 4000 * chance) / np.sqrt(4000 * chance * (1 - chance))
    assert far.max() < stats.norm.ppf(1 - 0.001 / 2 / 780)


def test_refused() -> None:
    with pytest.raises(ValueError, match="seed of -1"):
        draw_numbers(pl.Series(["a"]), -1)
    for ids in (["a", "a"], ["a", None]):
        with pytest.raises(ValueError, match="id of its own"):
            draw_numbers(pl.Series(ids), 1)


def test_digest_knows_the_frame_and_not_its_order() -> None:
    ids, strata = pl.Series(["b", "a"]), pl.Series(["x", "y"])
    assert frame_digest(ids, strata) == frame_digest(ids.reverse(), strata.reverse())
    assert frame_digest(ids, strata) != frame_digest(ids, strata.reverse())
