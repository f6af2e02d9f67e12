"""Padding and wrap: places to look at, foam pieces to print, the wrap sheet, girths for ordering."""

from __future__ import annotations

import streamlit as st

from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.padding.regions import HIDDEN
from digitise.care.safety.answers import SafetyAnswers
from digitise.care.wrap.garment import girth_list
from digitise.care.wrap.plan import Plan, plan_to_toml
from digitise.care.wrap.sheet import wrap_sheet
from digitise.care.wrap.suggestion import NOTE, suggest_plan
from digitise.record.store import Store
from digitise.words import language, shown
from digitise.workflow.care import end_way_of
from digitise.workflow.course import follow
from digitise.workflow.report import ReportOptions
from digitise.workflow.safety import released
from digitise.workflow.stored_report import kept_plan
from ui import care, measuring, places, present_care, state
from ui.care import Places
from ui.components import behind, chooser, frame, papers, result, safety
from ui.components.chooser import Kept
from ui.components.result import CHART, SCENE
from ui.papers import garment_file, home_file, wrap_file
from ui.plain import plain
from ui.spoken import text


def main() -> None:
    """Draw the page."""
    frame.head(text.PADDING_TITLE, text.PADDING_LEAD)
    state.draft()
    with frame.errors(), Store() as store:
        visits = chooser.limb_visits(store)
        if visits:
            kept = _chosen(visits)
            result.less_sure((warning.text for warning in kept.model.summary.warnings), state.unit())
            answers = store.safety(kept.line.client, kept.line.id)
            if not safety.whole(store, kept.line, text.WITHHELD).withheld:
                against = _against(store, visits, kept)
                stable = follow(care.followed(store, kept.line)).plateau.stable
                _all(kept, against, stable, answers)
    frame.foot()


def _all(kept: Kept, against: Kept | None, stable: bool | None, answers: SafetyAnswers) -> None:
    """Draw what presses on the limb; a part that cannot be made hides no other."""
    with frame.errors():
        _places(kept, against, answers)
    with frame.errors():
        _wrap(kept, answers)
    with frame.errors():
        _garment(kept, stable)


def _chosen(visits: tuple[Kept, ...]) -> Kept:
    by_number = {int(kept.line.id): kept for kept in visits}
    words = chooser.visit_words(by_number)
    line = visits[0].line
    key = state.spoken(f"padding-{line.client}-{line.side}-{line.limb}")
    chooser.address_visit(key, list(by_number))
    number = st.selectbox(text.PADDING_VISIT, list(by_number)[::-1], format_func=words.__getitem__, key=key)
    chooser.remember_visit(number)
    return by_number[number]


def _against(store: Store, visits: tuple[Kept, ...], kept: Kept) -> Kept | None:
    """Ask what the limb is held against beside its own taper."""
    earlier = [one for one in visits if one.line.taken < kept.line.taken]
    other = chooser.other_limb(store, kept.line)
    offered = {int(one.line.id): one for one in [*reversed(earlier), *([other] if other else [])]}
    words = {
        number: present_care.against_words(one.line, mirrored=one.line.side != kept.line.side)
        for number, one in offered.items()
    }
    number = st.selectbox(
        text.PADDING_AGAINST,
        [0, *offered],
        format_func={0: text.PADDING_OWN, **words}.__getitem__,
        help=text.PADDING_AGAINST_HELP,
        key=state.spoken(f"against-{kept.line.id}"),
    )
    return offered.get(number)


def _places(kept: Kept, against: Kept | None, answers: SafetyAnswers) -> None:
    with frame.steps() as tell:
        found = care.places_against(kept.model, against.model if against else None, tell)
    limb, regions = found.limb, found.regions
    st.subheader(text.PADDING_MAP, anchor=False)
    if against is not None:
        st.markdown(text.PADDING_MEANS["earlier" if against.line.side == kept.line.side else "other"])
    left, right = st.columns([2, 3], gap="large")
    left.plotly_chart(
        places.places_figure(limb, measuring.mesh_of(limb), found.vertices, regions, frame.ink()),
        key="places",
        config=SCENE,
        theme=None,
        alt=text.PADDING_ALT,
    )
    with right:
        listed: tuple[Region | FootPlace, ...] = (*regions, *found.foot_places)
        if not listed:
            st.success(text.PADDING_NONE)
        for number, region in enumerate(listed, start=1):
            st.markdown(present_care.region_line(number, region, found.foam.of_place[number], state.unit()))
        st.caption(shown(HIDDEN))
    _foam(found, kept.line.client, released(kept.model.summary, ("pad",), answers))


def _foam(found: Places, code: str, lines: tuple[str, ...]) -> None:
    st.subheader(text.FOAM, anchor=False)
    if not found.foam.pieces:
        st.info(text.FOAM_NONE)
        return
    st.markdown(text.FOAM_LEAD)
    paper = st.segmented_control(
        text.FOAM_PAPER,
        ["a4", "letter"],
        format_func=text.PAPERS.__getitem__,
        default="a4",
        required=True,
        key="foam-paper",
    )
    st.download_button(
        text.FOAM_DOWNLOAD,
        lambda: care.foam_file(found, str(paper), code, lines),
        "foam.pdf",
        "application/pdf",
        icon=":material/print:",
        on_click="ignore",
    )


