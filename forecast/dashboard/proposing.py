"""Forms that put quotes and measures beside what the build file says; what is told goes to the tray."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TypeVar

import streamlit as st

from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.proposals import (
    Quoted,
    measure_against,
    measures_on_offer,
    priced_figures,
    quote,
    starter_measure,
    way,
    way_of,
)  # fmt: skip
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import open_quotes, taken_quote
from forecast.dashboard.asking import Told, first_wrong, number_field
from forecast.dashboard.layout import safe, text
from forecast.dashboard.receipts_news import Done, enter, news
from forecast.dashboard.saving import build_to_change, form_key, put
from forecast.dashboard.state import Opened, known_by_now
from forecast.decide.mixer import routes_offered
from forecast.decide.taking import Asked, asked_by_price, quotes_to_take, take
from forecast.errors import LedgerError
from forecast.ledger.records import AgreementKind
from forecast.views.quote_words import price_words, quotes_until_taken, which_quote
from forecast.views.settling_words import AGREEMENTS, kept_words, taken_words
from forecast.words.text import STRONG

T = TypeVar("T")


def take_quote(view: Opened) -> None:
    """Ask which quote is taken, of each figure that stands as several.

    What it comes to for its line is a price agreed; where how many are bought is open, it takes the quotes' place.
    """
    build = build_to_change()
    known = known_by_now(view)
    begun = frozenset[str]() if known is None else known.begun
    news("quotes")
    sums = quotes_to_take(build, begun)
    for place in sums:
        agree_quote(
            view, place.path, which_quote(place),
            {price_words(place, price): price for price in sorted(set(place.figure.model_dump()["quotes"]))},
            partial(asked_by_price, build, place.path), _supplier(build, place.item),
            until=quotes_until_taken(place),
        )  # fmt: skip
    asked = [place for place in open_quotes(build, begun) if place not in sums]
    if not asked:
        return
    with st.form(form_key("take-quote")):
        text(f"{STRONG}Which quote do you take?{STRONG} {len(asked)} to decide.")
        for place in asked:
            whose = f"{place.title}: " if len(asked) > 1 else ""
            st.caption(safe(f"{whose}{quotes_until_taken(place)}"))
        taken = {
            place.path: st.radio(
                which_quote(place), sorted(set(place.figure.model_dump()["quotes"])), index=None,
                format_func=partial(price_words, place), horizontal=True,
            )
            for place in asked
        }  # fmt: skip
        if st.form_submit_button("Take them"):
            changes = [taken_quote(build, path, price) for path, price in taken.items() if price is not None]
            if changes:
                put([*changes])
            else:
                st.error("Choose a quote first.")


def _supplier(build: Build, item: str) -> str:
    """Give who a line is bought from, where the file says it."""
    return next((line.supplier or "" for line in build.line if line.id == item), "")


def agree_quote(
    view: Opened, key: str, question: str, quotes: Mapping[str, T], asked: Callable[[T], Sequence[Asked]],
    supplier: str = "", more: Callable[[T], Sequence[str]] = lambda _: (), named: bool = False,
    until: str = "",
) -> None:  # fmt: skip
    """Ask which quote is taken; the one that is becomes a price agreed.

    Parameters
    ----------
    view : Opened
    key : str
        Of its own on a page.
    question : str
    quotes : mapping
        What can be taken, by what it is called.
    asked : callable
        Gives what a quote asks.
    supplier : str
        Whose they are, where that is known.
    more : callable
        Titles of the lines and risks that only this quote brings.
    named : bool
        Whether a quote is called by who gives it.
    until : str
        How they count until one is taken.
    """
    with st.form(f"agree-{key}"):
        chosen = st.radio(question, list(quotes), index=None, horizontal=True, key=f"agree-which-{key}")
        if until:
            st.caption(safe(until))
        whose = st.text_input(
            "Whose quote it is", value=supplier, max_chars=200, key=f"agree-whose-{key}",
            placeholder="as above" if named else "",
        )  # fmt: skip
        kind: AgreementKind | None = st.segmented_control(
            "That price is", list(AGREEMENTS), format_func=AGREEMENTS.__getitem__,
            default=None if named else "fixed", key=f"agree-kind-{key}",
        )  # fmt: skip
        st.caption("It is kept as a price agreed and not yet paid. Undo it on the page Receipts.")
        sent = st.form_submit_button("I take this one")

    def work() -> Done:
        if chosen is None:
            message = "Choose a quote first."
            raise LedgerError(message)
        from_whom = (whose or "").strip() or (chosen if named else "")
        if not from_whom:
            message = "Say whose quote it is."
            raise LedgerError(message)
        taken = quotes[chosen]
        done = take(view.ledger_to_write(), view.build, dt.date.today(), from_whom, asked(taken), kind=kind)
        return Done(kept_words(done), taken_words(done, view.titles(), view.currency, more(taken)))

    if sent and enter(view, "quotes", work):
        st.rerun()


def add_quote() -> None:
    """Ask for a quote of one of the build's prices, with what may go wrong with it."""
    build = build_to_change()
    figures = priced_figures(build)
    if not figures:
        return
    with st.form(form_key("quote"), border=False):
        text(
            "The lowest quote is not always the cheapest build. Each is held against the others, and against what the "
            "file says, on the same simulated builds. A quote that changes other figures too is written into the "
            "build file itself."
        )
        left, right = st.columns(2)
        path = left.selectbox(
            "For which price", list(figures), index=None, format_func=figures.__getitem__,
            placeholder="Type to search",
        )  # fmt: skip
        name = right.text_input("Who quotes", max_chars=80, placeholder="Maker nearby")
        columns = st.columns(3)
        likely = [] if path is None else [place_at(build, path).figure.shape().middle]
        middle = number_field(columns[1], "Middle", tell=False, expected=lambda: likely)
        likely += [] if middle.value is None else [middle.value]  # the ends lie about the middle
        low = number_field(columns[0], "Low", tell=False, expected=lambda: likely)
        high = number_field(columns[2], "High", tell=False, expected=lambda: likely)
        st.caption("A middle alone is a firm price; low, middle and high where it may still move.")
        left, right = st.columns(2)
        never = number_field(
            left, "Chance that it never comes, %", units=("%",), least=0.1, most=99.0, tell=False
        )
        home = build.build.currency
        lost = number_field(right, f"Lost then, {home}", currency=home, tell=False)
        late = weeks = Told(None)
        if build.build.hours_per_week is not None:
            late = number_field(
                left, "Chance that it comes late, %", units=("%",), least=0.1, most=99.0, tell=False
            )
            weeks = number_field(right, "Weeks late", units=("weeks", "w"), least=0.1, most=520.0, tell=False)
        if st.form_submit_button("Add the quote"):
            told = Quoted(
                name, low.value, middle.value, high.value, _share(never.value), lost.value, _share(late.value),
                weeks.value,
            )  # fmt: skip
            problem = first_wrong(low, middle, high, never, lost, late, weeks) or _wrong(path, told)
            if problem or path is None:
                st.error(safe(problem))
            else:
                put(quote(build, path, told))


