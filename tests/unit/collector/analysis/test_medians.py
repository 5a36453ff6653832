import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fadewatch_collector.analysis.medians import (
    ahead_median_of_5,
    median_of_3,
    median_of_5,
    running_median_of_5,
    shift,
)

VALUES = np.random.default_rng(5).normal(size=(40, 60)).astype(np.float32)


def test_networks_agree_with_numpy_on_random_and_tied_values() -> None:
    tied = np.round(VALUES)
    for values in (VALUES, tied):
        three = np.median(values[:3], axis=0)
        five = np.median(values[:5], axis=0)
        assert np.array_equal(median_of_3(*values[:3]), three)
        assert np.array_equal(median_of_5(*values[:5]), five)


def test_the_running_median_takes_the_nearest_whole_window_at_the_ends() -> None:
    windows = np.median(sliding_window_view(VALUES, 5, axis=1), axis=2)
    running = running_median_of_5(VALUES)
    assert np.array_equal(running[:, 2:-2], windows)
    assert np.array_equal(running[:, 0], windows[:, 0])
    assert np.array_equal(running[:, -1], windows[:, -1])


def test_the_median_ahead_is_of_what_is_left_near_the_end() -> None:
    values = np.array([[9, 1, 5, 2, 8, 3]], dtype=np.float32)
    assert ahead_median_of_5(values).tolist() == [[5, 3, 5, 3, 8, 3]]


def test_a_shift_repeats_the_end() -> None:
    values = np.array([[1, 2, 3]], dtype=np.float32)
    assert shift(values, 1).tolist() == [[1, 1, 2]]
    assert shift(values, -2).tolist() == [[3, 3, 3]]
