"""The outline editor: the photograph with its edge to pull, a line to draw round the limb, and a brush.

It runs in the browser (``editor.js``) and hands back an outline correction in its file's own form after each
gesture, so that closing it loses nothing.
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import streamlit as st

from digitise.capture.outline.find import Outline
from digitise.geometry.rigid import Array
from ui import measuring, work
from ui.measuring import Sight
from ui.spoken import text

_HERE = Path(__file__).parent
_LONG_SIDE_PX = 2400
_POINT_MM = 5.0

outline_editor = st.components.v2.component(
    "outline_editor",
    html='<div class="editor"></div>',
    css=(_HERE / "editor.css").read_text(encoding="utf-8"),
    js=(_HERE / "editor.js").read_text(encoding="utf-8"),
)


def editor_data(path: Path, sight: Sight, outline: Outline | None, correction: str | None) -> dict[str, Any]:
    """Return what the editor shows: the part of the photograph where a limb can be, and its edges as points.

    Points are in pixels of the photograph.
    """
    photo, kept = sight.photo, json.loads(correction) if correction else None
    x0, y0, x1, y1 = sight.part
    step = max(1, int(np.ceil(max(x1 - x0, y1 - y0) / _LONG_SIDE_PX)))

    def cut() -> bytes:
        return measuring.jpeg(np.ascontiguousarray(work.opened(path).pixels[y0:y1:step, x0:x1:step]))

    picture = measuring.remembered_picture(("editor", photo.sha256, x0, y0, x1, y1, step), cut)
    return {
        "picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode(),
        "mark": f"{photo.sha256}-{x0}-{y0}-{x1}-{y1}",
        "corner": [x0, y0],
        "scale": step,
        "size": [-(-(x1 - x0) // step), -(-(y1 - y0) // step)],
        "edges": [] if outline is None else _edges(outline),
        "correction": kept,
        "photo_sha256": photo.sha256,
        "words": text.EDITOR_WORDS,
    }


def _edges(outline: Outline) -> list[dict[str, Any]]:
    found = zip(("left", "right"), outline.edges, outline.heights, strict=True)
    return [
        {"side": side, "points": _pairs(edge.points[at]), "sure": edge.sure[at].tolist()}
        for side, edge, at in ((side, edge, _thinned(heights)) for side, edge, heights in found)
    ]


def _thinned(heights: Array) -> Any:
    """Return the indices of about one point per 5 mm of height, the ends included."""
    count = max(2, round(abs(float(heights[-1] - heights[0])) / _POINT_MM) + 1)
    return np.unique(np.linspace(0, len(heights) - 1, count).astype(int))


def _pairs(points: Array) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points]
