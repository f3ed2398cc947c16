"""Lines from the builder's own list."""

from __future__ import annotations

import streamlit as st


def lines_from_list() -> None:
    """Draw the way from a list to lines of a build."""
    st.file_uploader("A list of lines, CSV or XLSX", type=["csv", "xlsx", "txt", "tsv"], key="list-file")
