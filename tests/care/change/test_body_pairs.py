"""Two visits to body meshes of known change, with errors as measured, through the whole fit."""

from functools import cache

import numpy as np
import pytest
from change_study import fitted
from mesh_limbs import AS_MEASURED, limbs, visits, volume_change
from numpy.testing import assert_allclose
from skimage.measure import points_in_poly

from digitise.care.change.compare import ChangeVerdict, compare
from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume


@cache
def compared(number):
    limb = limbs("pair")[number]
    return limb, compare(*fitted(limb, AS_MEASURED))


# true changes of 0, -5 and -2 %; not turned, not turned, turned by 15 degrees
@pytest.mark.parametrize("number", [10, 6, 24])
def test_a_change_is_what_the_meshes_say(number):
    limb, change = compared(number)
    first_ml, true_ml = volume_change(limb, limb.low, limb.high)
    whole = change.whole.change_ml
    # three figures of three pairs: beyond 3 sd once in forty runs, and these are fixed draws
    assert abs(float(whole.mean) - true_ml) < 3 * whole.sd
    # half widths of some 1.0 %, that of the most turned 1.3 %
    assert 1.96 * whole.sd < 0.015 * first_ml
    for part in change.parts:
        own = volume_change(limb, part.segment.low, part.segment.high)[1]
        assert abs(float(part.change_ml.mean) - own) < 3 * part.change_ml.sd
    small = abs(true_ml) < 0.004 * first_ml
    assert change.whole.verdict is (ChangeVerdict.UNCLEAR if small else ChangeVerdict.SMALLER)


def test_segments_girths_and_map_tell_one_story():
    change = compared(6)[1]
    assert_allclose(sum(part.change_ml.mean for part in change.parts), change.whole.change_ml.mean, rtol=1e-9)
    chart = change.chart
    # Cauchy: a girth is the integral of the support distance over the directions
    around = 2 * np.pi * chart.change_mm.mean.mean(axis=1)
    at = np.isin(chart.z, change.girths.height_mm)
    heights = np.isin(change.girths.height_mm, chart.z[at])
    assert_allclose(around[at], np.asarray(change.girths.change_mm.mean)[heights], atol=1e-6)


def test_outlines_carved_from_voxels_bound_the_limb_from_outside():
    """Shape from silhouettes, with nothing of the program's solve: what projects into both outlines."""
    limb = limbs("pair")[1]
    seen = visits(limb, AS_MEASURED.exact())[0]
    heights = np.arange(limb.low + 10, limb.high - 10, 20.0)
    step = 4.0
    grid = np.stack(np.meshgrid(np.arange(-160, 200, step), np.arange(-200, 120, step)), axis=-1).reshape(
        -1, 2
    )
    areas = []
    for z in heights:
        world = np.column_stack([grid, np.full(len(grid), z)])
        inside = np.ones(len(grid), bool)
        for view in seen.views:
            left, right = (edge.points[::4] for edge in view.edges)
            inside[inside] = points_in_poly(
                view.camera.project(world[inside]), np.vstack([left, right[::-1]])
            )
        areas.append(np.count_nonzero(inside) * step**2)
    found = fit_limb(seen.views, seen.tape, side=limb.side, from_mm=limb.low, to_mm=limb.high).limb
    carved = np.array(areas)
    true = limb.solids[0].area(heights)
    # a voxel's edge of 2 mm all round bounds what the grid can be off by; its areas scatter by far less
    assert np.mean(carved) > np.mean(true)
    whole = float(volume(found, heights[0], heights[-1]).mean) * 1000
    hull, exact = np.trapezoid(carved, heights), np.trapezoid(true, heights)
    assert whole < hull
    # two outlines leave corners that no limb fills: the solve is much nearer than the hull of what is seen
    assert abs(whole - exact) < 0.25 * (hull - exact)
