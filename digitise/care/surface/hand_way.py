"""The way of a bandage over the hand: from behind the knuckles to where the arm begins, the thumb left free.

Turns lie across the hand.  Where the thumb stands off they pass between it and the fingers; nearer to the
wrist its base is among what they go round.  The way is one line with the arm's: its places are heights.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitise.care.surface.way import Way
from digitise.geometry.hull import hull_perimeter
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart
from digitise.shape.hand.prior import MIDDLE, WRIST

BEHIND_KNUCKLES = 0.93
"""Where a wrap begins: share of the way from the wrist to the middle knuckle; there the palm is taped too."""
_STEP_MM = 5.0
_LEAST_POINTS = 6


def hand_way(hand: EndPart) -> Way:
    """Return the way over a measured hand up to its arm's lowest section."""
    wrist, knuckle = hand.vertices[[WRIST, MIDDLE], 2]
    start = float(wrist + BEHIND_KNUCKLES * (knuckle - wrist))
    count = int(np.ceil((hand.top_mm - start) / _STEP_MM)) + 1
    at = np.linspace(start, hand.top_mm, count)
    body = Mesh(hand.vertices, hand.faces)
    girths = np.array([girth_across(body, float(place)) for place in at])
    return Way(at, girths, float(wrist), True, "hand")


def girth_across(body: Mesh, height: float) -> float:
    """Return what a taut bandage goes round at a height, without a thumb that stands off, mm."""
    pieces = [piece[:, :2] for piece in _level_pieces(body, height) if len(piece) >= _LEAST_POINTS]
    return max(hull_perimeter(piece) for piece in pieces)


def _level_pieces(body: Mesh, height: float) -> list[Array]:
    """Return the points (N, 3) of each piece into which a level plane cuts a surface."""
    beyond = body.vertices[:, 2] - height
    behind = (beyond < 0)[body.faces]
    faces = body.faces[behind.any(axis=1) & ~behind.all(axis=1)]
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    near, far = beyond[edges[:, 0]], beyond[edges[:, 1]]
    over = (near < 0) != (far < 0)
    edges, owner, share = edges[over], owner[over], (near[over] / (near[over] - far[over]))[:, None]
    points = body.vertices[edges[:, 0]] + share * (body.vertices[edges[:, 1]] - body.vertices[edges[:, 0]])
    piece = _pieces(owner, edges, len(faces))
    return [points[piece == one] for one in np.unique(piece)]


def _pieces(owner: NDArray[np.int64], edges: NDArray[np.int64], count: int) -> NDArray[np.int32]:
    """Return the piece of each crossing (N,): faces that share a crossed edge are of one."""
    _, edge = np.unique(edges, axis=0, return_inverse=True)
    edge = count + edge.reshape(-1)
    size = int(edge.max(initial=count)) + 1
    _, piece = connected_components(coo_matrix((np.ones(len(owner)), (owner, edge)), shape=(size, size)))
    return np.asarray(piece[owner])
