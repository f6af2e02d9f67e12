"""Solids that lie on the mat with closed forms, and their exact outlines in photographs."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import ConvexHull

from digitise.geometry.camera import Camera
from digitise.geometry.view import Edge
from digitise.shape.statistical.model import ShapeModel, edges_of

SD_MM = np.array([9.0, 14.0, 9.0, 9.0])
"""By how much the solids of :func:`usual_solid` differ: half-width, half-length, cap and wall."""


@dataclass(frozen=True)
class MatSolid:
    """An upright elliptic wall with half an ellipsoid on it; mm.

    Sections across it are half-ellipses where there is no wall, and else D-shaped: upright sides, a flat
    sole, a round back.
    """

    half_width: float
    half_length: float
    cap: float
    wall: float = 0.0

    @property
    def sizes(self):
        return np.array([self.half_width, self.half_length, self.cap, self.wall])

    @property
    def volume(self) -> float:
        """Of the elliptic cylinder and half of the ellipsoid, mm^3."""
        return np.pi * self.half_width * self.half_length * (self.wall + 2.0 / 3.0 * self.cap)

    def farthest(self, normal):
        """The solid's point farthest along a direction: its base's rim where that looks down."""
        axes = self.sizes[:3] * [1.0, 1.0, float(normal[2] > 0)]
        top = np.array([0.0, 0.0, self.wall * float(normal[2] > 0)])
        return axes**2 * normal / np.linalg.norm(axes * normal) + top


def exact_edge(solid: MatSolid, camera: Camera, count: int = 150) -> Edge:
    """The outline in a photograph: where planes through the camera touch the solid, in closed form."""
    turn = camera.camera_from_world.rotation
    outward = np.array([[np.cos(a), np.sin(a)] for a in 2 * np.pi * np.arange(count) / count])
    points = []
    for cos, sin in outward:

        def plane(offset, cos=cos, sin=sin):
            # of all that is seen on one line across the picture
            normal = turn.T @ [cos, sin, -offset]
            return normal / np.linalg.norm(normal)

        def beyond(offset, plane=plane):
            normal = plane(offset)
            return normal @ (solid.farthest(normal) - camera.centre)

        points.append(camera.project(solid.farthest(plane(brentq(beyond, -3.0, 3.0, xtol=1e-12)))))
    seen = np.ones(count, bool)
    return Edge(np.array(points), outward, np.full(count, 0.5), seen, seen.copy())


def usual_solid(mean: MatSolid, fine: int = 48) -> ShapeModel:
    """A usual solid, and that such solids differ in each of their four lengths."""
    up = np.linspace(0.0, 1.0, fine // 2 + 1)[:-1] * np.pi / 2
    around = 2 * np.pi * np.arange(fine) / fine
    rise, turn = (each.ravel() for each in np.meshgrid(up, around, indexing="ij"))
    cap = np.column_stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)])
    cap = np.vstack([cap, [0.0, 0.0, 1.0]])
    base = cap[:fine]
    unit = np.vstack([base, cap])
    ways = np.zeros((4, len(unit), 3))
    for axis in range(3):
        ways[axis, :, axis] = unit[:, axis]
    ways[3, fine:, 2] = 1.0
    stretched = unit + np.where(np.arange(len(unit)) >= fine, 1.0, 0.0)[:, None] * [0.0, 0.0, 1.0]
    hull = ConvexHull(stretched)
    faces = hull.simplices.astype(np.int64)
    a, b, c = (stretched[faces[:, n]] for n in range(3))
    inward = np.sum(np.cross(b - a, c - a) * hull.equations[:, :3], axis=1) < 0
    faces[inward] = faces[inward][:, ::-1]
    return ShapeModel(
        np.tensordot(mean.sizes, ways, axes=1), ways * SD_MM[:, None, None], faces, edges_of(faces)
    )
