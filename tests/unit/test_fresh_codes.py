"""Codes of an export: random, all different, and no number, date or word by chance."""

from collections import Counter

from pipeline.sharing.fresh_codes import LENGTH, LETTERS, fresh_codes

KEYS = [str(n) for n in range(20_000)]


def test_every_key_has_a_code_of_its_own_and_another_one_each_time():
    first, again = fresh_codes(KEYS), fresh_codes(KEYS)
    assert list(first) == KEYS
    assert len(set(first.values())) == len(KEYS)
    assert set(first.values()).isdisjoint(again.values())
    assert fresh_codes([]) == {}


def test_every_letter_comes_equally_often():
    # chi-square, 19 degrees of freedom: above 66 once in a million draws (scipy.stats.chi2.isf)
    codes = fresh_codes(KEYS).values()
    assert {len(code) for code in codes} == {LENGTH}
    counts = Counter("".join(codes))
    expected = len(KEYS) * LENGTH / len(LETTERS)
    assert set(counts) == set(LETTERS)
    assert sum((n - expected) ** 2 / expected for n in counts.values()) < 66


def test_codes_tell_nothing_of_the_order_of_the_keys():
    # the rank correlation of 20,000 random pairs has an sd of 0.0071
    codes = list(fresh_codes(KEYS).values())
    ranks = {code: rank for rank, code in enumerate(sorted(codes))}
    n, middle = len(codes), (len(codes) - 1) / 2
    spread = sum((i - middle) ** 2 for i in range(n))
    shared = sum((i - middle) * (ranks[c] - middle) for i, c in enumerate(codes))
    assert abs(shared / spread) < 0.036
