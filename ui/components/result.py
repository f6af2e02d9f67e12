"""The measured limb: volume, shape, sections, girths, outlines and what to keep in mind."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import streamlit as st

from digitise.output.forms import WarningForm
from digitise.output.model.form import ModelForm
from digitise.shape.end import EndPart
from digitise.shape.limb import Limb, girth
from digitise.shape.taped import TapeCheck
from digitise.words import shown
from ui import figures, measuring, present
from ui.components import behind, frame
from ui.lengths import Unit
from ui.plain import plain
from ui.spoken import text

CHART = {"displayModeBar": False, "responsive": True}
SCENE = {"displayModeBar": False, "scrollZoom": False, "responsive": True}


def volume(summary: ModelForm, has_tape: bool, unit: Unit) -> None:
    """Draw the volume with its interval."""
    value, sentence = present.volume_words(summary, unit)
    st.metric(text.VOLUME, value)
    st.markdown(sentence)
    st.caption(unit.sentence(present.cone_words(summary)) if has_tape else text.NO_TAPE)
    end = present.end_words(summary, unit)
    if end is not None:
        name, own, sentence, together = end
        st.metric(text.END[name], own)
        st.metric(text.TOGETHER[name], together)
        st.markdown(sentence)


@st.fragment
def shape(limb: Limb, checks: Sequence[TapeCheck], key: str, unit: Unit, end: EndPart | None = None) -> None:
    """Draw the limb to turn, a slider through its sections, the chosen section and the girths."""
    ink = frame.ink()
    chosen = section_slider(limb.from_mm, limb.to_mm, unit, key)
    outline = measuring.outline_at(limb, chosen)
    taped = [
        (check.verdict, measuring.outline_at(limb, check.row.height_mm))
        for check in checks
        if limb.from_mm <= check.row.height_mm <= limb.to_mm
    ]
    left, right = st.columns([3, 2])
    with left:
        st.plotly_chart(
            figures.shape_figure(limb, measuring.whole_mesh_of(limb, end), outline, taped, ink),
            key=f"shape-{key}",
            config=SCENE,
            theme=None,
            alt=text.SHAPE_ALT,
        )
        st.caption(text.SHAPE_HINT)
    with right:
        st.plotly_chart(
            figures.section_figure(limb, [(text.SECTION_OUTLINE, outline, ink.line)], ink, unit),
            key=f"outline-{key}",
            config=CHART,
            theme=None,
            alt=text.SECTION_ALT,
        )
        st.markdown(present.section_words(chosen, girth(limb, np.array([chosen])), unit))
        behind.table(present.section_rows([(text.SECTION_OUTLINE, outline.line)], unit), text.SECTION_NAME)
    st.subheader(text.PROFILE, anchor=False)
    st.plotly_chart(
        figures.profile_figure(limb, checks, chosen, ink, unit),
        key=f"profile-{key}",
        config=CHART,
        theme=None,
        alt=text.PROFILE_ALT,
    )
    behind.table(present.profile_rows(limb, checks, unit), text.PROFILE)


def section_slider(from_mm: float, to_mm: float, unit: Unit, key: str) -> float:
    """Draw the slider that chooses a section and return its height, mm."""
    step = unit.step
    low, high = np.ceil(unit.of(from_mm) / step) * step, np.floor(unit.of(to_mm) / step) * step
    middle = np.round((low + high) / 2 / step) * step
    chosen = st.slider(
        text.SECTION_SLIDER.format(unit.name),
        float(low),
        float(high),
        float(middle),
        step,
        format="%.1f" if unit.name == "cm" else "%.2f",
        key=f"section-{key}-{low}-{high}",
    )
    return float(np.clip(chosen * unit.mm, from_mm, to_mm))


def words(summary: ModelForm, unit: Unit, warnings: Sequence[WarningForm] | None = None) -> None:
    """Draw what was taped on foot or hand, warnings, limits and the caution.

    ``warnings`` are those that were not told elsewhere on the page; all when not given.
    """
    if summary.place_girths:
        st.table(present.place_rows(summary, unit))
    taped = present.taped_end(summary, unit)
    if taped:
        st.markdown(plain(taped))
    told = summary.warnings if warnings is None else warnings
    if told:
        st.subheader(text.WARNINGS, anchor=False)
        for warning in told:
            st.warning(plain(unit.sentence(warning.text)))
    with st.expander(text.LIMITS):
        st.markdown(shown(summary.method))
        st.markdown("\n".join(f"- {unit.sentence(line)}" for line in summary.not_included))
    with st.expander(text.CAUTION):
        st.markdown("\n".join(f"- {shown(line)}" for line in summary.caution))


def less_sure(lines: Iterable[str], unit: Unit) -> None:
    """Draw, where there is any, what makes figures less sure: behind a line that says how much that is."""
    told = [plain(unit.sentence(line)) for line in lines]
    if told:
        with st.expander(f"{text.WARNINGS} ({len(told)})", icon=":material/warning:"):
            st.markdown("\n".join(f"- {line}" for line in told))


def download(summary: ModelForm) -> None:
    """Draw the button that hands out all figures."""
    st.download_button(
        text.DOWNLOAD_MODEL,
        summary.model_dump_json(indent=1),
        "model.json",
        "application/json",
        icon=":material/download:",
        on_click="ignore",
    )
