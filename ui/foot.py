"""The foot in its photograph from above, drawn once."""

from __future__ import annotations

from pathlib import Path

from digitise.output.model.measured import Measured
from digitise.output.model.pictures import draw_foot
from ui.measuring import jpeg, limb_key, remembered_picture
from ui.work import opened


def foot_picture(path: Path, measured: Measured) -> bytes | None:
    """Return the photograph of that path with the edge of the foot drawn, as a JPEG file.

    None when the foot was not measured from it alone.
    """
    seen = measured.end
    names = [] if seen is None else [photo.name for photo in seen.photos]
    if seen is None or path.name not in names:
        return None
    outline = seen.outlines[names.index(path.name)]
    key = ("foot", limb_key(measured.fit.limb), path.name)
    return remembered_picture(key, lambda: jpeg(draw_foot(opened(path), outline, measured.fit.limb.side)))
