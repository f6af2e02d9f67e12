"""Best paths against trying every path."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from digitise.capture.light_steps.viterbi import best_path

# quarters add up exactly in single precision, so totals can be compared without a tolerance
QUARTERS = st.integers(-40, 40).map(lambda n: n / 4)


def total(scores: np.ndarray, path, stiffness: float) -> float:
    gain = sum(float(scores[row, column]) for row, column in enumerate(path))
    return gain - stiffness * float(np.sum(np.diff(path) ** 2))


def best_total(scores: np.ndarray, stiffness: float, reach: int) -> float:
    height, width = scores.shape
    allowed = (p for p in product(range(width), repeat=height) if np.all(np.abs(np.diff(p)) <= reach))
    return max(total(scores, path, stiffness) for path in allowed)


@st.composite
def tables(draw, forbidden: bool):
    shape = draw(st.tuples(st.integers(1, 5), st.integers(1, 5)))
    cells = st.one_of(QUARTERS, st.just(-np.inf)) if forbidden else QUARTERS
    return draw(arrays(np.float32, shape, elements=cells)), draw(st.sampled_from([0.0, 0.25, 1.0, 8.0]))


@settings(max_examples=60, deadline=None)
@given(tables(forbidden=False), st.integers(1, 3))
def test_no_path_is_better(table, reach):
    scores, stiffness = table
    path = best_path(scores, stiffness=stiffness, reach=reach)
    assert np.all(np.abs(np.diff(path)) <= reach)
    assert total(scores, path, stiffness) == best_total(scores, stiffness, reach)


@settings(max_examples=60, deadline=None)
@given(tables(forbidden=True), st.integers(1, 2))
def test_forbidden_cells_are_kept_out_of(table, reach):
    scores, stiffness = table
    best = best_total(scores, stiffness, reach)
    if best == -np.inf:
        with pytest.raises(ValueError, match="no path"):
            best_path(scores, stiffness=stiffness, reach=reach)
    else:
        path = best_path(scores, stiffness=stiffness, reach=reach)
        assert np.all(np.isfinite(scores[np.arange(len(path)), path]))
        assert total(scores, path, stiffness) == best


def test_a_tie_gives_one_of_the_best_paths_every_time():
    scores = np.zeros((6, 7), np.float32)
    first = best_path(scores, stiffness=1.0, reach=2)
    assert np.all(np.diff(first) == 0)  # any bend would cost
    np.testing.assert_array_equal(first, best_path(scores, stiffness=1.0, reach=2))


def test_a_path_follows_a_ridge_no_steeper_than_its_reach():
    rows = np.arange(60)
    ridge = np.round(30 + 25 * np.sin(rows / 12)).astype(int)  # at most 2.1 columns a row
    scores = np.full((60, 64), -50.0, np.float32)
    scores[rows, ridge] = 0.0
    np.testing.assert_array_equal(best_path(scores, stiffness=0.5, reach=3), ridge)


def test_a_stiff_path_passes_by_a_single_outlier():
    scores = np.zeros((21, 11), np.float32)
    scores[:, 5] = 1.0
    scores[10, 9] = 3.0  # worth 2 more, but four columns there and back cost at least 2 * 4
    assert np.all(best_path(scores, stiffness=1.0, reach=4) == 5)
