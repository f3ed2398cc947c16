"""How much to hold, for whom and why, and what makes it up."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.dashboard.asking import number_field
from forecast.dashboard.layout import calmly, fold, safe, table, text, told_plainly
from forecast.dashboard.state import Opened, as_it_stands, before, chosen, contingency_of
from forecast.decide.comparisons import NOT_FOUND
from forecast.decide.contingency import Contingency, Share, recommended_level
from forecast.engine.rows import Plan
from forecast.views.contingency_words import held_sentence, level_sentence, share_rows
from forecast.views.opening_words import open_line, open_total, sum_of
from forecast.views.settling_words import known_words
from forecast.watching.standing import Record
from forecast.words.money import about, as_written, builds, signed, to_the_coin
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


SHORT, IDLE = 200.0, 50.0
"""What is taken as answers at first: four to one, which asks for P80."""

_SPLITS = {"By cause": "causes", "By group": "groups", "By line": "lines"}


def how_much_to_hold(view: Opened) -> None:
    """Draw the section."""
    st.subheader("How much to hold")
    _section(view)


@st.fragment
def _section(view: Opened) -> None:
    with told_plainly():
        money = partial(about, currency=view.currency)
        sum_ = safe(money(1000.0))
        left, right = st.columns(2)
        short = number_field(
            left,
            f"Being {sum_} short would cost you",
            value=SHORT,
            currency=view.currency,
            key="short",
            persist_state="session",
            help="A stopped build, a month's storage, credit: whatever it would take to get over it.",
        )
        idle = number_field(
            right,
            f"{sum_} lying idle would cost you",
            value=IDLE,
            currency=view.currency,
            key="idle",
            persist_state="session",
            help="Interest, and other plans put off for the time of the build.",
        )
        if short.wrong or idle.wrong:
            return
        level = recommended_level(short.value or 0.0, idle.value or 0.0)
        split = contingency_of(view, level.q)
        text(f"{level_sentence(level, money)} {held_sentence(split, money)}")
        _levels(view, level.q)
        folded = fold("What the contingency is made of, and what others put aside", "contingency-made-of")
        if folded.open:
            with folded:
                made, beside, middle = st.tabs(
                    ["Where it comes from", "What others put aside", "What your middle figures add up to"]
                )
                with made:
                    _where_from(view, split)
                with beside:
                    _beside(view, split)
                with middle:
                    what_makes_it_up(view)


def _levels(view: Opened, own: float) -> None:
    forecast, money = as_it_stands(view), view.currency
    base = forecast.base_estimate
    rows = [["Middle figures", about(base, money), "", _enough(forecast.chance_within(base).value)]]
    levels = sorted({0.5, 0.8, 0.9, round(own, 2)})
    for level, estimate in zip(levels, forecast.percentile_set(levels), strict=True):
        rows.append(
            [
                f"P{100 * level:.0f}",
                about(estimate.value, money, estimate.error),
                signed(as_written(estimate.value, money, estimate.error) - as_written(base, money), money),
                _enough(level),
            ]
        )
    headings = ["", "Total", "Contingency", "Meaning"]
    table(
        headings,
        rows,
        "Sums to hold, and what they are enough for; the contingency is what each has over the middle figures",
        right_text=1,
    )


def _enough(chance: float) -> str:
    return f"enough in {builds(chance)}"


def _where_from(view: Opened, split: Contingency) -> None:
    name = f"P{100 * split.level:.0f}"
    text(
        f"At {name} you hold {STRONG}{about(split.over, split.currency)}{STRONG} beyond "
        "your middle figures. Each share is what that part costs on average when the whole build costs about that "
        "much, less its middle figure; the shares add up."
    )
    kind = st.segmented_control(
        "Split", list(_SPLITS), default="By cause", key="split", label_visibility="collapsed",
        required=True,
    )  # fmt: skip
    shares: tuple[Share, ...] = getattr(split, _SPLITS[kind or "By cause"])
    rows = [list(row) for row in share_rows(split, shares)]
    table(["", "Adds"], rows, f"Contingency at {name}, {(kind or 'By cause').lower()}", last_is_sum=True)


def _beside(view: Opened, split: Contingency) -> None:
    money = view.currency
    text(
        f"None of these enters your figures. Your contingency of {about(split.over, money)} is for your own "
        f"ranges and events. {NOT_FOUND}"
    )
    rows = []
    for item in split.beside:
        low, high = about(item.low, money), about(item.high, money)
        sums = low if item.low == item.high else f"{low} to {high}"
        rows.append([item.published.what, sums, f"{item.published.source}. {item.published.standing}"])
    table(
        ["Published figure", "On your middle figures", "Source, and how far it can be trusted"], rows,
        "Rules of thumb and published overruns, turned into money for this build", right_text=1, stacked=True,
    )  # fmt: skip