def _share(percent: float | None) -> float | None:
    return None if percent is None else round(percent / 100, 6)


def _wrong(path: str | None, told: Quoted) -> str:
    """Say what is missing or does not go together; empty where nothing is."""
    given = [part for part in (told.low, told.middle, told.high) if part is not None]
    if path is None:
        return "Choose the price that the quote is for."
    if not told.name.strip():
        return "Say who quotes."
    if told.middle is None or len(given) == 2:
        return "Give a middle alone, which is a firm price, or low, middle and high."
    if given != sorted(given) or given[0] <= 0:
        return "Low must be above zero and under middle, and middle under high."
    if (told.never is None) != (told.lost is None):
        return "Give both: the chance that it never comes, and what is lost then."
    if (told.late is None) != (told.weeks is None):
        return "Give both: the chance that it comes late, and how many weeks."
    return ""


def add_way(routes: Mapping[str, str], name: str, key: str, like: str | None) -> None:
    """Offer to make a mix one of the ways to do the build; where one of them is just that, say which.

    ``like`` is the way whose overrides it was worked out with.
    """
    build = build_to_change()
    told = "It then stands beside the others, in the picture above and at the left."
    there = way_of(build, routes, like)
    if there is not None:
        st.caption(safe(f"This is the way \u201c{scenario_title(build, there)}\u201d."))
    elif st.button("Make this one of the ways to do it", key=key, help=told):
        put([way(build, routes, name, like)])


