"""Edges in doubt that the tape contradicts far beyond their doubt: they lose their say."""

import dataclasses

import numpy as np
import pytest
import synthetic
from prior_limbs import draw_limb

from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume
from digitise.tape.rows import TapeRow

LEVELS = (90.0, 410.0)
TAPED = np.array([110.0, 180.0, 260.0, 370.0])
WRONG_MM = 290.0


def measured(solid, off_px):
    """A limb whose left edges are unsure above WRONG_MM, and there lie ``off_px`` within it."""
    views = []
    for view in synthetic.exact_views(solid, synthetic.walking_cameras(), 65, 435, step=3):
        edge = view.edges[0]
        wrong = np.linspace(65, 435, len(edge.points)) > WRONG_MM
        edge = dataclasses.replace(
            edge,
            points=np.where(wrong[:, None], edge.points - off_px * edge.normals, edge.points),
            sure=edge.sure & ~wrong,
            sd_px=np.where(wrong, 4.0, edge.sd_px),
        )
        views.append(dataclasses.replace(view, edges=(edge, view.edges[1])))
    rows = tuple(TapeRow(float(z), float(g)) for z, g in zip(TAPED, solid.girth(TAPED), strict=True))
    return fit_limb(tuple(views), rows, from_mm=LEVELS[0], to_mm=LEVELS[1])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_interval_holds_although_two_edges_are_another_bodys(seed):
    # 80 px, some 4 cm, as where another leg hides the limb: far beyond an unsure edge's few pixels
    solid = draw_limb(np.random.default_rng(seed))
    fit = measured(solid, 80.0)
    low, high = volume(fit.limb, *LEVELS).interval_95
    assert low <= solid.volume(*LEVELS) <= high
    # the girth there is the tape's
    assert abs(fit.tape_checks[-1].z) < 3.0


def test_edges_that_the_tape_confirms_keep_their_say():
    solid = draw_limb(np.random.default_rng(1))
    found = volume(synthetic.of_true_print(measured(solid, 0.0).limb), *LEVELS)
    assert abs(found.mean / solid.volume(*LEVELS) - 1) < 0.01
    assert found.sd < 0.012 * found.mean
