"""The outlines on their photographs, what is doubtful in them, and the editor to mend or draw them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from digitise.capture.outline.correction import correction_from_json
from digitise.capture.outline.find import Outline
from digitise.capture.outline.result import Stretch
from digitise.errors import DigitiseError, OutlineError, UnseenError
from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured
from ui import end_picture, measuring, present, state
from ui.components import frame
from ui.components.editor import editor_data, outline_editor
from ui.components.photographs import named
from ui.draft import Draft
from ui.inputs import Inputs
from ui.lengths import Unit
from ui.spoken import text
from ui.work import Inspected

_EDITED = "edited"


def show(draft: Draft, measured: Measured, unit: Unit) -> None:
    """Draw the outlines, large, what is doubtful in each, and a button to correct it."""
    st.subheader(text.OUTLINES, anchor=False)
    number = _edited(draft)
    place = None if number is None else measuring.place_of(measured, draft.photos[number])
    if number is not None and place is not None:
        _editor(draft, number, measured.outlines[place], measuring.sight_of(measured, place))
        return
    st.markdown(text.OUTLINES_LEAD)
    paths = draft.photos
    for start in range(0, len(paths), 2):
        for column, number in zip(st.columns(2), range(start, min(start + 2, len(paths))), strict=False):
            with column:
                _outline(draft, measured, number, unit)


def _outline(draft: Draft, measured: Measured, number: int, unit: Unit) -> None:
    """Draw one photograph with what was found in it."""
    path = draft.photos[number]
    place = measuring.place_of(measured, path)
    if place is None:
        above = end_picture.end_picture(path, measured)
        if above is None:
            own = present.left_out_note(measured, number)
            st.caption(own or text.PHOTO_LEFT_OUT.format(number + 1))
        else:
            st.image(above, width="stretch", alt=text.END_ALT.format(number + 1))
        return
    picture = measuring.outline_picture(path, measured, place, unit)
    st.image(picture, width="stretch", alt=text.OUTLINE_ALT.format(number + 1))
    limb = measured.fit.limb
    doubts = measured.outlines[place].doubts(limb.from_mm, limb.to_mm)
    _doubts(doubts, unit)
    if draft.correction(path) is not None:
        st.caption(text.CORRECTED)
    _button(number, primary=bool(doubts))


def draw(
    draft: Draft,
    inputs: Inputs,
    inspected: Inspected,
    outlines: list[Outline | OutlineError],
    axis: Pose | None,
) -> None:
    """Have the outlines drawn by hand where they could not be found; the first of these opens at once."""
    lost = {n: one for n, one in enumerate(outlines) if isinstance(one, OutlineError)}
    reasons = {n: one for n, one in lost.items() if not isinstance(one, UnseenError)}
    number = _edited(draft)
    if number is None:
        own = (n for n, reason in reasons.items() if reason.where == draft.photos[n].name)
        number = next(own, next(iter(reasons), 0))
    st.subheader(text.DRAW_TITLE.format(number + 1), anchor=False)
    if number in reasons:
        frame.show_error(named(reasons[number], inputs))
    found = outlines[number]
    sight = measuring.sight_of(inspected, number, axis, lies=bool(inputs.lying))
    _editor(draft, number, None if isinstance(found, OutlineError) else found, sight)
    with st.container(horizontal=True):
        for other in range(len(outlines)):
            if other != number and other not in lost.keys() - reasons.keys():
                _button(other, primary=other in reasons)


def _doubts(doubts: Sequence[Stretch], unit: Unit) -> None:
    for stretch in doubts:
        st.warning(
            text.DOUBTFUL[stretch.side].format(unit.number(stretch.from_mm), unit.words(stretch.to_mm)),
            icon=":material/help:",
        )


def _button(number: int, primary: bool) -> None:
    st.button(
        text.CORRECT.format(number + 1),
        key=state.widget(f"correct-{number}"),
        icon=":material/edit:",
        type="primary" if primary else "secondary",
        on_click=state.put,
        args=(_EDITED, number),
    )


def _edited(draft: Draft) -> int | None:
    number = state.value(_EDITED)
    return number if isinstance(number, int) and number < len(draft.photos) else None


def _editor(draft: Draft, number: int, outline: Outline | None, sight: measuring.Sight) -> None:
    path = draft.photos[number]
    key = state.widget(f"editor-{path.name}")
    outline_editor(
        key=key,
        data=editor_data(path, sight, outline, draft.correction(path)),
        on_correction_change=lambda: _take(draft, path, key),
        on_done_change=lambda: state.put(_EDITED, None),
    )
    if draft.correction(path) is not None:
        st.button(
            text.CORRECTION_DROP.format(text.PHOTO_NAME.format(number + 1)),
            key=state.widget(f"drop-{number}"),
            type="tertiary",
            on_click=draft.write_correction,
            args=(path, None),
        )


def _take(draft: Draft, path: Path, key: str) -> None:
    """Keep what the editor hands back, before the page is drawn anew."""
    drawn = state.session()[key].correction
    if not drawn:
        return
    try:
        correction_from_json(drawn, path.name)
    except DigitiseError as error:
        state.put("refused", error)
        return
    draft.write_correction(path, None if _is_empty(drawn) else drawn)


def _is_empty(drawn: str) -> bool:
    correction = correction_from_json(drawn, "")
    return not correction.edges and not correction.strokes and correction.polygon is None
