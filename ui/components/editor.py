"""The outline editor: the photograph with its edge as points to drag, and a brush.

It runs in the browser (``editor.js``) and hands back an outline correction in its file's own form.
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import streamlit as st

from digitise.output.model.measured import Measured
from ui import text, work

_HERE = Path(__file__).parent
_LONG_SIDE_PX = 1500
_MARGIN = 0.6  # of the limb's width
_HANDLE_MM = 25.0

outline_editor = st.components.v2.component(
    "outline_editor",
    html='<div class="editor"></div>',
    css=(_HERE / "editor.css").read_text(encoding="utf-8"),
    js=(_HERE / "editor.js").read_text(encoding="utf-8"),
)


def editor_data(path: Path, measured: Measured, number: int, correction: str | None) -> dict[str, Any]:
    """Return what the editor shows: the part of the photograph with the limb, and its edges as points.

    Points are in pixels of the photograph; the editor draws them through ``corner`` and ``scale``.
    """
    photo, outline = measured.photos[number], measured.outlines[number]
    points = np.concatenate([edge.points for edge in outline.edges])
    low, high = points.min(axis=0), points.max(axis=0)
    margin = _MARGIN * float((high - low).min())
    height, width = photo.pixels.shape[:2]
    x0, y0 = (int(v) for v in np.clip(np.floor(low - margin), 0, None))
    x1, y1 = (int(v) for v in np.minimum(np.ceil(high + margin), [width, height]))
    step = max(1, int(np.ceil(max(x1 - x0, y1 - y0) / _LONG_SIDE_PX)))

    def cut() -> bytes:
        return work.jpeg(np.ascontiguousarray(work.opened(path).pixels[y0:y1:step, x0:x1:step]))

    picture = work.remembered_picture(("editor", photo.sha256, x0, y0, x1, y1, step), cut)
    return {
        "picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode(),
        "corner": [x0, y0],
        "scale": step,
        "size": [-(-(x1 - x0) // step), -(-(y1 - y0) // step)],
        "edges": [
            {"side": side, "points": _thinned(edge.points, heights), "sure": True}
            for side, edge, heights in zip(("left", "right"), outline.edges, outline.heights, strict=True)
        ],
        "correction": json.loads(correction) if correction else None,
        "photo_sha256": photo.sha256,
        "words": text.EDITOR_WORDS,
    }


def _thinned(points: Any, heights: Any) -> list[list[float]]:
    """Return about one point per 25 mm of height, the ends included."""
    count = max(2, round(abs(float(heights[-1] - heights[0])) / _HANDLE_MM) + 1)
    at = np.unique(np.linspace(0, len(points) - 1, count).astype(int))
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points[at]]
