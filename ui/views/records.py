"""Records: find, open, back up, restore, forget."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import streamlit as st

from digitise.output.model.form import ModelForm
from digitise.record.backup import restore
from digitise.record.history.values import HistoryLine
from digitise.record.store import Store
from digitise.record.values import Visit, VisitLine
from digitise.unfinished import temporary_folder
from digitise.words.numbers import day
from ui import present, state, stored
from ui.components import both, chooser, frame, mending, papers, reopen, result, safety, sample
from ui.lengths import Unit
from ui.plain import plain, plain_lines
from ui.spoken import text

ADDRESS = "visit"
MOST_SHOWN = 30


def main() -> None:
    """Draw the page."""
    frame.head(text.RECORDS_TITLE, text.RECORDS_LEAD)
    state.draft()
    frame.tell_flash()
    with Store() as store:
        lines = store.list_visits()
        opened = _opened(lines)
        if opened is not None:
            _visit(store, opened)
        else:
            sample.remover(store)
            if lines:
                _list(lines)
            else:
                frame.nothing_saved()
                sample.button("records")
            left, right = st.columns(2, gap="large")
            with left:
                _backup(store)
            with right:
                _restore(bool(lines))
            _whole_history(store)
    frame.foot()


def _opened(lines: Sequence[VisitLine]) -> VisitLine | None:
    """Return the visit that the address names; None when it names none, or one that is gone."""
    wanted = st.query_params.get(ADDRESS)
    if wanted is None:
        return None
    found = next((line for line in lines if str(int(line.id)) == wanted), None)
    if found is None:
        st.warning(text.RECORDS_GONE.format(plain(wanted[:20])))
    return found


def _list(lines: Sequence[VisitLine]) -> None:
    """Draw the visits, newest first, today's on top; each is a button that opens it."""
    sought = st.text_input(text.RECORDS_FIND, key="find", placeholder=text.RECORDS_FIND_HINT)
    found = [line for line in reversed(lines) if _fits(line, sought)]
    today = datetime.now().astimezone().date()
    days = {
        text.RECORDS_TODAY: [line for line in found if line.taken.astimezone().date() == today],
        text.RECORDS_EARLIER: [line for line in found if line.taken.astimezone().date() != today],
    }
    for title, shown in days.items():
        if not shown:
            continue
        st.subheader(title, anchor=False)
        with st.container(key=f"visits-{title.lower()}", gap="small"):
            for line in shown[:MOST_SHOWN]:
                st.button(
                    present.visit_line(line),
                    key=f"open-{line.id}",
                    type="tertiary",
                    icon=":material/chevron_right:",
                    on_click=_open,
                    args=(line,),
                )
        if len(shown) > MOST_SHOWN:
            st.caption(text.RECORDS_MORE.format(len(shown) - MOST_SHOWN))
    if not found:
        st.info(text.RECORDS_NONE_FOUND)


def _fits(line: VisitLine, sought: str) -> bool:
    """Tell whether a visit fits all the words that are looked for: code, limb, side, date, number."""
    words = (
        f"{present.visit_line(line)} {line.side} {line.limb} {line.taken:%Y-%m-%d} {day(line.taken)}".lower()
    )
    return all(word in words for word in sought.lower().replace(",", " ").split())


def _open(line: VisitLine) -> None:
    st.query_params[ADDRESS] = str(int(line.id))
    chooser.remember(line.client)


def _close() -> None:
    st.query_params.pop(ADDRESS, None)


def _visit(store: Store, line: VisitLine) -> None:
    """Draw all that is kept of a visit."""
    chooser.remember(line.client)
    number, unit = line.id, state.unit()
    visit = store.load_visit(number)
    st.button(text.RECORDS_BACK, icon=":material/arrow_back:", type="tertiary", on_click=_close)
    st.subheader(present.visit_line(line), anchor=False)
    sample.banner(line.client)
    safety.whole(store, line)
    _answers(visit)
    with st.container(horizontal=True):
        reopen.button(number, str(number))
        for name, title, icon in (
            ("padding", text.PAGE_PADDING, "layers"),
            ("weeks", text.PAGE_WEEKS, "trending_down"),
        ):
            if visit.has_model and st.button(title, icon=f":material/{icon}:", key=f"to-{name}"):
                frame.go_to(name, client=line.client, visit=str(int(number)))
    if not visit.has_model:
        st.info(text.RECORDS_NO_MODEL)
        with frame.errors():
            _photographs(store, visit)
        if visit.tape:
            st.table(present.girth_rows(visit.tape, unit))
    else:
        kept = stored.stored_model(store, number)
        left, right = st.columns(2, gap="large")
        with left:
            with frame.errors():
                _photographs(store, visit)
            _tape(kept.summary, unit)
        with right:
            result.volume(kept.summary, bool(kept.summary.tape_check), unit)
            both.results(kept.summary, line.client, line.taken, unit)
            papers.report((line,), str(number))
            st.download_button(text.DOWNLOAD_MODEL, store.model(number).json, "model.json", on_click="ignore")
        result.shape(kept.limb, (), f"record-{number}", unit, kept.end)
        result.words(kept.summary, unit)
    mending.box(store, visit)
    _history([one for one in store.history(line.client) if one.visit == number])
    with st.expander(text.FORGET.format(plain(line.client)), icon=":material/delete_forever:"):
        _forget(store, line.client)


