"""Foot or hand in a photograph of its own, drawn once."""

from __future__ import annotations

from pathlib import Path

from digitise.output.model.measured import Measured
from digitise.output.model.pictures import draw_end
from ui.measuring import jpeg, limb_key, remembered_picture
from ui.work import opened


def end_picture(path: Path, measured: Measured) -> bytes | None:
    """Return the photograph of that path with the edge of foot or hand drawn, as a JPEG file.

    None when neither was measured from it alone.
    """
    seen = measured.end
    names = [] if seen is None else [photo.name for photo in seen.photos]
    if seen is None or path.name not in names:
        return None
    outline = seen.outlines[names.index(path.name)]
    key = ("end", limb_key(measured.fit.limb), path.name)
    return remembered_picture(
        key, lambda: jpeg(draw_end(opened(path), outline, f"{measured.fit.limb.side} {seen.part.name}"))
    )
