"""The foot below a measured leg, from a photograph taken from above and those from the sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from digitise.capture.foot.crop import Body
from digitise.capture.foot.outline import FootOutline, find_foot
from digitise.capture.photo.photograph import Photograph
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.shape.foot.planes import TangentPlanes, planes_of_leg, planes_of_view, together
from digitise.shape.foot.prior import usual_foot
from digitise.shape.foot.solve import FootBelief, solve_foot
from digitise.shape.foot.surface import FootSurface
from digitise.shape.limb import Limb, coefficients
from digitise.shape.mesh import limb_mesh

# The usual foot may be so far from this one at its toes; the second time it is nearly there.
_SLACKS_MM = (45.0, 15.0)
_RING_MM, _RAYS = 12.0, 48


@dataclass(frozen=True, eq=False)
class FootSeen:
    """A foot, and its outline in each photograph that shows it.

    Attributes
    ----------
    belief
        The foot.
    outlines
        By photograph, from 0.
    """

    belief: FootBelief
    outlines: dict[int, FootOutline]


def find_and_solve(photos: Sequence[Photograph], cameras: Sequence[Camera], limb: Limb) -> FootSeen:
    """Find the foot of a standing leg in photographs and solve its shape.

    Parameters
    ----------
    photos, cameras
        In the same order, the one from above among them.
    limb
        The leg, measured.

    Raises
    ------
    ShapeError
        When the foot's shape does not settle.
    """
    leg, above = _leg_body(limb), planes_of_leg(limb)
    foot = solve_foot(_start(limb), above)
    outlines: dict[int, FootOutline] = {}
    for slack in _SLACKS_MM:
        expected = Body(foot.surface.vertices(), foot.surface.prior.faces)
        tried = {
            n: find_foot(photo.pixels, camera, expected, leg, slack)
            for n, (photo, camera) in enumerate(zip(photos, cameras, strict=True))
        }
        outlines = {n: found for n, found in tried.items() if found is not None}
        seen: list[TangentPlanes] = [
            planes_of_view(cameras[n], found.edge, view) for view, (n, found) in enumerate(outlines.items())
        ]
        foot = solve_foot(foot.surface, together([above, *seen]))
    return FootSeen(foot, outlines)


def _start(limb: Limb) -> FootSurface:
    """Return the usual foot under the leg's lowest section."""
    prior = usual_foot(limb.side)
    mean, _ = coefficients(limb, np.array([limb.from_mm]))
    ring = prior.mean[np.abs(prior.mean[:, 2] - limb.from_mm) < _RING_MM]
    middle: Array = (ring.min(axis=0) + ring.max(axis=0)) / 2.0
    return FootSurface.usual(prior, *(mean[0, 1:3] - middle[:2]).tolist())


def _leg_body(limb: Limb) -> Body:
    mesh = limb_mesh(limb, _RING_MM, _RAYS)
    return Body(mesh.vertices, mesh.faces)