def _history(lines: Sequence[HistoryLine]) -> None:
    if lines:
        with st.expander(text.HISTORY, icon=":material/history:"):
            mending.history(lines)


def _whole_history(store: Store) -> None:
    """Draw the history of all clients, and the way to forget those of whom nothing else is left."""
    lines = store.history()
    if not lines:
        return
    with st.expander(text.HISTORY, icon=":material/history:"):
        mending.history(lines[-MOST_SHOWN:], named=True)
        there = {client.code for client in store.list_clients()}
        for code in sorted({line.client for line in lines} - there):
            st.markdown(text.HISTORY_GONE.format(plain(code)))
            _forget(store, code)


def _answers(visit: Visit) -> None:
    """Draw what was noted, and by whom; what somebody typed is shown as it was typed."""
    signs = visit.clearance.red_flags
    if signs and not any(there for _, there in signs):
        st.caption(text.FLAGS_NONE)
    said = (
        (text.POSTURE, text.POSTURES[visit.posture] if visit.posture else ""),
        (text.MEASURED_BY, visit.measured_by),
        (text.CLEARED_BY, visit.clearance.by if visit.clearance.answer == "yes" else ""),
    )
    noted = " · ".join(f"{title}: {plain(words)}" for title, words in said if words)
    if noted:
        st.markdown(f":small[{noted}]")
    if visit.note:
        st.markdown(plain_lines(visit.note))


def _photographs(store: Store, visit: Visit) -> None:
    if not visit.photos:
        return
    for start in range(0, len(visit.photos), 2):
        pair = visit.photos[start : start + 2]
        for column, photo in zip(st.columns(2), pair, strict=False):
            picture = (
                stored.saved_picture(store, visit.id, photo.number, state.unit())
                if visit.has_model
                else stored.plain_picture(store, visit.id, photo.number)
            )
            column.image(
                picture,
                width="stretch",
                alt=text.OUTLINE_ALT.format(photo.number),
            )
            if photo.number in visit.corrections:
                column.caption(text.CORRECTED)


def _tape(summary: ModelForm, unit: Unit) -> None:
    if summary.tape_check:
        st.table(present.tape_rows(summary, unit))


def _forget(store: Store, client: str) -> None:
    st.markdown(text.FORGET_LEAD)
    again = st.text_input(text.FORGET_CONFIRM, key=f"forget-{client}")
    if st.button(text.FORGET_DO.format(plain(client)), disabled=again.strip().upper() != client):
        proof = store.forget(client)
        sample.forgotten(client)
        _close()
        state.flash(text.FORGOTTEN.format(plain(client), proof.visits, proof.photographs))
        st.rerun()


def _backup(store: Store) -> None:
    st.subheader(text.BACKUP, anchor=False)
    st.caption(text.BACKUP_CARE)
    if st.button(text.BACKUP_MAKE, icon=":material/inventory_2:"):
        with temporary_folder() as scratch:
            path = scratch / "backup.zip"
            store.backup(path)
            st.download_button(
                text.BACKUP_DOWNLOAD,
                path.read_bytes(),
                f"records-{datetime.now().astimezone():%Y-%m-%d}.zip",
                "application/zip",
                on_click="ignore",
                icon=":material/download:",
            )


def _restore(there: bool) -> None:
    st.subheader(text.RESTORE, anchor=False)
    st.caption(text.RESTORE_LEAD)
    if there:
        return
    file = st.file_uploader(text.RESTORE_UPLOAD, type=["zip"], key="backup")
    if file is None or not st.button(text.RESTORE_DO):
        return
    with frame.errors(), temporary_folder() as scratch:
        path = scratch / "backup.zip"
        path.write_bytes(file.getvalue())
        rows = restore(path)
        state.flash(text.RESTORED.format(rows["visits"], rows["clients"]))
        st.rerun()


frame.page(main)
