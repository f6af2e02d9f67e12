"""The plain parts of backdrops: panels and walls between the sheets on them, in the world."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from shapely.affinity import translate
from shapely.geometry import MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.page_colour import is_page
from digitise.capture.surroundings.scene import one_plane
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

_QUIET = 0.3  # of a marker's side: the white zone that is not plain backdrop
_BELOW_MM = 300.0  # a panel seldom goes on further below its lowest markers
_UPRIGHT = 0.5  # cosine to the vertical, of a panel
_CORNER_MM = 900.0  # sheets on a wall hang no further from the corner that is behind the limb
_TURN = 0.7  # sine of the angle between two walls
_TAPED_MM = 3.0  # a page lies that far from where its markers say, curled or taped askew
_RIM = 0.13  # of the panel's size: its rim, where no limb stands


@dataclass(frozen=True)
class Area:
    """A plain area of a backdrop.

    Attributes
    ----------
    outline, inner
        (n, 3) closed outlines of the area and of its middle, which leaves out the rim; world, mm.
    below
        (n, 3) closed outline of what lies below the lowest markers, where the backdrop may go on; empty
        where nothing does.
    beyond
        (n, 3) closed outline of what lies between the outermost sheets and a corner with another wall, where
        the backdrop may go on; empty where nothing does.
    """

    outline: Array
    inner: Array
    below: Array
    beyond: Array


def plain_areas(boards: Iterable[tuple[Board, Pose]], camera: Camera) -> list[Area]:
    """Return the plain areas enclosed by the markers of the boards that face the camera.

    Boards that lie in one plane (pages stuck to one wall) count as one backdrop.

    Parameters
    ----------
    boards
        Pairs of a board and its pose world_from_board.
    camera
        The camera that looks at them.
    """
    facing = [(b, pose) for b, pose in boards if pose.rotation[:, 2] @ (camera.centre - pose.translation) > 0]
    groups = _coplanar(facing)
    found = []
    for plane, corners, papers in groups:
        down = _downwards(plane)
        upright = [(other, quads) for other, quads, _ in groups if _downwards(other).any()]
        beyond = _to_corner(plane, corners, papers, upright) if down.any() else np.zeros((0, 2))
        for rings in _enclosed(corners, papers, down):
            found.append(Area(*(plane.apply(_lift(ring)) for ring in (*rings, beyond))))
            beyond = beyond[:0]
    return found


def _to_corner(plane: Pose, corners: Array, papers: list[Polygon], walls: list[tuple[Pose, Array]]) -> Array:
    """Return the ring (n, 2) of what lies between the sheets of a wall and its corner; empty without one.

    Parameters
    ----------
    plane, corners, papers
        Pose world_from_plane of the wall, its marker corners (n, 4, 2), and the pages on it.
    walls
        Of every upright plane its pose, which faces into the room, and its marker corners.
    """
    hull = MultiPoint(corners.reshape(-1, 2)).convex_hull
    around = np.asarray(hull.exterior.coords)
    best, nearest = np.zeros((0, 2)), _CORNER_MM
    for wall, quads in walls:
        there = plane.inverse() @ wall
        normal, off = there.rotation[:2, 2], there.rotation[:, 2] @ there.translation
        turn = float(np.linalg.norm(normal))
        if turn < _TURN or not 0.0 < there.apply(_lift(quads))[..., 2].min() < _CORNER_MM:
            continue
        from_line = (around @ normal - off) / turn
        if not 0.0 < from_line.min() < nearest:
            continue
        on_line = around - from_line[:, None] * (normal / turn)
        print_ = unary_union([hull, *papers])
        rest = MultiPoint(np.concatenate([around, on_line])).convex_hull.difference(print_)
        rest = max(getattr(rest, "geoms", [rest]), key=lambda each: each.area)
        if not rest.is_empty:
            best, nearest = _ring_points(rest), float(from_line.min())
    return best


def _lift(points: Array) -> Array:
    return np.concatenate([points, np.zeros_like(points[..., :1])], axis=-1)


def _coplanar(boards: list[tuple[Board, Pose]]) -> list[tuple[Pose, Array, list[Polygon]]]:
    """Gather boards by plane: (world_from_plane, marker corners (n, 4, 2) and pages in that plane)."""
    groups: list[tuple[Pose, list[Array], list[Polygon]]] = []
    for board, pose in boards:
        group = next((each for each in groups if one_plane(each[0], pose)), None)
        if group is None:
            groups.append(group := (pose, [], []))
        plane, corners, papers = group
        there = plane.inverse() @ pose
        corners.append(there.apply(_lift(board.corners))[..., :2])
        papers += _pages(board, there)
    return [(plane, np.concatenate(corners), papers) for plane, corners, papers in groups]


def _pages(board: Board, plane_from_board: Pose) -> list[Polygon]:
    """Return the sheet itself where it is a page full of markers: beyond its paper the backdrop is plain."""
    width, height = board.size / 2
    paper = box(-width, -height, width, height)
    hull = MultiPoint(board.corners.reshape(-1, 2)).convex_hull
    if not is_page(board) or not paper.buffer(1e-6).contains(hull):
        return []
    corners = np.asarray(paper.buffer(_TAPED_MM, join_style="mitre").exterior.coords)[:4]
    return [Polygon(plane_from_board.apply(_lift(corners))[:, :2])]


def _downwards(world_from_plane: Pose) -> Array:
    """Return the way down in a plane that stands upright, (2,); zero in one that lies."""
    down = (world_from_plane.rotation.T @ [0.0, 0.0, -1.0])[:2]
    return np.asarray(down if np.linalg.norm(down) > _UPRIGHT else np.zeros(2))


def _enclosed(corners: Array, papers: list[Polygon], down: Array) -> list[tuple[Array, Array, Array]]:
    """Take pages, or markers (n, 4, 2) and their white zones, out of their hull.

    Returns
    -------
    The outline, the inner outline and what lies below of each plain piece; the largest has what lies below.
    """
    side = float(np.median(np.linalg.norm(corners[:, 0] - corners[:, 1], axis=-1)))
    on_page = unary_union(papers)
    quads = [Polygon(quad) for quad in corners]
    loose = [quad.buffer(_QUIET * side, join_style="mitre") for quad in quads if not on_page.contains(quad)]
    print_ = unary_union([on_page, *loose])
    hull = MultiPoint(corners.reshape(-1, 2)).convex_hull
    plain = hull.difference(print_).buffer(-0.5 * side).buffer(0.5 * side)
    pieces = sorted(getattr(plain, "geoms", [plain]), key=lambda piece: -piece.area)
    found: list[tuple[Array, Array, Array]] = []
    for piece in pieces:
        inner = piece.buffer(-_RIM * float(np.sqrt(piece.area)))
        if piece.area > (3.0 * side) ** 2 and inner.geom_type == "Polygon" and not inner.is_empty:
            below = np.zeros((0, 2)) if found or not down.any() else _below(hull, piece, print_, down)
            found.append((_ring_points(piece), _ring_points(inner), below))
    return found


def _below(hull: Polygon, piece: Polygon, print_: BaseGeometry, down: Array) -> Array:
    """Return the ring of what lies below a plain piece of the hull, without pages: (n, 2), maybe empty."""
    shift = _BELOW_MM * down
    swept = unary_union([piece, translate(hull, *shift)]).convex_hull.difference(unary_union([piece, print_]))
    lower = swept.difference(translate(hull, *(-shift)).union(hull).convex_hull)
    rest = max(getattr(lower, "geoms", [lower]), key=lambda each: each.area)
    return np.zeros((0, 2)) if rest.is_empty else _ring_points(rest)


def _ring_points(polygon: Polygon) -> Array:
    return np.asarray(polygon.segmentize(20.0).exterior.coords, float)
