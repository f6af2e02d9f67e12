"""Weeks: the course of a limb, and any two of its visits compared."""

from __future__ import annotations

import streamlit as st

from digitise.care.change.compare import Change
from digitise.output.change.words import less_sure
from digitise.output.course.words import VERDICTS, course_sentences
from digitise.record.store import Store
from digitise.shape.section import section_outline
from digitise.words import shown
from digitise.workflow.course import follow
from digitise.workflow.visits.measured import LimbSeries
from ui import care, changes, figures, measuring, palette, present, present_care, state
from ui.components import behind, chooser, frame, papers, reopen, result, safety
from ui.components.chooser import Kept
from ui.components.result import CHART, SCENE, section_slider
from ui.lengths import Unit
from ui.palette import Ink
from ui.spoken import text


def main() -> None:
    """Draw the page."""
    frame.head(text.WEEKS_TITLE, text.WEEKS_LEAD)
    state.draft()
    with frame.errors():
        with Store() as store:
            visits = chooser.limb_visits(store)
            followed = care.followed(store, visits[0].line) if visits else None
            if visits:
                safety.in_short(store, visits[-1].line)
        if followed:
            with frame.errors():
                _course(followed)
        if len(visits) == 1:
            st.info(text.ONE_VISIT)
            reopen.button(int(visits[0].line.id), "only")
        elif visits:
            _two(visits)
        if visits:
            papers.report([kept.line for kept in visits], f"weeks-{visits[-1].line.id}")
    frame.foot()


def _course(followed: LimbSeries) -> None:
    ink, unit = frame.ink(), state.unit()
    st.subheader(text.COURSE, anchor=False)
    bilateral = any(followed.others) and st.toggle(
        text.BILATERAL, help=text.BILATERAL_HELP, key=f"bilateral-{followed.visits[0].place}"
    )
    found = follow(followed, bilateral=bilateral)
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.plotly_chart(
            changes.course_figure(found, ink), key="course", config=CHART, theme=None, alt=text.COURSE_ALT
        )
        behind.table(present_care.course_rows(found), text.COURSE)
        visit = found.points[0].visit
        st.caption(text.COURSE_BETWEEN.format(unit.number(visit.from_mm, 0), unit.words(visit.to_mm, 0)))
    with right:
        st.markdown(f"#### {text.VERDICT_COURSE.format(shown(VERDICTS[found.plateau.verdict]))}")
        st.markdown("\n".join(f"- {words}" for words in map(shown, found.plateau.missing)))
        with st.expander(text.MORE_ABOUT_COURSE):
            st.markdown("\n".join(f"- {words}" for words in map(unit.sentence, course_sentences(found))))


def _two(visits: tuple[Kept, ...]) -> None:
    st.subheader(text.CHANGE_HEAD, anchor=False)
    by_number = {int(kept.line.id): kept for kept in visits}
    words = chooser.visit_words(by_number)
    numbers = list(by_number)
    left, right = st.columns(2)
    limb = f"{visits[0].line.client}-{visits[0].line.side}-{visits[0].line.limb}"
    key = state.spoken(f"earlier-{limb}")
    earlier = left.selectbox(text.EARLIER, numbers[:-1], format_func=words.__getitem__, key=key)
    later_ones = numbers[numbers.index(earlier) + 1 :]
    key = state.spoken(f"later-{limb}-{earlier}")
    state.session().setdefault(key, later_ones[-1])
    later = right.selectbox(text.LATER, later_ones, format_func=words.__getitem__, key=key)
    with left:
        reopen.button(earlier, f"earlier-{earlier}")
    with right:
        reopen.button(later, f"later-{later}")
    with frame.steps() as tell:
        change = care.change_between(by_number[earlier].model, by_number[later].model, tell)
    st.markdown(f"#### {present_care.change_sentence(change.whole)}")
    ink, unit = frame.ink(), state.unit()
    first, last = by_number[earlier], by_number[later]
    result.less_sure(less_sure(change, first.model.summary, last.model.summary, first.line.taken), unit)
    _three(change, ink, unit, f"{earlier}-{later}")
    st.caption(text.CHANGE_LEGEND_SIDES)
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.table(present_care.change_rows(change.parts, unit))
    with right:
        _sections(change, (words[earlier], words[later]), f"{earlier}-{later}", unit)


def _three(change: Change, ink: Ink, unit: Unit, key: str) -> None:
    """Draw both limbs and the change side by side; on a phone one at a time, the next a swipe away."""
    drawn = changes.side_by_side(
        measuring.mesh_of(change.first), measuring.mesh_of(change.second), care.coloured(change), ink, unit
    )
    names = (text.EARLIER_SHORT, text.LATER_SHORT, text.CHANGE_LABEL)
    with st.container(key="sides"):
        for column, figure, name in zip(st.columns(3), drawn, names, strict=True):
            with column:
                st.markdown(f"**{name}**")
                st.plotly_chart(
                    figure,
                    key=f"{name}-{key}",
                    config=SCENE,
                    theme=None,
                    alt=f"{name}: {text.CHANGE_ALT}",
                )


@st.fragment
def _sections(change: Change, names: tuple[str, str], key: str, unit: Unit) -> None:
    height = section_slider(change.whole.segment.low, change.whole.segment.high, unit, f"both-{key}")
    ink = frame.ink()
    outlines = [
        (name, section_outline(limb, height), colour)
        for name, limb, colour in zip(
            names, (change.first, change.second), (palette.LIMB_EARLIER, ink.line), strict=True
        )
    ]
    st.plotly_chart(
        figures.section_figure(change.first, outlines, ink, unit),
        key=f"sections-{key}",
        config=CHART,
        theme=None,
        alt=text.BOTH_SECTIONS_ALT,
    )
    behind.table(present.section_rows([(name, o.line) for name, o, _ in outlines], unit), text.SECTION_NAME)


frame.page(main)
