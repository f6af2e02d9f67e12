"""Bytes in the coded data of a JPEG file that no decoder needs: whatever somebody appended there."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.jpeg import DRI, FRAMES, SOS, Segment, join, segments

_CUT = 4
"""Bytes taken from each end: enough for the last block of a picture, so that leaving them out shows."""
_MOST_SCANS = 16
"""Progressive pictures have about ten; each costs one more decoding."""
_RESTART = re.compile(rb"\xff[\xd0-\xd7]")

Pixels = NDArray[np.uint8]


def has_idle_bytes(data: bytes, pixels: Pixels) -> bool:
    """Tell whether coded data end with bytes that the picture does not need, or this cannot be told.

    The ends of all pieces of coded data are cut off; where the picture then stays the same, its own data ended
    before.

    Parameters
    ----------
    data
        A complete JPEG file.
    pixels
        (H, W, 3) uint8, what it decodes to, not turned.

    Raises
    ------
    ValueError
        The file is cut short or damaged.
    """
    parts = tuple(segments(data))
    scans = [number for number, part in enumerate(parts) if part.marker == SOS]
    restarts = any(part.marker == DRI and any(part.payload) for part in parts)
    if len(scans) == 1:
        return not _every_piece_shows(parts, scans[0], pixels)
    if restarts or len(scans) > _MOST_SCANS:
        return True
    return any(not _differs(_cut_scan(parts, number), pixels).any() for number in scans)


@dataclass(frozen=True)
class _Grid:
    """Coded units of a picture with one scan: their size in pixels, and how many follow between restarts."""

    width: int
    height: int
    interval: int


def _every_piece_shows(parts: tuple[Segment, ...], scan: int, pixels: Pixels) -> bool:
    changed = _differs(_cut_scan(parts, scan), pixels)
    grid = _grid(parts, scan)
    changed &= _inner(changed.shape[0], grid.height)[:, None] & _inner(changed.shape[1], grid.width)
    rows, columns = np.arange(0, changed.shape[0], grid.height), np.arange(0, changed.shape[1], grid.width)
    units = np.logical_or.reduceat(np.logical_or.reduceat(changed, rows, axis=0), columns, axis=1).ravel()
    starts = np.arange(0, units.size, grid.interval or units.size)
    pieces = len(_RESTART.findall(parts[scan].coded)) + 1
    return len(starts) == pieces and bool(np.logical_or.reduceat(units, starts).all())


def _inner(size: int, unit: int) -> NDArray[np.bool_]:
    """Return which pixels of a line are further than colours bleed from other units: one colour sample."""
    at = np.arange(size) % unit
    return (at >= 2) & (at < unit - 2)


def _grid(parts: tuple[Segment, ...], scan: int) -> _Grid:
    frame = next(part.payload for part in parts if part.marker in FRAMES)
    factors = [(frame[at + 1] >> 4, frame[at + 1] & 15) for at in range(6, 6 + 3 * frame[5], 3)]
    # one component alone is coded block by block (T.81 A.2.2)
    across, down = map(max, zip(*factors, strict=True)) if len(factors) > 1 else (1, 1)
    intervals = [int.from_bytes(part.payload[:2], "big") for part in parts[:scan] if part.marker == DRI]
    return _Grid(8 * across, 8 * down, intervals[-1] if intervals else 0)


def _cut_scan(parts: tuple[Segment, ...], scan: int) -> bytes:
    """Return the file with the ends of one scan's pieces cut off."""
    coded = parts[scan].coded
    pieces, marks = _RESTART.split(coded), [*_RESTART.findall(coded), b""]
    # an 0xFF at the new end would make a marker with what follows
    kept = [piece[:-_CUT].rstrip(b"\xff") + mark for piece, mark in zip(pieces, marks, strict=True)]
    return join([*parts[:scan], replace(parts[scan], coded=b"".join(kept)), *parts[scan + 1 :]])


def _differs(data: bytes, pixels: Pixels) -> NDArray[np.bool_]:
    """Return which pixels (H, W) are others in another file; all, when that cannot be decoded."""
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        other = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        other = None
    if other is None or other.shape != pixels.shape:
        return np.ones(pixels.shape[:2], bool)
    return np.any(other != pixels, axis=2)
