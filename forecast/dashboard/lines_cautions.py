"""Cautions on health, safety and law beside the lines and events that they concern."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from forecast.buildfile.cautions import hazards_asked
from forecast.buildfile.edit import SetKey
from forecast.buildfile.oneself import Beside, cautions_beside
from forecast.dashboard.layout import table, text
from forecast.dashboard.saving import put
from forecast.dashboard.state import Opened

_FEW = 6
"""So many lines and events with cautions are shown at once; more wait in an expander."""

_KINDS = (("line", "Line"), ("goods", "Goods from abroad"), ("event", "What may happen"))


def cautions(view: Opened) -> None:
    """List the cautions of the scenario in force, by line, goods and event."""
    found = cautions_beside(view.build, view.scenario)
    asked = hazards_asked(view.build)
    if asked:
        st.subheader("By their names these may hurt somebody")
        for one in asked:
            left, right = st.columns([3, 1], vertical_alignment="center")
            with left:
                text(one.question)
            with right.container(horizontal=True):
                if st.button("Yes", key=f"hazard-yes-{one.item}"):
                    put([SetKey(one.item, "hazards", list(one.hazards))])
                if st.button("No", key=f"hazard-no-{one.item}"):
                    put([SetKey(one.item, "hazards", [])])
        st.caption("With yes its cautions stand beside it.")
    if not found:
        return
    st.subheader("Cautions beside these lines")
    text(_lead(found))
    with st.expander(f"Cautions beside {_counted(found)}", expanded=len(found) <= _FEW):
        said: set[str] = set()
        for kind, heading in _KINDS:
            rows = [row for item in found if item.kind == kind for row in _rows(item, said)]
            if rows:
                table([heading, "Caution", "What to mind", "Whose word counts"], rows, f"Cautions by {kind}",
                      left=4, stacked=True)  # fmt: skip


def _lead(found: Sequence[Beside]) -> str:
    topics = dict.fromkeys(caution.topic.lower() for item in found for caution in item.cautions)
    listed = ", ".join(list(topics)[:3]) + (f" and {len(topics) - 3} more" if len(topics) > 3 else "")
    return (
        f"Of these, {_counted(found)} can hurt somebody or break a rule. It is about {listed}. Nothing is approved "
        "here: the authorities named, local rules and licensed practice decide."
    )


def _counted(found: Sequence[Beside]) -> str:
    events = sum(item.kind == "event" for item in found)
    lines = len(found) - events
    parts = [f"{lines} {'line' if lines == 1 else 'lines'}"] if lines else []
    parts += [f"{events} {'event' if events == 1 else 'events'}"] if events else []
    return " and ".join(parts)


def _rows(item: Beside, said: set[str]) -> list[list[str]]:
    """Give the cautions of one line: each in a sentence where it comes first, all others by their topics."""
    first = [caution for caution in item.cautions if caution.id not in said]
    again = [caution.topic.lower() for caution in item.cautions if caution.id in said]
    said.update(caution.id for caution in first)
    rows = [[item.title, caution.topic, caution.text, caution.authority] for caution in first]
    if again:
        rows.append([item.title, f"As above: {', '.join(again)}", "", ""])
    return rows
