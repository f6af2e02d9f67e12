"""Photographs come in, are looked at, and can be taken out again."""

from __future__ import annotations

import json
from pathlib import Path

import streamlit as st

from digitise.capture.calibration.lens import lens_from_json
from digitise.errors import DigitiseError
from digitise.tape.table import tape_from_csv
from ui import pictures, present, state, text, work
from ui.components import frame
from ui.draft import Draft, Inputs
from ui.work import Inspected

MOST = 12


def take_in(draft: Draft, inputs: Inputs) -> None:
    """Draw where photographs are given, and keep what was given."""
    st.subheader(text.PHOTOS_HEAD, anchor=False)
    with st.container(key="drop"):
        files = st.file_uploader(
            text.PHOTOS_UPLOAD,
            type=["jpg", "jpeg", "png", "heic", "heif", "json", "csv"],
            accept_multiple_files=True,
            key=state.widget("files"),
            help=text.PHOTOS_HELP,
        )
    for file in files:
        if not state.is_handled(file.file_id):
            _keep(draft, file.name, file.getvalue())
    if st.toggle(text.CAMERA_TOGGLE, key=state.widget("camera_on")):
        st.caption(text.CAMERA_CAPTION)
        shot = st.camera_input(text.CAMERA, key=state.widget("camera"))
        if shot is not None and not state.is_handled(shot.file_id):
            _keep(draft, text.CAMERA_NAME, shot.getvalue())
    _sheets(draft, inputs)
    _lens(draft)


def _keep(draft: Draft, name: str, data: bytes) -> None:
    kind = Path(name).suffix.lower()
    with frame.errors():
        if kind == ".json" and is_lens(data):
            _keep_lens(draft, name, data)
        elif kind == ".json":
            draft.write_field(data.decode("utf-8", errors="replace"))
            state.put("sheets", "own")
        elif kind == ".csv":
            _keep_tape(name, data)
        elif len(draft.photos) >= MOST:
            st.warning(text.TOO_MANY_PHOTOS)
        else:
            draft.add_photo(data, name)


def is_lens(data: bytes) -> bool:
    """Tell whether a JSON file is a lens profile."""
    try:
        return str(json.loads(data)["format"]).startswith("lens-profile/")
    except (ValueError, TypeError, LookupError):
        return False


def _keep_lens(draft: Draft, name: str, data: bytes) -> None:
    lens_from_json(data, name)
    draft.write_lens(data.decode())


def _keep_tape(name: str, data: bytes) -> None:
    rows = tape_from_csv(data.decode("utf-8-sig", errors="replace"), name)
    factor = 1.0 if state.value("unit") == "mm" else 10.0
    state.put("rows", [(row.height_mm / factor, row.girth_mm / factor) for row in rows])
    state.put("rows_version", (state.value("rows_version") or 0) + 1)


def _sheets(draft: Draft, inputs: Inputs) -> None:
    left, right = st.columns([2, 1])
    with left:
        st.selectbox(
            text.SHEETS,
            list(text.SHEETS_NAMES),
            format_func=text.SHEETS_NAMES.__getitem__,
            key=state.seed("sheets", inputs.sheets),
        )
    with right:
        st.text_input(
            text.PRINT_SCALE,
            key=state.seed("print_scale", inputs.print_scale),
            help=text.PRINT_SCALE_HELP,
            disabled=state.value("sheets") == "own",
        )
    if state.value("sheets") == "own" and draft.field_json is None:
        st.warning(text.OWN_FIELD_MISSING)


def _lens(draft: Draft) -> None:
    with st.expander(text.LENS if draft.lens_json is None else text.LENS_USED):
        st.markdown(text.LENS_LEAD)
        if draft.lens_json is not None:
            if st.button(text.LENS_DROP, key=state.widget("lens_drop"), icon=":material/delete:"):
                draft.write_lens(None)
                st.rerun()
            return
        file = st.file_uploader(text.LENS_UPLOAD, type=["json"], key=state.widget("lens"))
        if file is not None and not state.is_handled(file.file_id):
            with frame.errors():
                _keep_lens(draft, file.name, file.getvalue())
                st.rerun()


def look(draft: Draft) -> Inspected | None:
    """Check the photographs and show each with what was found; None when there is nothing to go on with."""
    paths = draft.photos
    if not paths:
        return None
    try:
        field = work.field_of(draft)
        with frame.steps() as tell:
            found = work.inspect(paths, field, _field_key(draft), tell, draft.lens_json)
    except DigitiseError as error:
        frame.show_error(error)
        _removers(draft)
        return None
    with st.container(key="photos"):
        for start in range(0, len(paths), 2):
            pair = list(enumerate(paths))[start : start + 2]
            for column, (number, path) in zip(st.columns(2), pair, strict=False):
                with column:
                    _photo(draft, found, number, path)
    for line in present.finding_lines([f for f in found.inspection.findings if not f.photo]):
        st.warning(line)
    return found


def _field_key(draft: Draft) -> tuple[str, str, str | None]:
    inputs = draft.inputs
    return (inputs.sheets, inputs.print_scale, draft.field_json if inputs.sheets == "own" else None)


def _photo(draft: Draft, found: Inspected, number: int, path: Path) -> None:
    seen = found.seen[number]
    findings = [f for f in found.inspection.findings if f.photo == seen.photo.name]
    worst = present.worst(findings)
    picture = work.remembered_picture(
        ("marked", str(path), path.stat().st_mtime_ns, _field_key(draft)),
        lambda: work.jpeg(pictures.marked_picture(work.opened(path), seen.detections, work.field_of(draft))),
    )
    st.image(picture, width="stretch", alt=text.PHOTO_ALT.format(number + 1))
    colour = {"note": "green", "warning": "orange", "refuse": "red"}[worst]
    st.markdown(f"**{text.PHOTO_NAME.format(number + 1)}** · :{colour}-badge[{text.PHOTO_SIGN[worst]}]")
    for line in present.finding_lines(findings):
        st.markdown(f":small[{line}]")
    if st.button(
        text.PHOTO_REMOVE.format(number + 1),
        key=state.widget(f"remove-{path.name}"),
        icon=":material/delete:",
        type="tertiary",
    ):
        draft.remove_photo(path)
        st.rerun()


def _removers(draft: Draft) -> None:
    for number, path in enumerate(draft.photos, start=1):
        if st.button(text.PHOTO_REMOVE.format(number), key=state.widget(f"remove-{path.name}")):
            draft.remove_photo(path)
            st.rerun()