def add_both_ways() -> None:
    """Offer to do all by oneself and all by a shop as ways to do the build, where there is work that either can do."""
    build = build_to_change()
    offered = routes_offered(build)
    open_to_both = {package for package, routes in offered.items() if {"self", "shop"} <= set(routes)}
    if not open_to_both:
        text(
            "A way is a choice of who does which work. As yet no work in this build can be done by either: in the "
            "build file, give what you would buy for it and what a shop would ask the same work package, one with "
            "route self and one with route shop. The demo builds show how."
        )
        return
    ways = (("self", "All by yourself"), ("shop", "All farmed out"))
    routes = {
        name: {package: route if route in there else there[0] for package, there in offered.items()}
        for route, name in ways
    }
    missing = [name for name in routes if way_of(build, routes[name]) is None]
    listed = ", ".join(sorted(package.replace("_", " ") for package in open_to_both))
    text(f"You or a shop could do: {listed}. A mix of both can be made a way of its own further down.")
    if st.button("Compare doing it all yourself with farming it all out", key="both-ways"):
        put([way(build, routes[name], name) for name in missing])


def add_measure() -> None:
    """Offer the measures that such builds usually take, and that would change something in this one."""
    build = build_to_change()
    own_measure(build)
    names = measures_on_offer(build)
    if not names:
        return
    wanted = st.selectbox(
        "Try a measure that such builds usually take", list(names), index=None, format_func=names.__getitem__,
        placeholder="Type to search", key="measure-which",
    )  # fmt: skip
    st.caption(
        "What it costs and what it changes are common practice, no source: yours to overwrite in the build file."
    )
    if st.button("Put it in", key="measure-add", disabled=wanted is None) and wanted is not None:
        put([starter_measure(build, wanted)])


def own_measure(build: Build) -> None:
    """Ask for a measure of the builder's own: what it costs, and what it does to a risk."""
    if not build.event:
        return
    titles = {event.id: event.title for event in build.event}
    home = build.build.currency
    with st.form(form_key("measure"), border=False):
        left, right = st.columns(2)
        name = left.text_input(
            "A measure of your own", max_chars=80, placeholder="Photos of the packed crate"
        )
        cost = number_field(right, f"Costs, {home}", currency=home, tell=False)
        event = st.selectbox(
            "Against which risk", list(titles), index=None, format_func=titles.__getitem__,
            placeholder="Type to search",
        )  # fmt: skip
        left, right = st.columns(2)
        rarer = number_field(
            left, "Happens less often by, %", units=("%",), least=0.0, most=100.0, tell=False
        )
        milder = number_field(
            right, "Costs less when it happens by, %", units=("%",), least=0.0, most=100.0, tell=False
        )
        if not st.form_submit_button("Add the measure"):
            return
    problem = first_wrong(cost, rarer, milder)
    if not problem and not name.strip():
        problem = "Say what the measure is."
    if not problem and (event is None or cost.value is None):
        problem = "Choose the risk, and say what the measure costs."
    if not problem and not (rarer.value or milder.value):
        problem = "Say by how much the risk happens less often, or costs less."
    if problem or event is None:
        st.error(safe(problem))
        return
    put([measure_against(build, name, cost.value or 0.0, event, rarer.value or 0.0, milder.value or 0.0)])


__all__ = ["add_both_ways", "add_measure", "add_quote", "add_way"]
