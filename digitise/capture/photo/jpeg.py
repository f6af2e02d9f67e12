"""JPEG files as their segments (ITU-T T.81, annex B): complete or cut short, and rid of metadata.

Bytes that no decoder looks at are in :mod:`digitise.capture.photo.idle`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

_SOI, _EOI = 0xD8, 0xD9
SOS, DRI = 0xDA, 0xDD
FRAMES = (0xC0, 0xC1, 0xC2, 0xC9, 0xCA)
"""Starts of frames that a decoder reads: sequential and progressive, Huffman and arithmetic coding."""
_TABLES = (0xC4, 0xCC, 0xDB)
_APP0, _APP1, _APP14 = 0xE0, 0xE1, 0xEE
_PICTURE = frozenset({*FRAMES, *_TABLES, SOS, DRI})
"""What a picture is decoded from; any other segment could hold anything."""
_NEXT_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]", re.DOTALL)
"""A marker that ends entropy-coded data: neither a stuffed zero nor a restart marker (T.81 B.1.1)."""
_JFIF_LENGTH, _ADOBE_LENGTH = 12, 12


@dataclass(frozen=True)
class Segment:
    """One marker segment.

    Attributes
    ----------
    marker
        The byte after 0xFF.
    payload
        Its bytes after the length field.
    coded
        Entropy-coded bytes that follow it; empty except after a start of scan.
    """

    marker: int
    payload: bytes
    coded: bytes = b""

    def to_bytes(self) -> bytes:
        """Return the segment as it stands in a file."""
        length = len(self.payload) + 2
        return bytes((0xFF, self.marker)) + length.to_bytes(2, "big") + self.payload + self.coded


def segments(data: bytes) -> Iterator[Segment]:
    """Yield the segments between the start and the end of the first picture.

    Bytes after the end of the picture (previews, depth maps, film clips) are not visited.

    Raises
    ------
    ValueError
        When the file does not begin as a JPEG, a segment is malformed or the end marker is missing.
    """
    if data[:2] != bytes((0xFF, _SOI)):
        raise ValueError("no start of image")
    at = 2
    while True:
        while data[at : at + 2] == b"\xff\xff":
            at += 1
        marker = data[at + 1] if at + 1 < len(data) and data[at] == 0xFF else -1
        if marker == _EOI:
            return
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker < 0xC0 or end < at + 4 or end >= len(data):
            raise ValueError("cut short or damaged")
        coded_end = _end_of_scan(data, end) if marker == SOS else end
        yield Segment(marker, data[at + 4 : end], data[end:coded_end])
        at = coded_end


def _end_of_scan(data: bytes, start: int) -> int:
    found = _NEXT_MARKER.search(data, start)
    if found is None:
        raise ValueError("cut short or damaged")
    return found.start()


def is_complete(data: bytes) -> bool:
    """Tell whether every segment up to the end-of-image marker is there and holds a scan."""
    try:
        return SOS in {segment.marker for segment in segments(data)}
    except ValueError:
        return False


def without_metadata(data: bytes, exif_block: bytes) -> bytes:
    """Return the first picture of a JPEG file with ``exif_block`` as its only metadata.

    Tables and coded data are copied, so every decoder gives the same pixels as before.  Of the
    application segments only what tells a decoder the colour space stays: the JFIF header without
    its thumbnail, and the 12 bytes of the Adobe colour transform.  Comments, line counts and reserved
    segments go too.

    Raises
    ------
    ValueError
        When the file is cut short or damaged.
    """
    kept = [reduced for segment in segments(data) if (reduced := _reduced(segment)) is not None]
    head = [segment for segment in kept if segment.marker == _APP0][:1]
    return join([*head, Segment(_APP1, exif_block), *(part for part in kept if part.marker != _APP0)])


def join(parts: Iterable[Segment]) -> bytes:
    """Return a file of these segments."""
    return b"".join((bytes((0xFF, _SOI)), *(part.to_bytes() for part in parts), bytes((0xFF, _EOI))))


def _reduced(segment: Segment) -> Segment | None:
    if segment.marker == _APP0 and segment.payload.startswith(b"JFIF\0"):
        # the last two bytes are the thumbnail's width and height
        return Segment(_APP0, segment.payload[:_JFIF_LENGTH] + b"\0\0")
    if segment.marker == _APP14 and segment.payload.startswith(b"Adobe"):
        return Segment(_APP14, segment.payload[:_ADOBE_LENGTH])
    return segment if segment.marker in _PICTURE else None
