"""Lower legs drawn from the stated prior of sections, on the knots of a fit between 90 and 410 mm."""

import numpy as np
import synthetic

from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.priors import HARMONICS, KNOT_SPACING_MM, LEG

# the knots of a fit between 90 and 410 mm: the prior is stated for splines
BASIS = Basis.uniform(60, 440, KNOT_SPACING_MM, HARMONICS)
# five to a span: a cubic through these is the spline itself
HEIGHTS = np.linspace(60, 440, 5 * (BASIS.n_splines - 3) + 1)


def draw_limb(rng):
    """A lower leg of given size and course whose orders 2 to 6 are drawn from the prior."""
    terms = np.zeros((BASIS.n_terms, BASIS.n_splines))
    terms[0] = 45 + 12 * np.sin((BASIS.places - 120) / 150) * rng.uniform(0.5, 1.2)
    terms[1] = 5 * np.sin(BASIS.places / 130)
    terms[2] = 10 * np.cos(BASIS.places / 170)
    root = np.linalg.cholesky(np.linalg.inv(BASIS.matern_precision(LEG.length_mm)))
    scale = np.array([sd for pair in LEG.amplitude for sd in pair])
    terms[3:] = scale[:, None] * terms[0] * (rng.standard_normal((len(scale), BASIS.n_splines)) @ root.T)
    terms += priors.mean(LEG, BASIS, terms.ravel()).reshape(terms.shape)
    return synthetic.HarmonicSolid.through(HEIGHTS, BASIS.splines(HEIGHTS) @ terms.T)
