"""Photographs come in, are looked at, and can be taken out again."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

import streamlit as st

from digitise.capture.calibration.lens import lens_from_json
from digitise.capture.calibration.markers import Detection
from digitise.capture.checks.finding import Finding
from digitise.capture.sheets.field import MarkerField
from digitise.errors import DigitiseError
from digitise.tape.table import tape_table_from_csv
from digitise.words import shown
from digitise.workflow.stands import feet_on_mat
from ui import dates, measuring, pictures, present, state, work
from ui.components import arrivals, frame, pairing, places, watching
from ui.components.tape import show_rows
from ui.draft import MOST_PHOTOS, Draft
from ui.inputs import Inputs
from ui.lengths import UNITS
from ui.plain import plain
from ui.spoken import text
from ui.typed import as_typed
from ui.work import Inspected, Seen


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
            state.let_go(file.file_id)
    pairing.draw(draft)
    watching.draw(draft)
    if state.value("late"):
        st.rerun()  # the date stands above
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
        elif len(draft.photos) >= MOST_PHOTOS:
            st.warning(text.TOO_MANY_PHOTOS)
        else:
            path = draft.add_photo(data, name)
            arrivals.note(path.name, name, dates.taken(data))


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
    table = tape_table_from_csv(data.decode("utf-8-sig", errors="replace"), name, at_least=0)
    if table.places:
        places.put(table.places)
    if not table.rows:
        return
    unit = state.unit() if state.value("unit") is None else UNITS[state.value("unit")]
    show_rows(tuple((as_typed(row.height_mm, unit), as_typed(row.girth_mm, unit)) for row in table.rows))


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


def look(draft: Draft, inputs: Inputs) -> Inspected | None:
    """Check the photographs and show each with what was found; None when there is nothing to go on with."""
    paths = draft.photos
    if not paths:
        return None
    field, found = None, None
    with frame.errors():
        field = work.field_of(draft, inputs)
    if field is not None:
        key = work.field_key(draft, inputs)
        with frame.steps() as tell:
            alone = work.look_at_each(paths, field, key, tell)
            sound = [
                path for path, seen in zip(paths, alone, strict=True) if not isinstance(seen, DigitiseError)
            ]
            if len(sound) == len(paths):
                try:
                    found = work.inspect(
                        paths,
                        field,
                        key,
                        tell,
                        draft.lens_json,
                        same_visit=inputs.same_visit,
                        lying=bool(inputs.lying),
                    )
                except DigitiseError as error:
                    frame.show_error(named(error, inputs))
    with st.container(key="photos"):
        for start in range(0, len(paths), 2):
            pair = list(enumerate(paths))[start : start + 2]
            for column, (number, path) in zip(st.columns(2), pair, strict=False):
                with column:
                    if field is None:
                        _picture(None, (), None, number, path, inputs)
                    else:
                        _looked_at(alone[number], found, field, number, path, inputs)
                    _remover(draft, number, path)
    if found is not None:
        for line in present.finding_lines([f for f in beside(inputs, found) if not f.photo]):
            st.warning(line)
        if found.inspection.clashes or inputs.same_visit:
            one_visit(inputs)
    if found is None or found.inspection.calibration is None:
        _other_sheets(draft, inputs)
    return found


def one_visit(inputs: Inputs) -> None:
    """Ask whether photographs that look like two visits are of one."""
    st.checkbox(text.SAME_VISIT, key=state.seed("same_visit", inputs.same_visit))


def _other_sheets(draft: Draft, inputs: Inputs) -> None:
    """Say which set of sheets the photographs show when it is another than the one chosen."""
    with frame.steps() as tell:
        sheets = work.sheets_that_fit(draft, inputs, tell)
    if sheets is None:
        return
    st.warning(text.SHEETS_SEEN.format(text.SHEETS_NAMES[sheets], text.SHEETS_NAMES[inputs.sheets]))
    st.button(
        text.SHEETS_USE.format(text.SHEETS_NAMES[sheets]),
        key=state.widget("sheets_use"),
        type="primary",
        on_click=state.put,
        args=("sheets", sheets),
    )


def named(error: DigitiseError, inputs: Inputs) -> DigitiseError:
    """Return an error with the name that a photograph came with in place of the name of our copy."""
    where = ", ".join(inputs.names.get(name, name) for name in error.where.split(", "))
    return type(error)(error.what, where=where, do=error.do)


def beside(inputs: Inputs, found: Inspected | None) -> tuple[Finding, ...]:
    """Return what is said beside the photographs, or below them of all together."""
    if found is None:
        return ()
    together = (finding for finding in found.inspection.findings if not finding.photo)
    each = feet_on_mat(found.inspection, both=inputs.both_feet).findings
    return (*together, *(finding for finding in each if finding.photo))


def _looked_at(
    alone: Seen | DigitiseError,
    found: Inspected | None,
    field: MarkerField,
    number: int,
    path: Path,
    inputs: Inputs,
) -> None:
    if isinstance(alone, DigitiseError):
        _picture(None, (), "refuse", number, path, inputs)
        st.markdown(f":small[{plain(shown(alone.what))} **{plain(shown(alone.do))}**]")
        return
    findings = [finding for finding in beside(inputs, found) if finding.photo == alone.photo.name]
    _picture(field, alone.detections, present.worst(findings) if found else None, number, path, inputs)
    for line in present.finding_lines(findings):
        st.markdown(f":small[{line}]")


def _picture(
    field: MarkerField | None,
    detections: tuple[Detection, ...],
    worst: str | None,
    number: int,
    path: Path,
    inputs: Inputs,
) -> None:
    """Draw a photograph, small, with the marks found in it; one that cannot be opened has none."""
    with suppress(DigitiseError):
        ids = tuple(detection.id for detection in detections)
        picture = measuring.remembered_picture(
            ("marked", str(path), path.stat().st_mtime_ns, ids, field is None),
            lambda: measuring.jpeg(pictures.marked_picture(work.opened(path), detections, field)),
        )
        st.image(picture, width="stretch", alt=text.PHOTO_ALT.format(number + 1))
    title = f"**{text.PHOTO_NAME.format(number + 1)}**"
    if worst:
        colour = {"note": "green", "warning": "orange", "refuse": "red"}[worst]
        title += f" · :{colour}-badge[{text.PHOTO_SIGN[worst]}]"
    name = inputs.names.get(path.name)
    st.markdown(title + (f" :small[{plain(name)}]" if name else ""))


def _remover(draft: Draft, number: int, path: Path) -> None:
    if st.button(
        text.PHOTO_REMOVE.format(number + 1),
        key=state.widget(f"remove-{path.name}"),
        icon=":material/delete:",
        type="tertiary",
    ):
        draft.remove_photo(path)
        st.rerun()
