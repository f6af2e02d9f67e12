"""Both limbs of one visit side by side, and the way to the second one."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from digitise.anatomy import Side
from digitise.output.model.form import ModelForm
from digitise.words import shown
from digitise.workflow.both.beside import BothLimbs
from ui import care, present, present_care, state
from ui.components import frame, saving
from ui.draft import Draft
from ui.inputs import Inputs
from ui.lengths import Unit
from ui.spoken import text


def results(summary: ModelForm, client: str, when: datetime, unit: Unit) -> None:
    """Draw a limb beside the opposite one of the same visit, where that was measured."""
    with frame.errors():
        found = care.both_limbs(summary, client, when, bilateral=False)
        if found is None:
            return
        st.subheader(text.BOTH, anchor=False)
        bilateral = st.toggle(text.BILATERAL, help=text.BILATERAL_HELP, key=f"both-{summary.limb_sha256}")
        if bilateral:
            found = care.both_limbs(summary, client, when, bilateral=True) or found
        _draw(found, summary, unit)


def _draw(found: BothLimbs, summary: ModelForm, unit: Unit) -> None:
    columns = dict(zip(Side, st.columns(2), strict=True))
    for side, volume in zip((found.larger, found.smaller), found.volumes, strict=True):
        columns[side].markdown(
            f"{present.limb_words(side, summary.limb)}  \n**{present_care.volume_with_half(volume)}**"
        )
    st.markdown(present_care.both_sentence(found, summary.limb))
    st.caption(text.BOTH_BETWEEN.format(unit.number(found.from_mm), unit.words(found.to_mm)))
    st.caption(shown(found.excess.note) or text.BOTH_CARE)


def button(draft: Draft, inputs: Inputs) -> None:
    """Draw the way to the other limb of the same client, with the answers that were given for this one."""
    words = text.OTHER_LEG if inputs.both_feet else text.OTHER_LIMB
    if st.button(words, key="other-limb", type="primary", icon=":material/compare_arrows:"):
        state.open_draft(saving.other_limb(draft, inputs))
        st.rerun()
