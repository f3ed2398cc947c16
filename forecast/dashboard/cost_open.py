"""What the middle figures add up to, line by line, and each line opened down to what makes it up."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import calmly, safe, table, text, told_plainly
from forecast.dashboard.state import Opened, before, chosen
from forecast.engine.rows import Plan
from forecast.views.opening_words import open_line, open_total, sum_of
from forecast.views.settling_words import known_words
from forecast.watching.standing import Record
from forecast.words.money import about, builds, to_the_coin
from forecast.words.text import STRONG

_SHOWN_BELOW = 6
"""So many lines that a line follows from are offered as buttons."""


@st.fragment
def what_makes_it_up(view: Opened) -> None:
    """Draw the section, which is as long as the build."""
    with told_plainly():
        plan, money = before(view).plan, view.currency
        sheet = open_total(plan, [float(value) for value in before(view).base_rows])
        text(
            f"Events and lines that may not be needed count nothing here: {STRONG}{about(sheet.total, money)}{STRONG} "
            "is what one would write on an envelope."
        )
        rows = [
            [title, group.capitalize(), to_the_coin(amount, money)] for group, _, title, amount in sheet.lines
        ]
        rows.append(["Middle figures", "", to_the_coin(sheet.total, money)])
        table(["Line", "Group", money], rows, "Middle figures, to the cent", left=2, last_is_sum=True)
        _one(view, plan)


def _one(view: Opened, plan: Plan) -> None:
    names = _names(plan)
    key = f"open-down-{chosen()['file']}-{view.scenario}"
    wanted = st.selectbox(
        "Open one down to what makes it up", list(names), index=None, format_func=names.__getitem__,
        placeholder="Type to search", key=key,
    )  # fmt: skip
    if wanted is None:
        return
    opened = open_line(plan, wanted)
    figure = sum_of(opened, view.currency)
    sentence = f"{STRONG}{names[wanted]}{STRONG}, at your middle figures: {STRONG}{figure}{STRONG}"
    if opened.chance < 1:
        sentence += f" where it is needed or happens, in {builds(opened.chance)}"
    text(f"{sentence} = {opened.working}.")
    standing = None if view.ledger is None else Record.read(view.ledger).standing()
    if known := known_words(standing, view.currency, wanted):
        text(known)
    for note in (*opened.cautions, *opened.notes, *opened.know):
        st.caption(safe(note))
    below = [name for name in opened.below if name in names]
    if below:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.caption("It follows from")
            for name in below[:_SHOWN_BELOW]:
                st.button(safe(names[name]), key=f"{key}-{name}", on_click=calmly(_open), args=(key, name))


def _open(key: str, name: str) -> None:
    st.session_state[key] = name


def _names(plan: Plan) -> dict[str, str]:
    """Give what can be opened: lines, events, hours, weeks, and values on the way to them, by id."""
    kinds = {"hours": "own hours", "weeks": "waiting"}
    found = {
        row.id: f"{row.title}, {kinds[row.kind]}" if row.kind in kinds else row.title for row in plan.rows
    }
    return found | {stage.id: stage.name for item in plan.consignments for stage in item.stages}
