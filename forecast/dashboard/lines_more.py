"""What else can be changed of a build: starter lines, own lines, quotes, lines taken out, settings, ranges by chips."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping

import streamlit as st

from forecast.buildfile.cautions import cautions_for
from forecast.buildfile.changes import Change, RemoveItem, SetBuild
from forecast.buildfile.library import library_of
from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.schema import GROUPS, Bought, Build
from forecast.buildfile.sheet import (
    costs_money,
    every_figure,
    new_line,
    paid_for,
    quoted_figure,
    range_instead,
    rate_changes,
    starter,
)
from forecast.dashboard.asking import Told, first_wrong, number_field
from forecast.dashboard.laying_chips import forget_chips, lay_chips
from forecast.dashboard.layout import fold, safe, text, told_plainly
from forecast.dashboard.saving import form_key, put
from forecast.dashboard.state import Opened
from forecast.errors import NumberError
from forecast.words.currencies import is_currency
from forecast.words.money import about
from forecast.words.numbers import read_numbers

PAID: Mapping[Bought, str] = {
    "once": "All at once", "several": "In several goes", "running": "By the week or month",
}  # fmt: skip


@st.fragment
@told_plainly()
def more(view: Opened, build: Build, others: Mapping[str, Callable[[], None]]) -> None:
    """Draw the ways to change a build other than the sheet, and others by name; each lays its change in the tray."""
    ways: dict[str, Callable[[], None]] = {
        "Add a usual line": lambda: _starter(build),
        "Add your own": lambda: _own(view, build),
        "Quotes": lambda: _quotes(build),
        "How lines are paid for": lambda: _paid_for(build),
        "Take out": lambda: _remove(build),
        "Name, budget, hours, rates": lambda: _settings(build),
    }
    ways |= others
    folded = fold("Add lines or quotes, take lines out, change name, budget or rates", "further-changes")
    if folded.open:
        with folded:
            for tab, draw in zip(st.tabs(list(ways)), ways.values(), strict=True):
                with tab:
                    draw()


def _starter(build: Build) -> None:
    library = library_of(build)
    there = {item.id for item in (*build.line, *build.event)}
    money = build.build.currency
    titles: dict[str, str] = {}
    for line in library.lines:
        needs = line.scale == "percent" and not set(line.of) & there
        if line.id not in there and not needs:
            low, _, high = line.range
            usual = (
                f"{low:g} to {high:g} %"
                if line.scale == "percent"
                else f"{about(low, money)} to {about(high, money)}"
            )
            titles[line.id] = f"{line.group.capitalize()}: {line.name}, usually {usual}"
    for event in library.events:
        needs = event.percent is not None and not set(event.of) & there
        if event.id not in there and not needs:
            titles[event.id] = f"May happen: {event.name}, in about {100 * event.chance:g} of 100 builds"
    if not titles:
        text("Your build has all of them.")
        return
    chosen = st.selectbox(
        "Which", list(titles), index=None, format_func=titles.__getitem__, placeholder="Type to search",
        key="starter-which",
    )  # fmt: skip
    text("Every range is common practice, no source: yours to overwrite.")
    if chosen is not None:
        for caution in cautions_for(chosen):
            st.caption(safe(caution.sentence))
    if st.button("Add it", key="starter-add", disabled=chosen is None) and chosen is not None:
        put(starter(build, chosen))


def _own(view: Opened, build: Build) -> None:
    with st.form(form_key("add-line"), border=False):
        left, right = st.columns([2, 1])
        name = left.text_input("Name", max_chars=80)
        group = right.selectbox("Group", GROUPS, format_func=str.capitalize)
        columns = st.columns(3)
        low, middle, high = (
            number_field(column, f"{word} ({view.currency})", currency=view.currency, tell=False)
            for column, word in zip(columns, ("Low", "Middle", "High"), strict=True)
        )
        st.caption("A middle alone is a known price.")
        how: Bought | None = st.selectbox(
            "How is it paid for?", list(PAID), index=None, format_func=PAID.__getitem__,
            placeholder="as usual for its group",
        )  # fmt: skip
        if st.form_submit_button("Add the line"):
            numbers = (low.value, middle.value, high.value)
            problem = first_wrong(low, middle, high) or _own_problem(name, *numbers)
            if problem:
                st.error(safe(problem))
            else:
                put([new_line(build, name, group, *numbers, how)])


def _own_problem(name: str, low: float | None, middle: float | None, high: float | None) -> str:
    if not name.strip():
        return "The line needs a name."
    given = [part for part in (low, middle, high) if part is not None]
    if middle is None and (low is None or high is None):
        return "Give a middle alone (a known price), low and high, or all three."
    if middle is not None and (low is None) != (high is None):
        return "Give low and high as well, or neither."
    if given != sorted(given):
        return "Low must be under middle and middle under high."
    return ""


def _paid_for(build: Build) -> None:
    text(
        "Where you do not say whether a payment is all, this decides. A thing paid for all at once is then likely "
        "paid; rent likely goes on."
    )
    names = {
        line.id: f"{line.title}: {PAID[line.bought_as].lower()}" for line in build.line if costs_money(line)
    }
    left, right = st.columns(2)
    line = left.selectbox(
        "Line",
        list(names),
        index=None,
        format_func=names.__getitem__,
        placeholder="Type to search",
        key="paid-which",
    )
    how = right.selectbox(
        "How is it paid for?", list(PAID), index=None, format_func=PAID.__getitem__, placeholder="Choose one",
        key="paid-how",
    )  # fmt: skip
    if st.button("Change it", key="paid-change", disabled=line is None or how is None) and line and how:
        put([paid_for(build, line, how)])


def _quotes(build: Build) -> None:
    names = every_figure(build)
    with st.form(form_key("quotes"), border=False):
        path = st.selectbox(
            "Figure", list(names), index=None, format_func=names.__getitem__, placeholder="Type to search"
        )
        written = st.text_input(
            "Prices quoted", placeholder="1450; 1520; 1390", help="One or more, with a semicolon between them"
        )
        if st.form_submit_button("Put them in"):
            if path is None:
                st.error("Choose the figure that the quotes are for.")
                return
            try:
                put([quoted_figure(build, path, _prices(written, place_at(build, path).unit))])
            except NumberError as error:
                st.error(safe(str(error)))


def _prices(written: str, unit: str) -> list[float]:
    """Read prices with a semicolon between them.

    Raises
    ------
    NumberError
        If there is none, or one of them is none or can mean two.
    """
    parts = [part.strip() for part in re.split(r";|,\s+", written) if part.strip()]
    prices = read_numbers(parts, currency=unit if is_currency(unit) else "")
    if not parts or min(prices) <= 0:
        mend = "Write prices as 1450 or 1450.50, one or more, with a semicolon between them."
        raise NumberError(written, "is no price", mend)
    return [float(price) for price in prices]


def _remove(build: Build) -> None:
    names = {item.id: item.title for item in (*build.line, *build.event)}
    names |= {item.id: f"Measure: {item.title}" for item in build.measure}
    names |= {item.id: f"Quote: {item.title}" for item in build.option}
    chosen = st.multiselect(
        "Which", list(names), format_func=names.__getitem__, placeholder="Type to search", key="remove-which",
        select_all=False,
    )  # fmt: skip
    text("Receipts that were entered for them stay, and then count as spent on what is not in the estimate.")
    text("A fee that is a share of one alone, and a measure that is for it alone, are taken out with it.")
    if st.button("Take them out", key="remove", disabled=not chosen):
        put([RemoveItem(item) for item in chosen])


def _settings(build: Build) -> None:
    told = build.build
    with st.form("settings", border=False):
        name = st.text_input("Name", value=told.name, max_chars=200, key=f"settings-name-{told.name}")
        left, right = st.columns(2)
        budget = number_field(
            left, f"Your budget ({told.currency})", value=told.budget, currency=told.currency, least=1.0, most=1e12,
            tell=False,
        )  # fmt: skip
        hours = number_field(
            right, "Hours a week for it", value=told.hours_per_week, units=("hours", "h"), least=0.5, most=168.0,
            tell=False,
        )  # fmt: skip
        rates = _rates(build)
        if st.form_submit_button("Change them"):
            if problem := first_wrong(budget, hours, *rates.values()):
                st.error(safe(problem))
                return
            wanted: list[Change] = []
            if name.strip() and name.strip() != told.name:
                wanted.append(SetBuild("name", name.strip()))
            if budget.value != told.budget:
                wanted.append(SetBuild("budget", budget.value))
            if hours.value != told.hours_per_week:
                wanted.append(SetBuild("hours_per_week", hours.value))
            for code, rate in rates.items():
                if rate.value is not None and rate.value != _now(build, code):
                    wanted += rate_changes(build, code, rate.value, dt.date.today())
            if wanted:
                put(wanted)


def _rates(build: Build) -> dict[str, Told]:
    """Ask for today's rates of exchange; that of the file decides what a number means."""
    home = build.build.currency
    return {
        code: number_field(
            st, f"What one {code} costs in {home} today", least=1e-9, most=1e9, near=_now(build, code), tell=False,
            placeholder=f"{_now(build, code):.6g} in the file", key=f"settings-rate-{code}",
        )
        for code in build.currency
    }  # fmt: skip


def _now(build: Build, code: str) -> float:
    return float(build.currency[code].rate.shape().middle)


def range_by_chips(build: Build) -> None:
    """Offer to find a figure's range with ten chips; what is found is laid in the tray like any other change."""
    if not st.toggle(
        "Find a range with ten chips", key=form_key("chips-open"),
        help="For a figure you have a feeling for, without thinking in percentiles.",
    ):  # fmt: skip
        return
    names = every_figure(build)
    path = st.selectbox(
        "Which figure?", list(names), index=None, format_func=names.__getitem__, placeholder="Type to search",
        key=form_key("chips-figure"),
    )  # fmt: skip
    if path is None:
        return
    found = lay_chips(path, place_at(build, path).unit)
    if found is not None:
        forget_chips(path)
        put([range_instead(build, path, *found)])
