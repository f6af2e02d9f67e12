"""The table behind a chart: its values for those who read by keyboard or by ear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from ui.spoken import text


def table(rows: Sequence[Mapping[str, str]], what: str) -> None:
    """Draw a closed box that holds a chart's values; ``what`` tells which chart's."""
    with st.expander(text.AS_TABLE.format(what), icon=":material/table_rows:"):
        st.table(list(rows))