def _wrap(kept: Kept, answers: SafetyAnswers) -> None:
    limb, key = kept.model.limb, str(kept.line.id)
    st.subheader(text.WRAP, anchor=False)
    st.markdown(text.WRAP_LEAD)
    end, unit = end_way_of(kept.model), state.unit()
    if end is not None:
        st.caption(text.WRAP_FROM_END[end.part].format(unit.number(end.planned_mm)))
    with Store() as store:
        kept_text, there = store.plan(kept.line.id), kept_plan(store, kept.line.id)
    given = there or suggest_plan(limb, begins=None if end is None else end.planned_mm)
    if there is not None:
        st.caption(text.PLAN_KEPT)
    # another plan has a table of its own: what was typed into the one before is not added to it
    shape = f"{key}-{hash(kept_text)}-{state.session().get(_again(key), 0)}"
    table = f"plan-{shape}-{unit.name}-{language()}"
    plan = _as_left(given, shape, table)
    rolls = _rolls(plan, shape)
    rows = st.data_editor(
        present_care.plan_rows(plan, unit),
        num_rows="dynamic",
        hide_index=True,
        column_config={present_care.LAYER_NUMBER: None},
        width="stretch",
        key=table,
    )
    edited = present_care.edited_plan(plan, rows, rolls, unit)
    state.session()[_edited(shape)] = edited
    sheet = wrap_sheet(limb, edited, end)
    for warning in sheet.warnings:
        st.warning(plain(unit.sentence(warning.text)))
    left, right = st.columns([1, 1], gap="large")
    with left:
        st.markdown(f"**{present_care.rolls_words(sheet, unit)}**")
        st.table(present_care.needs_rows(sheet))
        st.caption(shown(NOTE))
    with right:
        st.plotly_chart(
            places.pressure_figure(sheet, frame.ink(), unit),
            key="pressure",
            config=CHART,
            theme=None,
            alt=text.WRAP_CHART_ALT,
        )
        behind.table(present_care.pressure_rows(sheet, unit), text.WRAP_PRESSURE)
        st.caption(text.WRAP_CARE)
    _keep(kept, plan_to_toml(edited), kept_text, changed=edited != given)
    paper = papers.paper_choice(f"wrap-{key}")
    options = ReportOptions(wrap=True, plan=edited, answers=answers)
    papers.download(
        text.WRAP_PDF,
        lambda: wrap_file(kept.model, kept.line.taken, options, paper, kept.line.client),
        "wrap.pdf",
        f"wrap-{key}",
    )
    papers.download(
        text.HOME_PDF,
        lambda: home_file(sheet, kept.model, paper),
        "home-card.pdf",
        f"home-{key}",
    )


def _rolls(plan: Plan, key: str) -> tuple[float, float]:
    """Ask how long a roll of bandage and one of padding is, m."""
    left, right = st.columns(2)
    bandage = left.number_input(
        text.WRAP_ROLL["bandage"], 0.2, 50.0, plan.roll_length_mm / 1000, 0.5, key=f"roll-{key}"
    )
    padding = right.number_input(
        text.WRAP_ROLL["padding"],
        0.2,
        50.0,
        plan.padding_roll_length_mm / 1000,
        0.5,
        key=f"padding-roll-{key}",
    )
    return bandage, padding


def _edited(shape: str) -> str:
    return f"plan-edited-{shape}"


def _again(visit: str) -> str:
    """Return under which name it is counted how often a visit's plan was begun anew."""
    return f"plan-again-{visit}"


def _as_left(given: Plan, shape: str, table: str) -> Plan:
    """Return the plan that a table begins with: as it was left in another unit, language or on another page.

    A table that is on the page goes on from what it began with: what was typed is added to that.
    """
    session = state.session()
    if table not in session:
        session[f"begins-{table}"] = session.get(_edited(shape), given)
    return session[f"begins-{table}"]  # type: ignore[no-any-return]


def _keep(kept: Kept, shown_now: str, stored: str | None, *, changed: bool) -> None:
    """Draw what keeps the plan as it is shown with the visit, and what goes back to the suggestion."""
    number = kept.line.id
    with st.container(horizontal=True), frame.errors():
        keep = st.button(
            text.PLAN_KEEP, disabled=shown_now == stored, icon=":material/save:", key=f"keep-{number}"
        )
        is_other = stored is not None or changed
        drop = is_other and st.button(text.PLAN_DROP, icon=":material/undo:", key=f"drop-{number}")
        if keep or (drop and stored is not None):
            with Store() as store:
                store.keep_plan(number, shown_now if keep else None, seen=stored)
        if keep or drop:
            begun = _again(str(number))
            state.session()[begun] = state.session().get(begun, 0) + 1
            st.rerun()


def _garment(kept: Kept, stable: bool | None) -> None:
    """Draw the girth list; of a limb that still changes only when it is asked for all the same."""
    with st.expander(text.GARMENT):
        anyway = False
        if stable is False:
            st.warning(text.GARMENT_CHANGES)
            anyway = st.checkbox(text.GARMENT_ANYWAY, key=f"anyway-{kept.line.id}")
        if stable is False and not anyway:
            return
        girths = girth_list(kept.model.limb, stable=stable, override=anyway)
        for note in map(shown, girths.notes):
            st.caption(state.unit().sentence(note))
        if girths.missing:
            st.info(text.GARMENT_MISSING.format(", ".join(map(shown, girths.missing))))
        if not girths.entries:
            return
        st.table(present_care.garment_rows(girths, state.unit()))
        st.download_button(
            text.GARMENT_DOWNLOAD,
            lambda: garment_file(girths),
            "garment.csv",
            "text/csv",
            icon=":material/download:",
            on_click="ignore",
        )


frame.page(main)
