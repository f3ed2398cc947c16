"""What may have been left out, with buttons that add it or answer that it is not needed."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from forecast.buildfile.edit import NotNeeded
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import starter
from forecast.dashboard.layout import safe, text
from forecast.dashboard.saving import put
from forecast.dashboard.state import Opened, known_by_now
from forecast.missing.left_out import Finding, findings
from forecast.words.money import about
from forecast.words.text import STRONG

SHOWN = 5
"""So many stand open, the gravest and dearest; the others once they are asked for."""
_GRADES = {
    "must": "Every such build has it",
    "usual": "Most such builds have it",
    "consider": "Worth a thought",
}


def missing(view: Opened, build: Build) -> None:
    """Ask about figures that may be slips, and list what may have been left out, of a build as the sheet shows it."""
    known = known_by_now(view)
    every = findings(build, () if known is None else known.begun)
    asked = [item for item in every if item.grade == "odd"]
    narrow = [item for item in every if item.grade != "odd" and item.narrow]
    found = [item for item in every if item.grade != "odd" and not item.narrow]
    if asked:
        st.subheader("Is that meant?")
        for item in asked:
            _finding(view, build, item)
    if narrow:
        st.subheader("What may be too narrow")
        _some(view, build, narrow, "narrow-more")
    st.subheader("What may have been left out")
    if not found:
        st.markdown("Nothing that such builds usually have is missing.")
        return
    text(_lead(found))
    _some(view, build, found, "missing-more")


def _some(view: Opened, build: Build, found: Sequence[Finding], key: str) -> None:
    """List the first, and the others where they are asked for, by how usual they are."""
    for item in found[:SHOWN]:
        _finding(view, build, item)
    rest = found[SHOWN:]
    if rest and st.toggle(f"Show {len(rest)} more", key=key):
        for grade, words in _GRADES.items():
            items = [item for item in rest if item.grade == grade]
            if items:
                st.markdown(f"**{words}**")
            for item in items:
                _finding(view, build, item)


def _lead(found: Sequence[Finding]) -> str:
    """Count what is missing by how usual it is."""
    ends = {
        "must": "that every such build has",
        "usual": "that most such builds have",
        "consider": "worth a thought",
    }
    counts = {grade: sum(item.grade == grade for item in found) for grade in ends}
    parts = [f"{STRONG}{counts[grade]}{STRONG} {end}" for grade, end in ends.items() if counts[grade]]
    listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"Not in the estimate: {listed}."


def _finding(view: Opened, build: Build, item: Finding) -> None:
    cost = ""
    if item.cost is not None:
        low, _, high = item.cost
        if item.unit == view.currency:
            cost = f" Usually {about(low, item.unit)} to {about(high, item.unit)}. {item.source}"
        else:
            cost = f" Usually {low:g} to {high:g} {item.unit}. {item.source}"
    elif item.source:
        cost = f" {item.source}"
    mend = f" {item.sheet or item.mend}".rstrip()
    st.markdown(f"**{safe(item.missing)}**. {safe(item.why)}{safe(cost)}{safe(mend)}")
    left, right = st.columns([1, 4], vertical_alignment="bottom")
    if item.starter is not None and left.button("Add it", key=f"add-{item.rule}"):
        put(starter(build, item.starter))
    if item.starter is None and item.change is not None and left.button("Write it", key=f"add-{item.rule}"):
        put([item.change])
    answer, ask = (
        ("It is meant", "it is meant") if item.grade == "odd" else ("Not needed", "it is not needed")
    )
    with right.form(f"not-{item.rule}", border=False):
        field, button = st.columns([3, 1], vertical_alignment="bottom")
        why = field.text_input(
            f"Why {ask}: {safe(item.missing)}", key=f"why-{item.rule}", max_chars=200,
            placeholder=f"Why {ask}", label_visibility="collapsed",
        )  # fmt: skip
        if button.form_submit_button(answer):
            if why.strip():
                put([NotNeeded(item.rule, why.strip())])
            else:
                st.warning(f"Say in a few words why {ask}; that stays in the file.")
