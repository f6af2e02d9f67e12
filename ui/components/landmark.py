"""One tap on a photograph: the place on a lying limb from which heights count.

The picture is cut to where the limb lies, so that a fingertip on a small screen is precise enough; the tap
runs in the browser (``landmark.js``) and hands back pixels of the whole photograph.
"""

from __future__ import annotations

import base64
from pathlib import Path

import numpy as np
import streamlit as st

from digitise.anatomy import LimbKind
from digitise.errors import OutlineError
from digitise.geometry.rigid import Pose
from ui import ends, measuring, state, work
from ui.components import frame
from ui.draft import Draft
from ui.inputs import Inputs
from ui.spoken import text
from ui.work import Inspected

_HERE = Path(__file__).parent
_LONG_SIDE_PX = 2000

_tap = st.components.v2.component(
    "landmark_tap",
    html='<div class="tap"></div>',
    css=(_HERE / "landmark.css").read_text(encoding="utf-8"),
    js=(_HERE / "landmark.js").read_text(encoding="utf-8"),
)


def ask(draft: Draft, inputs: Inputs, inspected: Inspected | None) -> None:
    """Draw a photograph to tap the landmark in, for a limb that lies and whose photographs are sound."""
    found = inspected is not None and inspected.inspection
    if not inputs.lying or not found or found.refusals or found.calibration is None or inspected is None:
        return
    st.subheader(text.LANDMARK, anchor=False)
    st.markdown(text.LANDMARK_LEAD[inputs.limb or LimbKind.ARM])
    number = _photograph(inputs, offered(draft, inputs, inspected))
    with frame.steps() as tell:
        axis = axis_of(draft, inputs, inspected, tell)
    key = state.widget(f"tap-{number}")
    place = inputs.landmark
    at = None if place is None or place[0] != number else [place[1], place[2]]
    _tap(
        key=key,
        data={
            **_picture(draft.photos[number], measuring.sight_of(inspected, number, axis, lies=True)),
            "at": at,
        },
        on_tap_change=lambda: _take(number, key),
    )
    if at is not None:
        st.caption(text.LANDMARK_SET)


def axis_of(draft: Draft, inputs: Inputs, inspected: Inspected, tell: work.Progress) -> Pose | None:
    """Return the axis of a limb that lies; None where it is not found before the limb is drawn by hand."""
    field, posture, drawn = work.field_of(draft, inputs), inputs.lying, draft.corrections()
    try:
        return measuring.lying_axis(draft.photos, inspected, field, posture, tell, drawn)  # type: ignore[arg-type]
    except OutlineError:
        return None


def offered(draft: Draft, inputs: Inputs, inspected: Inspected) -> list[int]:
    """Return in which photographs (from 0) the landmark can be tapped: not in those of the hand alone."""
    hands = ends.hands_among(inspected, work.field_of(draft, inputs), inputs.lying or None)  # type: ignore[arg-type]
    every = range(len(draft.photos))
    return [number for number in every if number not in hands] or list(every)


def _photograph(inputs: Inputs, numbers: list[int]) -> int:
    """Ask in which photograph to tap; the first unless another was chosen or holds the landmark."""
    kept = inputs.landmark[0] if inputs.landmark is not None and inputs.landmark[0] in numbers else numbers[0]
    if state.value("landmark_photo") not in (None, *numbers):
        state.put("landmark_photo", kept)
    chosen = st.segmented_control(
        text.LANDMARK_PHOTO,
        numbers,
        format_func=lambda number: str(number + 1),
        key=state.seed("landmark_photo", kept),
    )
    return kept if chosen is None else int(chosen)


def _picture(path: Path, sight: measuring.Sight) -> dict[str, object]:
    x0, y0, x1, y1 = sight.part
    step = max(1, int(np.ceil(max(x1 - x0, y1 - y0) / _LONG_SIDE_PX)))

    def cut() -> bytes:
        return measuring.jpeg(np.ascontiguousarray(work.opened(path).pixels[y0:y1:step, x0:x1:step]))

    picture = measuring.remembered_picture(("tap", sight.photo.sha256, x0, y0, x1, y1, step), cut)
    return {
        "picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode(),
        "corner": [x0, y0],
        "scale": step,
        "size": [-(-(x1 - x0) // step), -(-(y1 - y0) // step)],
        "alt": text.LANDMARK_ALT,
    }


def _take(number: int, key: str) -> None:
    """Keep the tap before the page is drawn anew."""
    tapped = state.session()[key].tap
    if tapped:
        state.put("landmark", (number, float(tapped[0]), float(tapped[1])))
