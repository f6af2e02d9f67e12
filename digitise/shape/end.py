"""The part beyond a limb's end, its foot or hand, joined to it: one closed surface, nothing counted twice.

The limb ends at its lowest section, and the part's surface passes it a little to one side or the other.  Over
the last 40 mm below, the part is drawn to the limb's section, so that the two meet in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.mesh import Mesh, part_beyond, used, welded
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.values import read_only
from digitise.shape.limb import Limb, coefficients
from digitise.shape.mesh import RAYS, STEP_MM, limb_mesh
from digitise.shape.statistical.solve import ShapeBelief

_BLEND_MM = 40.0
_SAME_MM = 6  # digits to which the cut's corners are one


@dataclass(frozen=True, eq=False)
class EndPart:
    """A foot below a leg, or a hand beyond an arm.

    Attributes
    ----------
    name
        Which of the two.
    belief
        The part as its photographs tell it, on the mat, with how sure that is.
    top_mm
        The limb's lowest section: the part is what lies below.
    vertices
        (V, 3) of the part's surface drawn to the limb there, frame of the limb's axis, mm; its faces are the
        prior's.
    above_wrist_mm
        How far a hand's wrist lies below the limb's lowest section; 0 for a foot.
    """

    name: Literal["foot", "hand"]
    belief: ShapeBelief
    top_mm: float
    vertices: Array
    above_wrist_mm: float = 0.0

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    @property
    def faces(self) -> NDArray[np.int64]:
        """(F, 3) outward faces; open above."""
        return self.belief.surface.prior.faces


def drawn_to(limb: Limb, vertices: Array, edges: NDArray[np.int64]) -> Array:
    """Return a part's vertices (V, 3), in the frame of the limb's axis, drawn to the limb's lowest section.

    Parameters
    ----------
    limb
        The limb above.
    vertices, edges
        (V, 3) mm and (E, 2) of the part where it was measured.
    """
    centre, ring = _lowest_ring(limb_mesh(_upright(limb)), limb)
    own = _polar(_level_cut(vertices, edges, limb.from_mm) - centre)
    offset = vertices[:, :2] - centre
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    ratio = _radius_at(_polar(ring - centre), angle) / _radius_at(own, angle)
    rise = np.clip((vertices[:, 2] - limb.from_mm) / _BLEND_MM + 1.0, 0.0, 1.0)
    drawn = 1.0 + rise**2 * (3.0 - 2.0 * rise) * (ratio - 1.0)
    return np.column_stack([centre + drawn[:, None] * offset, vertices[:, 2]])


def whole_mesh(end: EndPart, limb: Limb, step: float = STEP_MM, rays: int = RAYS) -> Mesh:
    """Return limb and end as one closed mesh; see :func:`digitise.shape.mesh.limb_mesh`."""
    upper = limb_mesh(_upright(limb), step, rays)
    lid = len(upper.vertices) - 2
    walls = upper.faces[~np.any(upper.faces == lid, axis=1)]
    lower = _below(end)
    rim = _rim(lower, end.top_mm)
    vertices = np.concatenate([upper.vertices, lower.vertices])
    centre = upper.vertices[lid, :2]
    seam = _seam(vertices, np.arange(rays), rim + len(upper.vertices), centre)
    faces = np.concatenate([walls, lower.faces + len(upper.vertices), seam])
    joined = used(Mesh(vertices, faces))
    return Mesh(limb.axis_from_world.inverse().apply(joined.vertices), joined.faces)


def _upright(limb: Limb) -> Limb:
    """Return the limb in the frame of its own axis."""
    return replace(limb, axis_from_world=Pose.identity())


def _lowest_ring(mesh: Mesh, limb: Limb) -> tuple[Array, Array]:
    """Return the centre (2,) and the points (RAYS, 2) of the limb's lowest section as it is drawn."""
    mean, _ = coefficients(limb, np.array([limb.from_mm]))
    return mean[0, 1:3], mesh.vertices[:RAYS, :2]


def _level_cut(vertices: Array, edges: NDArray[np.int64], height: float) -> Array:
    """Return the points (N, 2) at which edges cross a height."""
    low, high = (vertices[edges[:, end]] for end in (0, 1))
    over = (low[:, 2] < height) != (high[:, 2] < height)
    low, high = low[over], high[over]
    share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])
    return np.asarray((low + share[:, None] * (high - low))[:, :2])


def _polar(points: Array) -> tuple[Array, Array]:
    """Return angles, rising, and radii of points (N, 2)."""
    angle, radius = np.arctan2(points[:, 1], points[:, 0]), np.linalg.norm(points, axis=1)
    order = np.argsort(angle)
    return angle[order], radius[order]


def _radius_at(curve: tuple[Array, Array], angle: Array) -> Array:
    return np.asarray(np.interp(angle, *curve, period=2 * np.pi))


def _below(end: EndPart) -> Mesh:
    up = np.array([0.0, 0.0, 1.0])
    return welded(part_beyond(Mesh(end.vertices, end.faces), -up, end.top_mm * up), _SAME_MM)


def _rim(body: Mesh, height: float) -> NDArray[np.int64]:
    """Return the vertices of the cut at a height."""
    sides = np.concatenate([body.faces[:, [0, 1]], body.faces[:, [1, 2]], body.faces[:, [2, 0]]])
    edges, count = np.unique(np.sort(sides, axis=1), axis=0, return_counts=True)
    rim = np.unique(edges[count == 1])
    return np.asarray(rim[np.abs(body.vertices[rim, 2] - height) < 1e-3])


def _seam(
    vertices: Array, upper: NDArray[np.int64], lower: NDArray[np.int64], centre: Array
) -> NDArray[np.int64]:
    """Return the triangles between two loops round a centre, the upper one's points and the lower one's."""
    loops = [_in_order(vertices, loop, centre) for loop in (upper, lower)]
    (above, above_at), (below, below_at) = loops
    faces, i, j = [], 0, 0
    while i < len(above) or j < len(below):
        # whichever loop's next point comes first by angle is gone to
        if j == len(below) or (i < len(above) and above_at[i] <= below_at[j]):
            faces.append((above[i % len(above)], below[j % len(below)], above[(i + 1) % len(above)]))
            i += 1
        else:
            faces.append((below[j], below[(j + 1) % len(below)], above[i % len(above)]))
            j += 1
    return np.array(faces, np.int64)


def _in_order(vertices: Array, loop: NDArray[np.int64], centre: Array) -> tuple[NDArray[np.int64], Array]:
    """Return a loop's vertices by angle, and the angle at which each next one is reached."""
    offset = vertices[loop, :2] - centre
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    order = np.argsort(angle)
    return loop[order], np.append(angle[order][1:], angle[order][0] + 2 * np.pi)
