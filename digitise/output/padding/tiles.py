"""Sharing a piece of foam out on pages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon, box, union_all

from digitise.care.padding.foam import FoamPiece

OVERLAP_MM = 10.0
CUT_MM = 0.5
EDGE_MM, HEAD_MM, FOOT_MM = 10.0, 24.0, 28.0
"""Room on a page beside, above and below the drawing."""
# Pages are tried at these shares of the room they have.
_SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class Tile:
    """One page's share of a piece: its lower left corner in the piece's frame, and its place in the grid."""

    column: int
    row: int
    left: float
    bottom: float


def area_mm(paper: tuple[float, float]) -> tuple[float, float]:
    """Return width and height of what a page can show of a piece, mm."""
    return paper[0] - 2 * EDGE_MM, paper[1] - 2 * EDGE_MM - HEAD_MM - FOOT_MM


def tiles_of(piece: FoamPiece, paper: tuple[float, float]) -> tuple[Tile, ...]:
    """Share a piece out on pages from the top left, neighbours overlapping by 10 mm.

    The pages are moved over the piece so that it takes few of them, and none that shows a mere corner.
    """
    area = area_mm(paper)
    size = piece.outline.max(axis=0) + 2 * CUT_MM
    whole = Polygon(piece.outline)
    count, spare = zip(*(_pages(size[axis], area[axis]) for axis in (0, 1)), strict=True)
    found = [
        _laid(whole, area, count, (across * spare[0], along * spare[1]))
        for across in _SHIFTS
        for along in _SHIFTS
    ]
    return min(found, key=lambda tiles: (len(tiles), -_least_cm2(whole, area, tiles)))


def _pages(size: float, area: float) -> tuple[int, float]:
    """Return how many pages a length takes, and how far they can be moved, mm."""
    step = area - OVERLAP_MM
    count = max(1, int(np.ceil((size - OVERLAP_MM) / step))) if size > area else 1
    return count, (count * step + OVERLAP_MM - size if count > 1 else 0.0)


def _laid(
    whole: Polygon, area: tuple[float, float], count: tuple[int, ...], shift: tuple[float, float]
) -> tuple[Tile, ...]:
    step = [length - OVERLAP_MM for length in area]
    tiles = [
        Tile(
            column,
            row,
            column * step[0] - CUT_MM - shift[0],
            (count[1] - 1 - row) * step[1] - CUT_MM - shift[1],
        )
        for row in range(count[1])
        for column in range(count[0])
    ]
    kept = [tile for tile in tiles if whole.intersects(_box(tile, area))]
    for tile in tuple(kept):
        others = [_box(other, area) for other in kept if other is not tile]
        # what its neighbours show already needs no page
        if others and union_all(others).covers(whole.intersection(_box(tile, area))):
            kept.remove(tile)
    return tuple(kept)


def _box(tile: Tile, area: tuple[float, float]) -> Polygon:
    return box(tile.left, tile.bottom, tile.left + area[0], tile.bottom + area[1])


def _least_cm2(whole: Polygon, area: tuple[float, float], tiles: tuple[Tile, ...]) -> float:
    return float(min(whole.intersection(_box(tile, area)).area for tile in tiles)) / 100.0
