"""The line of median slope, as the library of statistics has it."""

import numpy as np
from numpy.testing import assert_allclose
from scipy.stats import theilslopes

from digitise.geometry.lines import median_line


def test_it_is_the_one_of_an_independent_library():
    draw = np.random.default_rng(8)
    for count in (2, 9, 40):
        x = draw.permutation(60)[:count]
        y = 3.0 + 0.4 * x + draw.standard_cauchy(count)
        assert_allclose(median_line(x, y), theilslopes(y, x)[:2])
