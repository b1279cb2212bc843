"""Pairs of a set, and searches that must return exactly what comparing every card would."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skimage.color import deltaE_ciede2000

from colour import card_leaves, leaf_bound, spread
from colour.card_leaves import CardLeaves
from colour.difference import delta_e_2000
from colour.spread import NearestCards, nearest, pairwise, widest, within

LOW, HIGH = (5, -60, -60), (98, 70, 80)


def uniform(rng, n):
    return rng.uniform(LOW, HIGH, (n, 3))


def clustered(rng, n):
    centres = uniform(rng, 20)
    return centres[rng.integers(0, 20, n)] + rng.normal(0, 0.4, (n, 3))


def greys(rng, n):
    return rng.uniform([0, -2, -2], [100, 2, 2], (n, 3))


def blacks(rng, n):
    return rng.normal([4, 0, -0.5], 0.4, (n, 3))


def blues(rng, n):
    return rng.uniform([10, -10, -90], [60, 40, -20], (n, 3))


def duplicates(rng, n):
    return uniform(rng, 7)[rng.integers(0, 7, n)]


def one_lightness(rng, n):
    return uniform(rng, n) * [0, 1, 1] + [50, 0, 0]


KINDS = [uniform, clustered, greys, blacks, blues, duplicates, one_lightness]


def brute(query, labs, count):
    differences = delta_e_2000(query, labs)
    rows = np.argsort(differences, kind="stable")[:count]
    return rows, differences[rows]


def queries_for(rng, labs, n):
    """Some anywhere, some beside a card, some on one."""
    beside = labs[rng.integers(0, len(labs), n)]
    return np.concatenate([uniform(rng, n), beside + rng.normal(0, 0.7, (n, 3)), beside[:2]])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("n", [1, 2, 5, 300, 2500, 9000])
def test_nearest_is_what_comparing_every_card_gives(kind, n):
    rng = np.random.default_rng(n)
    labs = kind(rng, n)
    cards = NearestCards(labs)
    for query in queries_for(rng, labs, 12):
        for count in (1, 4, 700):
            rows, differences = brute(query, labs, count)
            for found in (nearest(query, labs, count), cards.nearest(query, count)):
                np.testing.assert_array_equal(found[0], rows)
                np.testing.assert_array_equal(found[1], differences)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("n", [1, 2, 300, 9000])
def test_within_is_what_comparing_every_card_gives(kind, n):
    rng = np.random.default_rng(n)
    labs = kind(rng, n)
    cards = NearestCards(labs)
    for query in queries_for(rng, labs, 12):
        differences = delta_e_2000(query, labs)
        # One limit is a difference itself: "at most" must let it in.
        for limit in (0.0, 0.8, 5.0, 30.0, float(differences[0])):
            expected = np.flatnonzero(differences <= limit)
            np.testing.assert_array_equal(within(query, labs, limit), expected)
            np.testing.assert_array_equal(cards.within(query, limit), expected)


def test_nearest_agrees_with_another_library():
    rng = np.random.default_rng(8)
    labs = clustered(rng, 20_000)
    cards = NearestCards(labs)
    for query in queries_for(rng, labs, 20):
        expected = deltaE_ciede2000(np.broadcast_to(query, labs.shape), labs)
        rows, differences = cards.nearest(query, 3)
        assert differences[0] == pytest.approx(expected.min(), abs=1e-9)
        np.testing.assert_allclose(differences, np.sort(expected)[:3], rtol=0, atol=1e-9)
        np.testing.assert_allclose(expected[rows], differences, rtol=0, atol=1e-9)


lab_sets = arrays(
    float,
    st.tuples(st.integers(1, 12), st.just(3)),
    elements=st.one_of(st.floats(-60, 100), st.sampled_from([0.0, -0.0, 50.0])),
)
lab = st.tuples(st.floats(0, 110), st.floats(-90, 90), st.floats(-90, 90))


@given(lab_sets, lab, st.integers(1, 15), st.floats(0, 20))
def test_small_leaves_find_what_comparing_every_card_gives(labs, query, count, limit):
    # Leaves of two cards, so that even a dozen make a tree of several levels.
    saved = card_leaves.LEAF, card_leaves.BATCH
    card_leaves.LEAF, card_leaves.BATCH = 2, 1
    try:
        leaves = CardLeaves(labs)
        count = min(count, len(labs))
        found = leaves.nearest(np.array(query), count)
        inside = leaves.within(np.array(query), limit)
    finally:
        card_leaves.LEAF, card_leaves.BATCH = saved
    rows, differences = brute(query, labs, count)
    np.testing.assert_array_equal(found[0], rows)
    np.testing.assert_array_equal(found[1], differences)
    np.testing.assert_array_equal(inside, np.flatnonzero(delta_e_2000(query, labs) <= limit))


@pytest.mark.parametrize("kind", KINDS)
def test_no_card_of_a_leaf_goes_below_its_bound(kind):
    rng = np.random.default_rng(4)
    labs = kind(rng, 6000)
    leaves = CardLeaves(labs)
    extent, cards = leaves._extent, leaves._cards
    every = np.arange(len(cards))
    needed = []
    for query in queries_for(rng, labs, 40):
        least = leaf_bound.least_differences(query, extent, extent.gaps(query), every)
        actual = np.fmin.reduce(delta_e_2000(query, cards), axis=1)
        assert np.all(least <= actual)
        needed.append(np.mean(least <= actual.min()))
    # And it is worth something: most leaves need no look.
    assert np.mean(needed) < 0.5


def test_every_card_is_in_one_leaf():
    for n in (2, 256, 257, 5000, 5001):
        rows = CardLeaves(uniform(np.random.default_rng(n), n))._rows
        np.testing.assert_array_equal(np.sort(rows[rows >= 0]), np.arange(n))


def test_several_queries_at_once_equal_one_at_a_time():
    rng = np.random.default_rng(2)
    labs = uniform(rng, 3000)
    queries = uniform(rng, 24).reshape(4, 6, 3)
    rows, differences = nearest(queries, labs, 2)
    assert rows.shape == differences.shape == (4, 6, 2)
    for place in np.ndindex(4, 6):
        one = nearest(queries[place], labs, 2)
        np.testing.assert_array_equal(rows[place], one[0])
        np.testing.assert_array_equal(differences[place], one[1])


def test_equal_cards_come_in_row_order():
    labs = [(50.0, 1.0, 1.0), (50.0, 0.0, 0.0), (50.0, 1.0, 1.0), (50.0, 1.0, 1.0)]
    rows, differences = nearest((50.0, 1.0, 1.0), labs, 3)
    assert rows.tolist() == [0, 2, 3]
    assert differences.tolist() == [0.0, 0.0, 0.0]


def test_asking_for_more_than_there_are_gives_all():
    labs = [(50.0, 0.0, 0.0), (40.0, 0.0, 0.0)]
    rows, differences = nearest((41.0, 0.0, 0.0), labs, 10)
    assert rows.tolist() == [1, 0]
    assert differences.shape == (2,)


def test_a_prepared_set_is_a_copy():
    labs = np.array([(50.0, 0.0, 0.0), (40.0, 0.0, 0.0)])
    cards = NearestCards(labs)
    assert len(cards) == 2
    labs[:] = 0
    assert cards.nearest((40.0, 0.0, 0.0))[1][0] == 0.0


@pytest.mark.parametrize("search", [nearest, lambda query, labs: within(query, labs, 1.0)])
@pytest.mark.parametrize(
    ("query", "labs", "message"),
    [
        ((50, 0, 0), np.empty((0, 3)), "labs holds no colours; there is nothing to search"),
        ((50, 0, 0), [(50, 0)], r"labs must hold L\*, a\*, b\* .* got shape \(1, 2\)"),
        ((50, 0, 0), (50, 0, 0), r"labs must be rows of L\*, a\*, b\*, shape \(n, 3\)"),
        (
            (50, 0, 0),
            [(50, 0, 0), (50, np.nan, 0)],
            "labs must be finite, got nan in row 1; leave such rows out",
        ),
        ((50, np.inf, 0), [(50, 0, 0)], "query must be finite, got inf"),
        ((50, 0), [(50, 0, 0)], r"query must hold L\*, a\*, b\*"),
    ],
)
def test_what_cannot_be_searched_is_refused(search, query, labs, message):
    with pytest.raises(ValueError, match=message):
        search(query, labs)


@pytest.mark.parametrize("count", [0, -1, 1.5, None])
def test_a_meaningless_count_is_refused(count):
    with pytest.raises(ValueError, match="count must be a whole number from 1, got"):
        nearest((50, 0, 0), [(50, 0, 0)], count)


@pytest.mark.parametrize("limit", [-0.1, np.nan, np.inf])
def test_a_meaningless_limit_is_refused(limit):
    with pytest.raises(ValueError, match="limit must be finite and not negative, got"):
        within((50, 0, 0), [(50, 0, 0)], limit)


def test_within_takes_one_query():
    with pytest.raises(ValueError, match=r"query must be one colour, shape \(3,\)"):
        within([(50, 0, 0)], [(50, 0, 0)], 1.0)


@pytest.mark.parametrize("n", [0, 1, 2, 3, 255, 256, 257, 700])
@pytest.mark.parametrize("threads", [None, 2])
def test_all_pairs_equal_each_pair(n, threads):
    labs = uniform(np.random.default_rng(n), n)
    table = pairwise(labs, threads=threads)
    assert table.shape == (n, n)
    np.testing.assert_array_equal(table, delta_e_2000(labs[:, None], labs[None]))
    np.testing.assert_array_equal(table, table.T)
    assert not table.diagonal().any()


def test_a_nan_colour_makes_its_row_and_column_nan_only():
    labs = uniform(np.random.default_rng(0), 5)
    labs[2, 1] = np.nan
    table = pairwise(labs)
    assert np.isnan(table[2]).all() and np.isnan(table[:, 2]).all()
    assert np.isfinite(np.delete(np.delete(table, 2, 0), 2, 1)).all()


@pytest.mark.parametrize("n", [2, 3, 40, 900])
@pytest.mark.parametrize("kind", KINDS)
def test_the_widest_pair_is_the_largest_of_the_table(kind, n):
    labs = kind(np.random.default_rng(n), n)
    pair = widest(labs)
    table = pairwise(labs)
    assert pair.first < pair.second
    assert pair.difference == table.max() == table[pair.first, pair.second]


def test_the_widest_pair_over_several_strips(monkeypatch):
    monkeypatch.setattr(spread, "CHUNK", 16)
    labs = clustered(np.random.default_rng(1), 150)
    pair = widest(labs)
    assert pair.difference == pairwise(labs).max()


def test_of_equally_wide_pairs_the_first_is_named():
    assert widest([(50.0, 0.0, 0.0)] * 3) == (0, 1, 0.0)
    assert widest([(50, 0, 0), (60, 0, 0), (50, 0, 0)])[:2] == (0, 1)


@pytest.mark.parametrize("n", [0, 1])
def test_a_widest_pair_needs_two(n):
    with pytest.raises(ValueError, match=f"labs holds {n} colours; a widest pair needs two"):
        widest(np.zeros((n, 3)))


def test_widest_refuses_nan():
    with pytest.raises(ValueError, match="labs must be finite, got nan in row 1"):
        widest([(50, 0, 0), (np.nan, 0, 0)])


def test_all_pairs_take_the_result_and_little_more():
    labs = uniform(np.random.default_rng(0), 1500)
    tracemalloc.start()
    try:
        table = pairwise(labs, threads=2)
        extra = tracemalloc.get_traced_memory()[1] - table.nbytes
    finally:
        tracemalloc.stop()
    assert extra <= 16 * 2**20
