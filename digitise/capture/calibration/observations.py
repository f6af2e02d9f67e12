"""Which marker was seen where: the table the joint solve works on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.capture.calibration.bundle_adjustment import IntArray, Points
from digitise.capture.calibration.markers import Detection
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.geometry.rigid import Array

FEWEST_MARKERS = 2  # of one board in one photograph; a single small square leaves its tilt ambiguous


@dataclass(frozen=True, eq=False)
class MarkedPhoto:
    """A photograph reduced to what poses need.

    Attributes
    ----------
    name
        File name, for messages.
    size
        (width, height), px.
    focal_35mm, lens_key
        As in :class:`~digitise.capture.photo.photograph.Photograph`.
    detections
        The markers found in it.
    """

    name: str
    size: tuple[int, int]
    focal_35mm: float | None
    lens_key: str | None
    detections: tuple[Detection, ...]

    @classmethod
    def of(cls, photo: Photograph, detections: tuple[Detection, ...]) -> MarkedPhoto:
        """Keep of a photograph its name, size, lens data and markers."""
        height, width = photo.pixels.shape[:2]
        return cls(photo.name, (width, height), photo.focal_35mm, photo.lens_key, detections)


@dataclass(frozen=True, eq=False)
class Sightings:
    """All markers of all photographs, one row each.

    Attributes
    ----------
    photo, board, marker
        (M,) index of the photograph, index of the board in the field, marker id.
    xyz
        (M, 4, 3) mm, corners in the board's frame.
    pixels, sd
        (M, 4, 2) px and (M, 4) px.
    """

    photo: IntArray
    board: IntArray
    marker: IntArray
    xyz: Array
    pixels: Array
    sd: Array

    def subset(self, keep: NDArray[np.bool_]) -> Sightings:
        """Return the rows where ``keep`` (M,) is true."""
        return Sightings(
            self.photo[keep],
            self.board[keep],
            self.marker[keep],
            self.xyz[keep],
            self.pixels[keep],
            self.sd[keep],
        )

    def of(self, photo: int, board: int) -> Sightings:
        """Return the markers of one board in one photograph."""
        return self.subset((self.photo == photo) & (self.board == board))

    def pairs(self) -> list[tuple[int, int]]:
        """Return every (photo, board) seen, in order."""
        return sorted({(int(p), int(b)) for p, b in zip(self.photo, self.board, strict=True)})

    def well_seen(self) -> Sightings:
        """Return the sightings of boards that show at least ``FEWEST_MARKERS`` markers in a photograph."""
        count = [
            np.sum((self.photo == p) & (self.board == b)) for p, b in zip(self.photo, self.board, strict=True)
        ]
        return self.subset(np.array(count, int) >= FEWEST_MARKERS)

    def points(
        self, view_of: Mapping[tuple[int, int], int], body_of: Mapping[tuple[int, int], int]
    ) -> Points:
        """Return the corners as points for the joint solve, given the view and body of every pair."""
        keys = [(int(p), int(b)) for p, b in zip(self.photo, self.board, strict=True)]
        return Points(
            self.xyz.reshape(-1, 3),
            self.pixels.reshape(-1, 2),
            self.sd.reshape(-1),
            np.repeat(np.array([view_of[key] for key in keys], np.intp), 4),
            np.repeat(np.array([body_of[key] for key in keys], np.intp), 4),
        )


def gather(photos: Sequence[MarkedPhoto], field: MarkerField) -> Sightings:
    """Look up every detection in the field; ids the field does not have are left out."""
    place = {i: (b, n) for b, board in enumerate(field.boards) for n, i in enumerate(board.ids)}
    rows = [(p, d) for p, photo in enumerate(photos) for d in photo.detections if d.id in place]
    flat = np.array([field.boards[place[d.id][0]].corners[place[d.id][1]] for _, d in rows]).reshape(-1, 4, 2)
    return Sightings(
        np.array([p for p, _ in rows], np.intp),
        np.array([place[d.id][0] for _, d in rows], np.intp),
        np.array([d.id for _, d in rows], np.intp),
        np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=-1),
        np.array([d.corners for _, d in rows]).reshape(-1, 4, 2),
        np.array([d.sd_px for _, d in rows]).reshape(-1, 4),
    )
