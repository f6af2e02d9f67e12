import numpy as np
import pytest
import synthetic
from numpy.testing import assert_allclose
from shapely import Polygon

from digitise.errors import ShapeError
from digitise.shape import limb as read
from digitise.shape.fit import fit_limb
from digitise.shape.section import section_outline

SOLID = synthetic.EllipticFrustum(0, 800, (40, 50), (80, 70), (0, 10), (30, -20))


@pytest.fixture(scope="module")
def limb():
    return fit_limb(synthetic.exact_views(SOLID, synthetic.walking_cameras(), 80, 720, step=2)).limb


@pytest.mark.parametrize("height", [100.0, 400.0, 700.0])
def test_outline_is_closed_and_has_the_girth_and_lies_in_its_band(limb, height):
    outline = section_outline(limb, height)
    assert_allclose(outline.line[0], outline.line[-1])
    # a polygon of 120 corners in a circle is 1e-4 shorter (methods: 1 - (N/pi) sin(pi/N))
    girth = float(read.girth(limb, np.array([height])).mean[0])
    assert Polygon(outline.line).convex_hull.length == pytest.approx(girth, rel=1e-3)
    # chords of the inner and outer lines dip by up to r (1 - cos(pi/120)), 0.03 mm here
    assert Polygon(outline.outer).buffer(0.05).contains(Polygon(outline.line))
    assert Polygon(outline.line).buffer(0.05).contains(Polygon(outline.inner))


def test_outline_of_a_known_ellipse(limb):
    half = np.ptp(section_outline(limb, 400.0, rays=360).line, axis=0) / 2
    # halfway up the frustum the half axes are the means of its ends; views are exact, so priors alone move it
    assert_allclose(half, [60, 60], atol=1.0)


def test_heights_outside_the_limb_are_refused(limb):
    with pytest.raises(ShapeError):
        section_outline(limb, 5000.0)
