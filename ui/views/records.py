"""Records: find, open, back up, restore, forget."""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path

import streamlit as st

from digitise.record.backup import restore
from digitise.record.store import Store
from digitise.record.values import VisitId
from ui import care, state, text, work
from ui import draft as drafts
from ui.components import frame, reopen, result
from ui.plain import plain, plain_lines


def main() -> None:
    """Draw the page."""
    frame.head(text.RECORDS_TITLE, text.RECORDS_LEAD)
    state.draft()
    frame.tell_flash()
    with frame.errors(), Store() as store:
        codes = [client.code for client in store.list_clients()]
        if codes:
            client = st.selectbox(
                text.RECORDS_FIND, codes, index=None, placeholder=text.RECORDS_PICK_CLIENT, key="client"
            )
            if client in codes:
                _client(store, client)
            else:
                _clients(store)
        else:
            frame.nothing_saved()
        left, right = st.columns(2, gap="large")
        with left:
            _backup(store)
        with right:
            _restore(bool(codes))
    frame.foot()


def _clients(store: Store) -> None:
    lines = [
        dict(
            zip(
                text.CLIENT_COLUMNS,
                (one.code, one.visits, _day(one.first), _day(one.last)),
                strict=True,
            )
        )
        for one in store.list_clients()
    ]
    st.table(lines)


def _client(store: Store, client: str) -> None:
    visits = store.list_visits(client)
    st.subheader(text.RECORDS_VISITS.format(plain(client)), anchor=False)
    st.table(
        [
            dict(
                zip(
                    text.RECORDS_COLUMNS,
                    (
                        line.id,
                        f"{text.SIDES[line.side]} {text.LIMBS[line.limb].lower()}",
                        f"{line.taken:%Y-%m-%d %H:%M}",
                        line.photos,
                        text.YES if line.has_model else text.NO,
                    ),
                    strict=True,
                )
            )
            for line in visits
        ]
    )
    words = {
        line.id: text.RECORDS_LINE.format(
            line.id, text.SIDES[line.side], text.LIMBS[line.limb].lower(), f"{line.taken:%d %B %Y}"
        )
        for line in visits
    }
    wanted = st.selectbox(
        text.RECORDS_OPEN,
        list(words)[::-1],
        index=None,
        format_func=words.__getitem__,
        placeholder=text.RECORDS_PICK,
        key=f"open-{client}",
    )
    if wanted is not None:
        _visit(store, VisitId(wanted))
    with st.expander(text.FORGET):
        _forget(store, client)


def _visit(store: Store, number: VisitId) -> None:
    visit = store.load_visit(number)
    st.subheader(
        text.RECORDS_OPENED.format(
            number, text.SIDES[visit.side], text.LIMBS[visit.limb].lower(), f"{visit.taken:%d %B %Y %H:%M}"
        ),
        anchor=False,
    )
    reopen.button(number, str(number))
    if visit.note:
        st.markdown(plain_lines(visit.note))
    signs = [text.FLAG_NAMES.get(code, plain(code)) for code, there in visit.clearance.red_flags if there]
    if signs:
        st.error(text.FLAGS_STOP.format("; ".join(signs)))
    if visit.clearance.answer != "yes":
        st.warning(text.CLEARANCE_OPEN)
    if not visit.has_model:
        st.info(text.RECORDS_NO_MODEL)
        return
    stored = work.stored_model(store, number)
    unit = state.unit()
    result.volume(stored.summary, bool(stored.summary.tape_check), unit)
    result.shape(stored.limb, (), f"record-{number}", unit)
    result.words(stored.summary)


def _forget(store: Store, client: str) -> None:
    st.markdown(text.FORGET_LEAD)
    again = st.text_input(text.FORGET_CONFIRM, key=f"forget-{client}")
    if st.button(text.FORGET_DO.format(plain(client)), disabled=again.strip().upper() != client):
        proof = store.forget(client)
        drafts.forget_client(client)
        work.forget_remembered()
        care.forget_remembered()
        state.flash(text.FORGOTTEN.format(plain(client), proof.visits, proof.photographs))
        st.rerun()


def _backup(store: Store) -> None:
    st.subheader(text.BACKUP, anchor=False)
    st.caption(text.BACKUP_CARE)
    if st.button(text.BACKUP_MAKE, icon=":material/inventory_2:"):
        with tempfile.TemporaryDirectory() as scratch:
            path = Path(scratch) / "backup.zip"
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
    with frame.errors(), tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "backup.zip"
        path.write_bytes(file.getvalue())
        rows = restore(path)
        state.flash(text.RESTORED.format(rows["visits"], rows["clients"]))
        st.rerun()


def _day(time: datetime) -> str:
    return f"{time.astimezone():%Y-%m-%d}"


frame.page(main)
