"""The measured limb: volume, shape, sections, girths, outlines and what to keep in mind."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import streamlit as st

from digitise.output.model.form import ModelForm
from digitise.shape.limb import Limb, girth
from digitise.shape.taped import TapeCheck
from ui import figures, present, text, work
from ui.components import frame

CHART = {"displayModeBar": False, "responsive": True}
SCENE = {"displayModeBar": False, "scrollZoom": True, "responsive": True}


def volume(summary: ModelForm, has_tape: bool) -> None:
    """Draw the volume with its interval."""
    value, sentence = present.volume_words(summary)
    st.metric(text.VOLUME, value)
    st.markdown(sentence)
    st.caption(present.cone_words(summary) if has_tape else text.NO_TAPE)


@st.fragment
def shape(limb: Limb, checks: Sequence[TapeCheck], key: str) -> None:
    """Draw the limb to turn, a slider through its sections, the chosen section and the girths."""
    ink = frame.ink()
    low, high = int(np.ceil(limb.from_mm / 5) * 5), int(limb.to_mm // 5 * 5)
    middle = (low + high) // 10 * 5
    chosen_cm = st.slider(
        text.SECTION_SLIDER,
        low / 10,
        high / 10,
        middle / 10,
        0.5,
        format="%.1f",
        key=f"section-{key}-{low}-{high}",
    )
    chosen = chosen_cm * 10
    outline = work.outline_at(limb, chosen)
    taped = [
        (check.verdict, work.outline_at(limb, check.row.height_mm))
        for check in checks
        if limb.from_mm <= check.row.height_mm <= limb.to_mm
    ]
    left, right = st.columns([3, 2])
    with left:
        st.plotly_chart(
            figures.shape_figure(limb, work.mesh_of(limb), outline, taped, ink),
            key=f"shape-{key}",
            config=SCENE,
            theme=None,
            alt=text.SHAPE_ALT,
        )
        st.caption(text.SHAPE_HINT)
    with right:
        st.plotly_chart(
            figures.section_figure(limb, [(text.SECTION_OUTLINE, outline, ink.line)], ink),
            key=f"outline-{key}",
            config=CHART,
            theme=None,
            alt=text.SECTION_ALT,
        )
        st.markdown(present.section_words(chosen, girth(limb, np.array([chosen]))))
    st.subheader(text.PROFILE, anchor=False)
    st.plotly_chart(
        figures.profile_figure(limb, checks, chosen, ink),
        key=f"profile-{key}",
        config=CHART,
        theme=None,
        alt=text.PROFILE_ALT,
    )


def words(summary: ModelForm) -> None:
    """Draw warnings, limits and the caution."""
    if summary.warnings:
        st.subheader(text.WARNINGS, anchor=False)
        for warning in summary.warnings:
            st.warning(warning.text)
    with st.expander(text.LIMITS):
        st.markdown(summary.method)
        st.markdown("\n".join(f"- {line}" for line in summary.not_included))
    with st.expander(text.CAUTION):
        st.markdown("\n".join(f"- {line}" for line in summary.caution))
