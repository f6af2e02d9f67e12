"""Limbs with closed forms, seen exactly: truth for tests, documents and benchmarks.

A solid is a stack of convex sections given by their support function ``h(theta, z)``.  With
``n = (cos theta, sin theta)`` and ``t = (-sin theta, cos theta)`` its surface is ``p = (h n + h' t, z)``; a
camera at C sees its rim where the tangent plane passes through C, that is where

    h - n . C_xy - (dh/dz) (z - C_z) = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import ellipe

from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.support import area_weights, fourier
from digitise.geometry.view import Edge, View

_BISECTIONS = 60
_TINY_MM = 1e-3
_GAUSS_POINTS = 12


class Solid(Protocol):
    """A stack of convex sections; heights and lengths in mm."""

    def support(self, theta: Array, z: Array) -> tuple[Array, Array, Array]:
        """Return h, dh/dtheta and dh/dz at directions and heights (N,)."""
        ...

    def girth(self, z: Array) -> Array:
        """Return the sections' perimeters at heights (N,), mm."""
        ...

    def area(self, z: Array) -> Array:
        """Return the sections' areas at heights (N,), mm^2."""
        ...

    def volume(self, low: float, high: float) -> float:
        """Return the volume between two heights, mL."""
        ...


@dataclass(frozen=True)
class EllipticFrustum:
    """Ellipses whose half-axes and centre change linearly with height.

    Attributes
    ----------
    low, high
        Heights of the two ends, mm.
    axes_low, axes_high
        Half-axes (a, b) there; a lies along x turned by ``turn``.
    centre_low, centre_high
        Centres (x, y) there.
    turn
        Direction of a, radians.
    """

    low: float
    high: float
    axes_low: tuple[float, float]
    axes_high: tuple[float, float]
    centre_low: tuple[float, float] = (0.0, 0.0)
    centre_high: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0

    def _axes(self, z: Array) -> tuple[Array, Array, Array]:
        """Return half-axes (N, 2), centres (N, 2) and both slopes (4,)."""
        part = (np.asarray(z, float)[:, None] - self.low) / (self.high - self.low)
        low, high = (
            np.array([*self.axes_low, *self.centre_low]),
            np.array([*self.axes_high, *self.centre_high]),
        )
        all_four = low + part * (high - low)
        return all_four[:, :2], all_four[:, 2:], (high - low) / (self.high - self.low)

    def support(self, theta: Array, z: Array) -> tuple[Array, Array, Array]:
        """Return h, dh/dtheta and dh/dz: ``h = sqrt(a^2 cos^2 + b^2 sin^2)`` plus the centre's part."""
        axes, centre, slope = self._axes(z)
        a, b = axes.T
        cos, sin = np.cos(theta - self.turn), np.sin(theta - self.turn)
        x, y = np.cos(theta), np.sin(theta)
        oval = np.sqrt((a * cos) ** 2 + (b * sin) ** 2)
        h = oval + centre[:, 0] * x + centre[:, 1] * y
        turned = (b**2 - a**2) * sin * cos / oval - centre[:, 0] * y + centre[:, 1] * x
        raised = (a * slope[0] * cos**2 + b * slope[1] * sin**2) / oval + slope[2] * x + slope[3] * y
        return h, turned, raised

    def girth(self, z: Array) -> Array:
        """Return the perimeters ``4 a E(1 - b^2 / a^2)``."""
        axes, _, _ = self._axes(z)
        longer, shorter = axes.max(axis=1), axes.min(axis=1)
        return np.asarray(4 * longer * ellipe(1 - (shorter / longer) ** 2))

    def area(self, z: Array) -> Array:
        """Return the areas ``pi a b``."""
        axes, _, _ = self._axes(z)
        return np.pi * axes[:, 0] * axes[:, 1]

    def volume(self, low: float, high: float) -> float:
        """Return ``pi h / 6 (2 a1 b1 + a1 b2 + a2 b1 + 2 a2 b2)`` in mL."""
        (a1, b1), (a2, b2) = self._axes(np.array([low, high]))[0]
        return float(np.pi * (high - low) / 6 * (2 * a1 * b1 + a1 * b2 + a2 * b1 + 2 * a2 * b2) / 1000.0)


