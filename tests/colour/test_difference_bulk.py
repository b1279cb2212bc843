"""The fast array form: chunks, threads, blocks, shortcuts and memory."""

import math
import tracemalloc

import numpy as np
import pytest

from colour import ciede2000, ciede2000_bulk
from colour.ciede2000_bulk import CHUNK
from colour.difference import delta_e_2000


def random_pairs(n, seed=5, step=2.0):
    rng = np.random.default_rng(seed)
    master = rng.uniform([0, -90, -90], [100, 90, 90], (n, 3))
    return master, master + rng.normal(0, step, (n, 3))


@pytest.mark.parametrize("n", [1, 7, 8, 9, CHUNK - 1, CHUNK, CHUNK + 1, 2 * CHUNK + 5])
@pytest.mark.parametrize("threads", [None, 1, 2, 3])
def test_chunks_and_threads_change_nothing(n, threads):
    master, sample = random_pairs(n)
    expected = ciede2000.steps(master, sample).delta_e
    result = delta_e_2000(master, sample, threads=threads)
    np.testing.assert_allclose(result, expected, rtol=0, atol=1e-10)


def test_threads_by_themselves_on_a_large_input_give_the_same_bytes():
    master, sample = random_pairs(ciede2000_bulk.THREADING_FROM + 11)
    alone = delta_e_2000(master, sample, threads=1)
    np.testing.assert_array_equal(delta_e_2000(master, sample), alone)


def test_a_pair_has_the_same_bytes_wherever_it_stands():
    master, sample = random_pairs(CHUNK + 100)
    whole = delta_e_2000(master, sample)
    for start, stop in [(0, 1), (3, 12), (CHUNK - 2, CHUNK + 3), (CHUNK, CHUNK + 100)]:
        part = delta_e_2000(master[start:stop], sample[start:stop])
        np.testing.assert_array_equal(part, whole[start:stop])


@pytest.mark.parametrize(
    ("masters", "samples"),
    [
        ((300, 1, 3), (1, 200, 3)),
        ((1, 200, 3), (300, 1, 3)),
        ((CHUNK + 3, 1, 3), (3,)),
        ((2, 1, 3), (1, CHUNK + 9, 3)),
        ((3, 40, 1, 3), (3, 1, 50, 3)),
        ((3, 40, 50, 3), (3, 40, 50, 3)),
    ],
)
def test_tables_of_pairs_are_cut_right(masters, samples):
    rng = np.random.default_rng(1)
    master, sample = (rng.uniform(5, 90, shape) for shape in (masters, samples))
    result = delta_e_2000(master, sample)
    expected = ciede2000.steps(master, sample).delta_e
    np.testing.assert_allclose(result, expected, rtol=0, atol=1e-10)


@pytest.mark.parametrize(
    ("rows", "columns"), [(1, 1), (1, CHUNK * 3 + 1), (CHUNK * 2, 1), (5000, 5000), (7, 40_000)]
)
def test_blocks_cover_every_pair_once(rows, columns):
    seen = 0
    largest = 0
    last = (0, 0)
    for row, end, column, stop in ciede2000_bulk.blocks(rows, columns):
        assert 0 <= row < end <= rows
        assert 0 <= column < stop <= columns
        assert (row, column) >= last
        last = (row, column)
        size = (end - row) * (stop - column)
        seen += size
        largest = max(largest, size)
    assert seen == rows * columns
    assert largest <= CHUNK


def test_strided_reversed_and_transposed_inputs_are_read_in_place():
    master, sample = random_pairs(1000)
    expected = delta_e_2000(master, sample)
    wide = np.zeros((1000, 7))
    wide[:, 1:6:2] = master
    np.testing.assert_array_equal(delta_e_2000(wide[:, 1:6:2], sample), expected)
    np.testing.assert_array_equal(delta_e_2000(master[::-1], sample[::-1]), expected[::-1])
    columns = np.asfortranarray(master)
    np.testing.assert_array_equal(delta_e_2000(columns, sample), expected)


def test_the_inputs_are_not_changed():
    master, sample = random_pairs(50)
    kept = master.copy(), sample.copy()
    master.flags.writeable = sample.flags.writeable = False
    delta_e_2000(master, sample)
    np.testing.assert_array_equal(master, kept[0])
    np.testing.assert_array_equal(sample, kept[1])


def test_nearly_opposite_hues_go_to_the_textbook_form():
    # A bisector of vectors that nearly cancel would be off by 1e-8 here.
    rng = np.random.default_rng(3)
    master, _ = random_pairs(4000)
    turn = np.radians(180 + rng.uniform(-0.2, 0.2, 4000))
    stretch = rng.uniform(0.2, 2, 4000)
    a, b = master[:, 1], master[:, 2]
    sample = np.stack(
        [
            master[:, 0],
            stretch * (a * np.cos(turn) - b * np.sin(turn)),
            stretch * (a * np.sin(turn) + b * np.cos(turn)),
        ],
        axis=-1,
    )
    expected = ciede2000.steps(master, sample).delta_e
    np.testing.assert_allclose(delta_e_2000(master, sample), expected, rtol=0, atol=1e-10)


def test_the_smallest_and_largest_colours_do_not_break_it():
    tiny = [0.0, 5e-324, 1e-300, 1e-160, 1e-155, 1e-20]
    colours = np.array([(50.0, x, y) for x in tiny for y in [*tiny, -1e-155, -5e-324]])
    result = delta_e_2000(colours[:, None], colours[None])
    assert np.all(result >= 0)
    assert np.all(result < 1e-19)
    assert np.all(np.isnan(delta_e_2000([(50.0, 1e200, 0.0)], (50.0, 0.0, 0.0))))


def test_the_polynomial_for_twice_the_sine_is_as_close_as_it_says():
    e = np.linspace(0, 1, 20_001)
    value = np.zeros_like(e)
    for coefficient in ciede2000_bulk.SINE[::-1]:
        value = value * e**2 + coefficient
    exact = [2 * math.sin(math.pi / 3 * x) for x in e]
    assert np.abs(value * e - exact).max() <= 1.4e-15


def test_the_polynomials_for_t_are_its_multiple_angles():
    hue = np.linspace(0, 2 * np.pi, 1000)
    c, s = -np.cos(hue), -np.sin(hue)
    t = np.polyval(ciede2000_bulk.T_P[::-1], c) + s * np.polyval(ciede2000_bulk.T_Q[::-1], c)
    expected = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    np.testing.assert_allclose(t, expected, rtol=0, atol=1e-14)


@pytest.mark.parametrize("threads", [1, 2])
def test_a_million_pairs_take_the_result_and_little_more(threads):
    master, sample = random_pairs(1_000_000)
    tracemalloc.start()
    try:
        result = delta_e_2000(master, sample, threads=threads)
        extra = tracemalloc.get_traced_memory()[1] - result.nbytes
    finally:
        tracemalloc.stop()
    assert extra <= 16 * 2**20


def test_even_pairs_that_all_need_the_textbook_form_take_little_memory():
    master, _ = random_pairs(100_000)
    tracemalloc.start()
    try:
        result = delta_e_2000(master, master * [1, -1, -1], threads=2)
        extra = tracemalloc.get_traced_memory()[1] - result.nbytes - master.nbytes
    finally:
        tracemalloc.stop()
    assert extra <= 16 * 2**20
