"""A leg with a foot below it, without any photograph: the usual foot, joined to a tube or cone."""

import numpy as np
from solid_limbs import limb

from digitise.geometry.mesh import Mesh
from digitise.shape.end import EndPart
from digitise.shape.foot.join import join_foot
from digitise.shape.foot.prior import usual_foot
from digitise.shape.limb import Limb
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PLACES, PlacedShape

LOW, HIGH = 110.0, 450.0
RADIUS, FORE, ELBOW_HIGH = 45.0, 160.0, 180.0
TOES = np.array([0.0, 1.0, 0.0])


def leg_with_foot(side: str = "left", differences=(), sd: float = 0.1) -> tuple[Limb, EndPart]:
    """Return a round leg above a foot, and that; see :func:`foot_below`."""
    leg = limb(lambda theta, z: 42.0 + 0.05 * (z - LOW) + 0 * theta, side=side, low=LOW, high=HIGH)
    return leg, foot_below(leg, differences, sd)


def foot_below(leg: Limb, differences=(), sd: float = 0.1) -> EndPart:
    """Return a foot so many standard deviations from the usual one, each known with ``sd``."""
    prior = usual_foot(leg.side)
    step = np.zeros(len(prior.modes) + PLACES)
    step[: len(differences)] = differences
    surface = PlacedShape.usual(prior).moved(step)
    vertices = surface.vertices
    ring = vertices[np.abs(vertices[:, 2] - leg.from_mm) < 12.0]
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    surface = surface.moved(np.concatenate([np.zeros(len(prior.modes)), [-middle[0], -middle[1], 0.0]]))
    return join_foot(ShapeBelief(surface, sd**2 * np.eye(len(step)), np.zeros(0)), leg)


def elbow(around=180, along=60):
    """A tube of circular section: along the mat, a quarter turn about the bend, and up; open above."""
    bend = np.array([0.0, 0.0, 2 * RADIUS])
    theta = 2 * np.pi * np.arange(around) / around
    rings = []
    for y in np.linspace(FORE, 0.0, along)[:-1]:
        rings.append((np.array([0.0, y, RADIUS]), np.array([0.0, 0.0, 1.0])))
    for angle in np.linspace(0.0, np.pi / 2, along):
        out = np.array([0.0, -np.sin(angle), -np.cos(angle)])
        rings.append((bend + RADIUS * out, -out))
    for z in np.linspace(2 * RADIUS, ELBOW_HIGH, along)[1:]:
        rings.append((np.array([0.0, -RADIUS, z]), np.array([0.0, 1.0, 0.0])))
    across = np.array([1.0, 0.0, 0.0])
    vertices = np.concatenate(
        [c + RADIUS * (np.outer(np.cos(theta), across) + np.outer(np.sin(theta), up)) for c, up in rings]
    )
    ring, step = np.arange(around), np.arange(len(rings) - 1)[:, None] * around
    here, right = ring + step, (ring + 1) % around + step
    walls = np.concatenate(
        [np.stack([here, right, here + around], -1), np.stack([right, right + around, here + around], -1)]
    ).reshape(-1, 3)
    lid = len(vertices)
    front = np.stack([np.full(around, lid), (ring + 1) % around, ring], -1)
    return Mesh(np.concatenate([vertices, [[0.0, FORE, RADIUS]]]), np.concatenate([walls, front]))
