"""A leg with a foot below it, without any photograph: the usual foot, joined to a tube or cone."""

import numpy as np
from solid_limbs import limb

from digitise.shape.foot.join import Foot, join_foot
from digitise.shape.foot.prior import usual_foot
from digitise.shape.limb import Limb
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PLACES, PlacedShape

LOW, HIGH = 110.0, 450.0


def leg_with_foot(side: str = "left", differences=(), sd: float = 0.1) -> tuple[Limb, Foot]:
    """Return a round leg above a foot, and that; see :func:`foot_below`."""
    leg = limb(lambda theta, z: 42.0 + 0.05 * (z - LOW) + 0 * theta, side=side, low=LOW, high=HIGH)
    return leg, foot_below(leg, differences, sd)


def foot_below(leg: Limb, differences=(), sd: float = 0.1) -> Foot:
    """Return a foot so many standard deviations from the usual one, each known with ``sd``."""
    prior = usual_foot(leg.side)
    step = np.zeros(len(prior.modes) + PLACES)
    step[: len(differences)] = differences
    surface = PlacedShape.usual(prior).moved(step)
    vertices = surface.vertices()
    ring = vertices[np.abs(vertices[:, 2] - leg.from_mm) < 12.0]
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    surface = surface.moved(np.concatenate([np.zeros(len(prior.modes)), [-middle[0], -middle[1], 0.0]]))
    return join_foot(ShapeBelief(surface, sd**2 * np.eye(len(step)), np.zeros(0)), leg)
