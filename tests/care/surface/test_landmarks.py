"""The first place that stands out, against an independent library."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from digitise.care.surface.landmarks import _PROMINENCE_MM, profile_rows


@given(st.lists(st.integers(180, 200), min_size=1, max_size=60))
def test_widest_place_is_the_first_that_stands_out(girths):
    girth = np.array(girths, float)
    peaks, _ = find_peaks(girth, prominence=_PROMINENCE_MM)
    found = profile_rows(girth)
    assert (found is None) == (not len(peaks))
    if found is not None:
        assert found[1] == peaks[0]
