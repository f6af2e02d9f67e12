"""An edge that steps in and out again is not the limb's; smooth limbs and lobes are."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from digitise.capture.outline.beside.stepped_in import stepped_in
from digitise.capture.photo.rectified import STEP_MM

AT = np.arange(0.0, 700.0, STEP_MM)
LINES_MM = 20.0  # as far as lines are laid on either side of a step
SMOOTHED_ROWS = 2.0  # as sub-pixel edges are


@st.composite
def limbs(draw):
    """Edges of limbs: waves of 250 mm and more, no steeper than a swollen calf (0.6)."""
    edge = np.full(len(AT), 70.0)
    for _ in range(3):
        length = draw(st.floats(250.0, 900.0))
        height = draw(st.floats(0.0, 0.2)) * length / (2 * np.pi)
        edge += height * np.sin(2 * np.pi * AT / length + draw(st.floats(0.0, 6.3)))
    return edge + 0.1 * np.random.default_rng(draw(st.integers(0, 99))).standard_normal(len(AT))


@given(limbs())
def test_a_limb_alone_never_steps(edge):
    assert not stepped_in(edge).any()


@given(limbs(), st.floats(100.0, 300.0), st.floats(60.0, 250.0), st.floats(9.0, 25.0))
def test_a_stretch_further_in_is_found_from_step_to_step(edge, first, length, depth):
    within = (first <= AT) & (first + length > AT)
    found = stepped_in(gaussian_filter1d(edge - depth * within, SMOOTHED_ROWS))
    assert found[within].all()
    assert not found[(first - LINES_MM > AT) | (first + length + LINES_MM < AT)].any()


@given(limbs(), st.floats(100.0, 300.0), st.floats(40.0, 200.0), st.floats(9.0, 60.0))
def test_one_lobe_that_hangs_out_is_the_limbs(edge, first, length, depth):
    out = (first <= AT) & (first + length > AT)
    assert not stepped_in(gaussian_filter1d(edge + depth * out, SMOOTHED_ROWS)).any()