@dataclass(frozen=True)
class HarmonicSolid:
    """Sections given by their Fourier coefficients, which run smoothly through knots.

    Attributes
    ----------
    coefficients
        Piecewise cubic of height with values (2 K + 1,) in the order a_0, a_1, b_1, a_2, ..., mm.
    """

    coefficients: CubicSpline

    @classmethod
    def through(cls, heights: Array, values: Array) -> HarmonicSolid:
        """Return the solid with coefficients ``values`` (H, 2 K + 1) at ``heights`` (H,)."""
        return cls(CubicSpline(heights, values))

    @property
    def harmonics(self) -> int:
        """Highest order K."""
        return int((self.coefficients(0.0).shape[0] - 1) // 2)

    def support(self, theta: Array, z: Array) -> tuple[Array, Array, Array]:
        """Return h, dh/dtheta and dh/dz at directions and heights (N,)."""
        here, slope = self.coefficients(z), self.coefficients(z, 1)
        terms, turned = fourier(theta, self.harmonics), fourier(theta, self.harmonics, 1)
        return np.sum(terms * here, axis=1), np.sum(turned * here, axis=1), np.sum(terms * slope, axis=1)

    def girth(self, z: Array) -> Array:
        """Return the perimeters 2 pi a_0."""
        return np.asarray(2 * np.pi * self.coefficients(z)[..., 0])

    def area(self, z: Array) -> Array:
        """Return the areas ``pi a_0^2 - pi/2 sum (k^2 - 1)(a_k^2 + b_k^2)``."""
        return np.asarray(self.coefficients(z) ** 2 @ area_weights(self.harmonics))

    def volume(self, low: float, high: float) -> float:
        """Return the volume in mL; Gauss's rule is exact on each cubic piece."""
        knots = self.coefficients.x
        edges = np.concatenate([[low], knots[(knots > low) & (knots < high)], [high]])
        node, weight = np.polynomial.legendre.leggauss(_GAUSS_POINTS)
        half = np.diff(edges)[:, None] / 2
        z = (edges[:-1] + edges[1:])[:, None] / 2 + half * node
        return float(np.sum(half * weight * self.area(z)) / 1000.0)


@dataclass(frozen=True)
class EdgeNoise:
    """Errors of an outline, all along the edge's normal, sd in pixels.

    Attributes
    ----------
    point
        Independent from point to point.
    offset
        Common to a whole edge.
    wander
        Slowly changing, Matern 3/2 with a correlation length of 50 mm.
    """

    point: float = 0.0
    offset: float = 0.0
    wander: float = 0.0


def walking_cameras(
    directions: tuple[float, ...] = (90.0, 0.0),
    *,
    distance: float = 1600.0,
    height: float = 450.0,
    lens: Lens | None = None,
    target: tuple[float, float, float] = (0.0, 0.0, 430.0),
) -> tuple[Camera, ...]:
    """Return upright 12-megapixel cameras that a person walks round a limb.

    Parameters
    ----------
    directions
        Where each camera stands, degrees from x towards y (90: in front of the toes).
    distance, height
        Of the camera from the axis and above the mat, mm.
    lens
        Intrinsics; 3000 px focal length without distortion when not given.
    target
        The point all look at.
    """
    size = (3024, 4032)
    optics = lens or Lens(3000.0, np.array([1511.5, 2015.5]))
    cameras = []
    for degrees in directions:
        angle = np.radians(degrees)
        place = np.array([distance * np.cos(angle), distance * np.sin(angle), height])
        cameras.append(Camera(optics, look_at(place, np.array(target)), size))
    return tuple(cameras)


def look_at(place: Array, target: Array) -> Pose:
    """Return ``camera_from_world`` of an upright camera at ``place`` that looks at ``target`` (both (3,))."""
    forward = (target - place) / np.linalg.norm(target - place)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    return Pose(rotation, -rotation @ place)


def rim(solid: Solid, place: Array, z: Array, side: float) -> tuple[Array, Array]:
    """Find the rim that a camera sees.

    Parameters
    ----------
    solid
        What is seen.
    place
        (3,) optical centre in the solid's frame, mm.
    z
        (N,) heights.
    side
        +1 for the rim on the side counter-clockwise from the camera's direction, -1 for the other.

    Returns
    -------
    points, normals
        (N, 3) rim points and outward unit normals of the surface there.
    """
    towards = np.arctan2(place[1], place[0])
    # facing the camera the section lies before the plane through it, facing away behind: bisect between
    near, far = np.full(len(z), towards), np.full(len(z), towards + side * np.pi)
    for _ in range(_BISECTIONS):
        theta = (near + far) / 2
        h, _, raised = solid.support(theta, z)
        beyond = h - np.cos(theta) * place[0] - np.sin(theta) * place[1] - raised * (z - place[2]) > 0
        near, far = np.where(beyond, near, theta), np.where(beyond, theta, far)
    theta = (near + far) / 2
    h, turned, raised = solid.support(theta, z)
    x, y = np.cos(theta), np.sin(theta)
    points = np.stack([h * x - turned * y, h * y + turned * x, z], axis=1)
    normals = np.stack([x, y, -raised], axis=1)
    return points, normals / np.linalg.norm(normals, axis=1, keepdims=True)


def exact_edge(solid: Solid, camera: Camera, z: Array, side: float, axis_from_world: Pose) -> Edge:
    """Return one edge of the silhouette, exact to rounding, through the rim points at heights ``z`` (N,)."""
    points, normals = rim(solid, axis_from_world.apply(camera.centre), z, side)
    world_from_axis = axis_from_world.inverse()
    points, normals = world_from_axis.apply(points), normals @ world_from_axis.rotation.T
    along = np.cross(normals, points - camera.centre)
    along *= _TINY_MM / np.linalg.norm(along, axis=1, keepdims=True)
    tangent = camera.project(points + along) - camera.project(points - along)
    out = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    seen = camera.project(points + _TINY_MM * normals) - camera.project(points)
    out *= np.sign(np.sum(out * seen, axis=1, keepdims=True))
    return Edge(camera.project(points), out, np.full(len(z), 0.05), *np.ones((2, len(z)), dtype=bool))


def exact_views(
    solid: Solid,
    cameras: tuple[Camera, ...],
    low: float,
    high: float,
    *,
    step: float = 1.0,
    axis_from_world: Pose | None = None,
) -> tuple[View, ...]:
    """Return what the cameras see of a solid between two heights, one edge point every ``step`` mm."""
    axis = Pose.identity() if axis_from_world is None else axis_from_world
    z = np.arange(low, high + step / 2, step)
    views = []
    for number, camera in enumerate(cameras, start=1):
        edges = [exact_edge(solid, camera, z, side, axis) for side in (1.0, -1.0)]
        edges.sort(key=lambda edge: float(np.mean(edge.points[:, 0])))
        views.append(View(f"view-{number}", camera, tuple(edges)))
    return tuple(views)


def with_noise(view: View, noise: EdgeNoise, rng: np.random.Generator, mm_per_px: float = 0.53) -> View:
    """Return the view with seeded edge errors; ``mm_per_px`` turns the wander's length into pixels."""
    edges = []
    for edge in view.edges:
        height = edge.points[:, 1] * mm_per_px
        distance = np.abs(height[:, None] - height) * np.sqrt(3.0) / 50.0
        shared = (1 + distance) * np.exp(-distance) + 1e-9 * np.eye(len(height))
        error = noise.offset * rng.standard_normal() + noise.point * rng.standard_normal(len(height))
        error = error + noise.wander * (np.linalg.cholesky(shared) @ rng.standard_normal(len(height)))
        sd = np.full(len(height), max(noise.point, 0.05))
        edges.append(
            Edge(edge.points + error[:, None] * edge.normals, edge.normals, sd, edge.sure, edge.seen)
        )
    return View(view.name, view.camera, tuple(edges))


def of_true_print(limb):
    """The limb when its sheets are known to be true to size."""
    return replace(
        limb, covariance=limb.covariance - np.outer(limb.print_scale, limb.print_scale), print_scale=None
    )
