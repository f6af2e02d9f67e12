import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import RegularGridInterpolator

from digitise.geometry.grid import bilinear


@pytest.mark.parametrize("shape", [(), (3,)])
def test_between_points_a_library_says_the_same(rng, shape):
    x, y = np.sort(rng.uniform(0, 100, 12)), np.sort(rng.uniform(0, 6, 9))
    values = rng.standard_normal((12, 9, *shape))
    at_x, at_y = (rng.uniform(grid[0], grid[-1], (40, 5)) for grid in (x, y))
    wanted = RegularGridInterpolator((x, y), values)((at_x, at_y))
    assert_allclose(bilinear(x, y, values, at_x, at_y), wanted, atol=1e-12)


def test_at_the_points_of_the_grid_it_is_their_values(rng):
    x, y = np.arange(4.0), np.arange(5.0)
    values = rng.standard_normal((4, 5))
    assert_allclose(bilinear(x, y, values, *np.meshgrid(x, y, indexing="ij")), values, atol=1e-15)
