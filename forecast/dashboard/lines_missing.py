"""What stands beside the lines: what may be missing, cautions, and the rules in use."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from forecast.buildfile.cautions import hazards_asked
from forecast.buildfile.changes import NotNeeded, SetKey
from forecast.buildfile.oneself import Beside, cautions_beside
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import starter
from forecast.dashboard.layout import safe, table, text
from forecast.dashboard.lines_sheet import on_a_phone
from forecast.dashboard.saving import put
from forecast.dashboard.state import Opened, before, known_by_now
from forecast.engine.rule_weights import rule_weights
from forecast.missing.left_out import NOTHING_MISSING, Finding, findings
from forecast.trade.expansion import Expansion
from forecast.views.rule_words import (
    DUES,
    HEADINGS,
    TITLE,
    dues_rows,
    in_order,
    rules_lead,
    rules_rows,
    to_look_up,
    with_note,
)
from forecast.words.chances import listed
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
        text(NOTHING_MISSING)
        return
    text(_lead_of_missing(found))
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


def _lead_of_missing(found: Sequence[Finding]) -> str:
    """Count what is missing by how usual it is."""
    ends = {
        "must": "that every such build has",
        "usual": "that most such builds have",
        "consider": "worth a thought",
    }
    counts = {grade: sum(item.grade == grade for item in found) for grade in ends}
    parts = [f"{STRONG}{counts[grade]}{STRONG} {end}" for grade, end in ends.items() if counts[grade]]
    return f"Not in the estimate: {listed(parts)}."


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


_FEW = 6
"""So many lines and events with cautions are shown at once; more wait in an expander."""

_NARROW = """<style>
.fc-at-its-line, .st-key-cautions-on-paper { display: none; }
@media print { .st-key-cautions-on-paper { display: block; } }
@media screen and (max-width: 640px) { .st-key-cautions-wide { display: none; } .fc-at-its-line { display: block; } }
</style><p class="fc-at-its-line">Each stands at its line, further up.</p>"""
"""In a narrow window the cards have them (`lines_cards`); on paper, and beside the grid, they stand here."""
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
    text(_lead_of_cautions(found))
    st.html(_NARROW)
    with st.container(key="cautions-wide"), \
            st.expander(f"Cautions beside {_counted(found)}", expanded=len(found) <= _FEW):  # fmt: skip
        _tables(found)
    if on_a_phone():  # where no fold is shown that could be opened before printing
        with st.container(key="cautions-on-paper"):
            _tables(found)


def _tables(found: Sequence[Beside]) -> None:
    said: set[str] = set()
    for kind, heading in _KINDS:
        rows = [row for item in found if item.kind == kind for row in _rows(item, said)]
        if rows:
            table([heading, "Caution", "What to mind", "Whose word counts"], rows, f"Cautions by {kind}",
                  left=4, stacked=True)  # fmt: skip


def _lead_of_cautions(found: Sequence[Beside]) -> str:
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


def rules(view: Opened) -> None:
    """Say for each consignment how far its rule figures can be relied on, with all of them behind it."""
    plan = before(view).plan
    consignments = plan.consignments
    if not consignments:
        return
    st.subheader(TITLE)
    for item in consignments:
        weights = rule_weights(view.build, item)
        figures = in_order(item.figures, weights)
        if dues := dues_rows(plan, item):
            table(
                [*DUES, view.currency], dues, f"What the state charges on {item.title}, at your middle figures",
                left=2, last_is_sum=len(dues) > 1, cards=True,
            )  # fmt: skip
        text(rules_lead(item.title, figures, weights, view.currency))
        noted = [use for use in to_look_up(figures, weights)[0] if use.note and use.id in weights]
        if noted:  # folded away below too, but what is folded away is not printed
            listed = [f"- {safe(with_note(f'{use.label}, {use.value}', use))}" for use in noted]
            st.markdown("\n".join(listed))
    with st.expander(
        f"The figures behind {safe(consignments[0].title)}" if len(consignments) == 1 else "The figures"
    ):
        parts = (
            st.tabs([safe(item.title) for item in consignments])
            if len(consignments) > 1
            else [st.container()]
        )
        for item, part in zip(consignments, parts, strict=True):
            with part:
                _figures(view, item)


def _figures(view: Opened, item: Expansion) -> None:
    """Show every figure of a consignment, how to overwrite it, and what its terms leave out."""
    weights = rule_weights(view.build, item)
    text(f'To overwrite one, write its last column under [[consignment]] with id = "{item.consignment}".')
    table(
        HEADINGS, rules_rows(in_order(item.figures, weights), weights, view.currency),
        f"Figures of law, carriers and agents behind {item.title}", left=len(HEADINGS), stacked=True,
    )  # fmt: skip
    if item.notes:
        notes = "\n".join(f"- {safe(note)}" for note in item.notes)
        st.markdown(f"What the terms of trade leave out or add:\n\n{notes}")
