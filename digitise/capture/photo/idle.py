"""Bytes in the coded data of a JPEG file that no decoder needs: whatever somebody appended there."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from digitise.capture.photo.jpeg import DRI, FRAMES, SOS, Segment, join, segments

_CUT = 4
"""Bytes taken from each end: enough for the last block of a picture, so that leaving them out shows."""
_MOST_SCANS = 16
"""Progressive pictures have about ten; each costs one more decoding."""
_BLOCK = 8
"""Pixels along a side of a coded block (T.81 A.1.3), one in a picture decoded at an eighth of its size."""
_RESTART = re.compile(rb"\xff[\xd0-\xd7]")

Pixels = NDArray[np.uint8]


def has_idle_bytes(data: bytes) -> bool:
    """Tell whether coded data end with bytes that the picture does not need, or this cannot be told.

    The ends of all pieces of coded data are cut off; where the picture then stays the same, its own data
    ended before.

    Parameters
    ----------
    data
        A complete JPEG file.

    Raises
    ------
    ValueError
        The file is cut short or damaged.
    """
    parts = tuple(segments(data))
    scans = [number for number, part in enumerate(parts) if part.marker == SOS]
    restarts = any(part.marker == DRI and any(part.payload) for part in parts)
    if len(scans) == 1:
        return not _every_piece_shows(parts, scans[0])
    if restarts or len(scans) > _MOST_SCANS:
        return True
    whole = _decoded(data, 1)
    if whole is None:
        return True
    return any(_same(whole, _decoded(_cut_scan(parts, number), 1)) for number in scans)


def _every_piece_shows(parts: tuple[Segment, ...], scan: int) -> bool:
    """Tell whether cutting changes the picture in each piece of its one scan."""
    before, after = _decoded(join(parts), _BLOCK), _decoded(_cut_scan(parts, scan), _BLOCK)
    if before is None or after is None or before.shape != after.shape:
        return False
    changed = np.any(before != after, axis=2)
    grid = _grid(parts, scan)
    rows, columns = np.arange(0, changed.shape[0], grid.down), np.arange(0, changed.shape[1], grid.across)
    units = np.logical_or.reduceat(np.logical_or.reduceat(changed, rows, axis=0), columns, axis=1).ravel()
    starts = np.arange(0, units.size, grid.interval or units.size)
    pieces = len(_RESTART.findall(parts[scan].coded)) + 1
    return len(starts) == pieces and bool(np.logical_or.reduceat(units, starts).all())


@dataclass(frozen=True)
class _Grid:
    """Coded units of a picture with one scan: their size in blocks, and how many follow between restarts."""

    across: int
    down: int
    interval: int


def _grid(parts: tuple[Segment, ...], scan: int) -> _Grid:
    frame = next(part.payload for part in parts if part.marker in FRAMES)
    factors = [(frame[at + 1] >> 4, frame[at + 1] & 15) for at in range(6, 6 + 3 * frame[5], 3)]
    # one component alone is coded block by block (T.81 A.2.2)
    across, down = map(max, zip(*factors, strict=True)) if len(factors) > 1 else (1, 1)
    intervals = [int.from_bytes(part.payload[:2], "big") for part in parts[:scan] if part.marker == DRI]
    return _Grid(across, down, intervals[-1] if intervals else 0)


def _cut_scan(parts: tuple[Segment, ...], scan: int) -> bytes:
    """Return the file with the ends of one scan's pieces cut off."""
    coded = parts[scan].coded
    pieces, marks = _RESTART.split(coded), [*_RESTART.findall(coded), b""]
    # an 0xFF at the new end would make a marker with what follows
    kept = [piece[:-_CUT].rstrip(b"\xff") + mark for piece, mark in zip(pieces, marks, strict=True)]
    return join([*parts[:scan], replace(parts[scan], coded=b"".join(kept)), *parts[scan + 1 :]])


def _decoded(data: bytes, reduction: int) -> Pixels | None:
    """Return the picture (h, w, 3) at a fraction of its size; None when it cannot be decoded."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            # not OpenCV, which would complain about the cut end on the terminal
            image = Image.open(io.BytesIO(data), formats=("JPEG",))
            size = tuple(-(-side // reduction) for side in image.size)
            image.draft(image.mode, (size[0], size[1]))
            pixels = np.array(image.convert("RGB"))
        except Exception:  # decoders raise almost anything
            return None
    return pixels if pixels.shape[1::-1] == size else None


def _same(one: Pixels, other: Pixels | None) -> bool:
    return other is not None and np.array_equal(one, other)
