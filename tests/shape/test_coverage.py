"""Do 95 % intervals hold the truth in 95 % of limbs drawn from the stated prior and noise?"""

import numpy as np
import pytest
import synthetic
from prior_limbs import draw_limb

from digitise.shape.fit import fit_limb
from digitise.shape.limb import area, girth, volume
from digitise.shape.solve import OFFSET_SD_PX, WANDER_SD_PX
from digitise.shape.taped import HAND_SD_MM, HEIGHT_SD_MM, READING_SD_MM
from digitise.tape.rows import TapeRow

LEVELS = np.array([110.0, 180.0, 250.0, 320.0, 390.0])
TAPED = np.array([120.0, 250.0, 380.0])
NOISE = synthetic.EdgeNoise(point=0.3, offset=OFFSET_SD_PX, wander=WANDER_SD_PX)


def standard_scores(rng, n):
    """Errors over their sd for n limbs: girth (n, 5), area (n, 5), volume (n,)."""
    found = []
    for _ in range(n):
        solid = draw_limb(rng)
        directions = tuple(np.array([90.0, 0.0]) + rng.uniform(-10, 10, 2))
        views = synthetic.exact_views(solid, synthetic.walking_cameras(directions), 65, 435, step=3)
        views = tuple(synthetic.with_noise(view, NOISE, rng) for view in views)
        where = TAPED + HEIGHT_SD_MM * rng.standard_normal(len(TAPED))
        read = solid.girth(where) + READING_SD_MM * rng.standard_normal(len(TAPED))
        read = read + HAND_SD_MM * rng.standard_normal()
        tape = tuple(TapeRow(float(z), float(g)) for z, g in zip(TAPED, read, strict=True))
        limb = fit_limb(views, tape, from_mm=90.0, to_mm=410.0).limb
        g, a, v = girth(limb, LEVELS), area(limb, LEVELS), volume(limb, 90, 410)
        found.append(
            np.concatenate(
                [
                    (g.mean - solid.girth(LEVELS)) / g.sd,
                    (a.mean - solid.area(LEVELS)) / a.sd,
                    [(v.mean - solid.volume(90, 410)) / v.sd],
                ]
            )
        )
    scores = np.array(found)
    return scores[:, :5], scores[:, 5:10], scores[:, 10]


@pytest.mark.slow
def test_intervals_cover_what_they_say(rng):
    n = 300
    scores = standard_scores(rng, n)
    for score in scores:
        covered = np.mean(np.abs(score) < 1.96)
        # of 300 limbs, 95 % with a binomial sd of 1.26 %: two of them; more is what a still limb, which these
        # are, gains from what is allowed for one that sways
        assert covered >= 0.925
        # mean score of 300 limbs: sd 0.058 each, three of them
        assert abs(score.mean()) < 0.175


def test_a_few_limbs_are_covered(rng):
    girths, areas, volumes = standard_scores(rng, 25)
    # of 25 limbs with five levels each, 95 %: worse than 86 % would be two binomial sds of 25
    assert np.mean(np.abs(girths) < 1.96) > 0.86
    assert np.mean(np.abs(areas) < 1.96) > 0.86
    assert np.mean(np.abs(volumes) < 1.96) > 0.86
