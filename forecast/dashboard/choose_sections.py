"""The sections of the page of choosing: quotes, and the best mix of doing and farming out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import streamlit as st

from forecast.buildfile.choosing import offered, options_by_choice
from forecast.buildfile.oneself import OWN_ROUTE, own_hazards_of_mix, own_hazards_sentence, what_can_hurt
from forecast.buildfile.schema import Build
from forecast.dashboard.asking import Told, first_wrong, number_field
from forecast.dashboard.layout import (
    OnTap,
    fold,
    kept_picture,
    on_tap,
    palette,
    safe,
    table,
    text,
    told_plainly,
)
from forecast.dashboard.layout import said as marked
from forecast.dashboard.proposing import add_quote, add_way, agree_quote, take_quote
from forecast.dashboard.shelf import shelved
from forecast.dashboard.state import Opened, chosen, known_by_now, ledger_state
from forecast.decide.choices import ComparedQuotes, Elsewhere, Settled, quotes_or_why, settled
from forecast.decide.mix import Mix, Mixes, MixReason, MixSearch, prices_left
from forecast.decide.mixer import routes_offered
from forecast.decide.mixes import package_words
from forecast.decide.taking import asked_by_option
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.views.charts.ways_charts import frontier
from forecast.views.commands.advice import farmed_out, unbeaten_words
from forecast.views.commands.quotes import quote_headings, quote_rows, why_not
from forecast.views.mix_words import (
    agreed_sentences,
    hazards_sentence,
    instead_in_words,
    mix_mark,
    mix_words,
    mixes_sentence,
    reason_sentence,
    taken_in_words,
)
from forecast.views.quote_words import (
    estimate_sentence,
    once_taken_sentence,
    quotes_decided,
    quotes_sentence,
)
from forecast.views.sentences import prices_left_by_mix
from forecast.views.ways import dominance_sentence, pair_sentence
from forecast.watching.standing import Standing
from forecast.words.chances import listed
from forecast.words.money import about, entered, estimated, hourly, hours, percent, signed


def mixes_within(view: Opened, money: float | None, hours: float | None, weeks: float | None) -> Mixes:
    """Go through every mix of the build, within limits of the builder's own.

    Parameters
    ----------
    view : Opened
    money, hours, weeks : float, optional
        See `forecast.decide.mix.MixSearch.within`.

    Raises
    ------
    SimulationError
        When there is nothing to choose, or too much.
    """
    key = view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger)
    return _within(*key, repr((money, hours, weeks)), view, (money, hours, weeks))


@shelved("", keys=4, state=2)
def _within(
    fingerprint: str, scenario: str, state: str, limits: str, _view: Opened,
    _limits: tuple[float | None, float | None, float | None],
) -> Mixes:  # fmt: skip
    every = _mixes_of(fingerprint, scenario, state, _view.build, known_by_now(_view))
    return every.within(*_limits)


def _mix_taking(view: Opened, routes: Mapping[str, str]) -> Mix | None:
    """Give the mix of these routes, with the quotes that make it cheapest."""
    key = view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger)
    return _taking(*key, repr(sorted(routes.items())), view, routes)


@shelved("", keys=4, state=2)
def _taking(
    fingerprint: str, scenario: str, state: str, what: str, _view: Opened, _routes: Mapping[str, str]
) -> Mix | None:
    return _mixes_of(fingerprint, scenario, state, _view.build, known_by_now(_view)).taking(_routes)


# A search keeps the trials of all routes, so that any limits can be answered for.
@shelved("Trying every mix …", keys=3, state=2)
def _mixes_of(
    fingerprint: str, scenario: str, state: str, _build: Build, _known: Standing | None
) -> MixSearch:
    return MixSearch(_build, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, known=_known)


def quoted(view: Opened) -> tuple[ComparedQuotes | Settled | Elsewhere, ...]:
    """Compare the options of every choice of the build, or say why not."""
    state = ledger_state(view.ledger)
    return _quoted(view.build.fingerprint(), view.scenario or "", state, view.build, known_by_now(view))


@shelved("Simulating each quote …", keys=3, state=2)
def _quoted(
    fingerprint: str, scenario: str, state: str, _build: Build, _known: Standing | None
) -> tuple[ComparedQuotes | Settled | Elsewhere, ...]:
    choices = [choice for choice, options in options_by_choice(_build).items() if len(options) > 1]
    return tuple(
        quotes_or_why(_build, choice, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, _known)
        for choice in choices
    )


def which_quote(view: Opened) -> None:
    """Draw the section; where there is nothing to compare, how to begin."""
    st.subheader("Which quote")
    take_quote(view)
    for decided in quotes_decided(view.build, known_by_now(view)):
        text(decided["text"])
    if not view.build.option:
        text(
            "Two kits or two shops? Add what each asks, and what may go wrong with it: the whole build is then "
            "compared with each of them."
        )
        _quotes_folded(view, (), "Add a quote to compare")
        return
    every: list[ComparedQuotes] = []
    with told_plainly():
        for item in quoted(view):
            if isinstance(item, ComparedQuotes):
                every.append(item)
                _choice(view, item)
            else:
                text(why_not(item, view.currency))
    label = "What the quotes risk, and another quote" if every else "Add a quote to compare"
    _quotes_folded(view, every, label)


@st.fragment
@told_plainly()
def _quotes_folded(view: Opened, every: Sequence[ComparedQuotes], label: str) -> None:
    folded = fold(label, "quotes")
    if not folded.open:
        return
    with folded:
        titles = [f"The {item.choice.replace('_', ' ')} quotes against each other" for item in every]
        *parts, another = st.tabs([*titles, "Add a quote"]) if view.build.option else [st.container()]
        for part, item in zip(parts, every, strict=True):
            with part:
                _risks(view, item)
        with another:
            add_quote()


def _choice(view: Opened, found: ComparedQuotes) -> None:
    money = partial(about, currency=view.currency)
    text(" ".join(filter(None, [quotes_sentence(found, money), estimate_sentence(found, money)])))
    table(
        quote_headings(found), quote_rows(found, view.currency),
        "The whole build with each quote. Middle figures: what it looks like before anything goes wrong",
        cards=True,
    )  # fmt: skip
    if once := once_taken_sentence(found, money):
        text(once)
    options = {option.title: option for option in offered(options_by_choice(view.build)[found.choice])}
    agree_quote(
        view, f"choice-{found.choice}",
        "Which quote do you take?" if len(options) > 1 else "Do you take this quote?", options,
        lambda option: asked_by_option(view.build, option, view.scenario), named=True,
        more=lambda option: [item.title for item in (*option.line, *option.event)],
    )  # fmt: skip


def _risks(view: Opened, found: ComparedQuotes) -> None:
    money = partial(about, currency=view.currency)
    rows = [
        [item.title, risk.title, percent(risk.chance), money(risk.mean)]
        for item in found.quotes
        for risk in item.risks
    ]
    if rows:
        table(
            ["Quote", "Risk", "Happens in", "Adds on average"], rows,
            "Risks that differ between the quotes; the average is over all builds", left=2, cards=True,
        )  # fmt: skip
    for pair in found.comparison.pairs:
        text(f"{pair_sentence(pair, money)} {dominance_sentence(pair.dominance)}")


def best_mix(view: Opened, *, alone: bool) -> None:
    """Draw the section.

    Parameters
    ----------
    view : Opened
    alone : bool
        Whether no other picture stands on the page: the mixes' own then stands open.
    """
    st.subheader("The best mix")
    known = known_by_now(view)
    undecided = any(
        len(offered(options)) > 1 and settled(view.build, choice, known) is None
        for choice, options in options_by_choice(view.build).items()
    )
    if not undecided and all(len(routes) < 2 for routes in routes_offered(view.build).values()):
        text(
            "Give a work package two ways of being done, and every mix of them is tried: lines with the same package, "
            "one with route = \u201cself\u201d, one with route = \u201cshop\u201d."
        )
        return
    _section(view, alone=alone)


@st.fragment
def _section(view: Opened, *, alone: bool) -> None:
    with told_plainly():
        said, own = st.container(), st.container()
        folded = fold("Within limits of your own: every mix, and what each choice saves", "every-mix")
        limits = f"mix-limits-{chosen()['file']}"  # which hold while the fold is shut as well
        if folded.open:
            with folded:
                typed = _limits(view)
                if typed is None:
                    return
                st.session_state[limits] = typed
        most, hours, weeks = st.session_state.get(limits, (None, None, None))
        timed = view.build.build.hours_per_week is not None  # it may have been so when a limit was set
        found = mixes_within(view, most, hours, weeks if timed else None)
        if folded.open:
            with folded:
                if not alone:
                    _frontier(view, found)
                _reasons(view, found)
                _reasons_table(view, found)
                _frontier_table(view, found)
        money = partial(about, currency=view.currency)
        with said:
            text(mixes_sentence(found, money, partial(entered, currency=view.currency)))
            if alone:
                _frontier(view, found)
            left = prices_left_by_mix(view.build, known_by_now(view), found.leaves)
            if agreed := agreed_sentences(found, left, money):
                text(" ".join(agreed))
            if told := hazards_sentence(found, money):
                on_tap(OnTap(what_can_hurt(found.hazards), [told]))
            taken = found.best or found.cheapest
            add_way(taken.routes, _way_name(taken), "mix-way", view.scenario)
        with own:
            _own_mix(view, found, taken)


def _frontier(view: Opened, found: Mixes) -> None:
    look = palette()
    kept_picture(
        ("frontier", view.key, found.money, found.hours, found.weeks, look),
        lambda: frontier(found, view.currency, look),
    )


def _own_mix(view: Opened, found: Mixes, best: Mix) -> None:
    """Let the builder say who does each work package, and show what that mix needs beside the best one."""
    there_are = {
        package: sorted(
            {item.routes[package] for item in found.mixes}, key=lambda route: (route != OWN_ROUTE, route)
        )
        for package in best.routes
    }
    open_ones = {package: routes for package, routes in there_are.items() if len(routes) > 1}
    if not open_ones:
        return
    st.subheader("Your own mix")
    start, file = found.yours or best, chosen()["file"]
    routes = dict(best.routes)
    with st.container(horizontal=True):
        for package, there in open_ones.items():
            taken = st.segmented_control(
                safe(package_words(package).capitalize()), there, default=start.routes[package], required=True,
                format_func=_by, key=f"own-mix-{file}-{package}-{'-'.join(there)}", persist_state="session",
            )  # fmt: skip
            routes[package] = taken or start.routes[package]
    mine = _mix_taking(view, routes)
    if mine is None:
        text("No mix of the build has just these: other work hangs on one of them.")
        return
    _beside_the_best(view, found, mine, best)
    if mine == best:  # what goes with it stands above
        return
    if left := prices_left_by_mix(
        view.build, known_by_now(view), prices_left(view.build, known_by_now(view), routes)
    ):
        text(" ".join(left))
    if hazards := own_hazards_of_mix(view.build, mine.routes, mine.options.values()):
        on_tap(OnTap(what_can_hurt(hazards), [own_hazards_sentence(hazards)]))
    add_way(mine.routes, _way_name(mine), "own-mix-way", view.scenario)


def _beside_the_best(view: Opened, found: Mixes, mine: Mix, best: Mix) -> None:
    """Show what the chosen mix needs, and the best one where that is another."""
    weeks = mine.weeks is not None
    name = "Best" if found.best is not None else "Cheapest"
    rows = [
        ["Your mix" if mine != best else f"Your mix, the {name.lower()}", *_needs(view, mine, found, weeks)]
    ]
    if mine != best:
        rows.append([f"{name} mix", *_needs(view, best, found, weeks)])
    headings = ["", "P50", "P80", "Own hours at P80", *(["Weeks at P80"] if weeks else [])]
    quotes = f" Quotes: {mix_words(replace(mine, routes={}), found.titles)}." if mine.options else ""
    table(headings, rows, f"What it costs and takes.{quotes}", cards=True)


def _by(route: str) -> str:
    return package_words(route).capitalize()


def _needs(view: Opened, item: Mix, found: Mixes, weeks: bool) -> list[str]:
    """Give a mix's figures: P50, P80, own hours, and weeks where they are known."""
    return [
        estimated(found.p50_of(item), view.currency),
        estimated(found.p80_of(item), view.currency),
        hours(item.hours_p80),
        *([f"{item.weeks:.0f}"] if weeks and item.weeks is not None else []),
    ]


def _limits(view: Opened) -> tuple[float | None, float | None, float | None] | None:
    """Ask for limits in money, own hours and weeks; None where one cannot be read."""
    file = chosen()["file"]
    timed = view.build.build.hours_per_week is not None
    left, right, *third = st.columns(3 if timed else 2)
    money = number_field(
        left, f"Within how much money, {safe(view.currency)}", currency=view.currency, placeholder="no limit",
        key=f"mix-money-{file}", persist_state="session", help="In 80 of 100 builds it must cost no more than this.",
    )  # fmt: skip
    most = number_field(
        right, "Within how many own hours", units=("hours", "h"), placeholder="no limit", key=f"mix-hours-{file}",
        persist_state="session", help="In 80 of 100 builds it must take no more of your own hours than this.",
    )  # fmt: skip
    weeks = Told(None)
    if timed:
        weeks = number_field(
            third[0], "Within how many weeks", units=("weeks", "w"), placeholder="no limit", key=f"mix-weeks-{file}",
            persist_state="session", help="In 80 of 100 builds own work and waiting must take no longer than this.",
        )  # fmt: skip
    if first_wrong(money, most, weeks):
        return None
    return money.value or None, most.value, weeks.value


def _way_name(taken: Mix) -> str:
    away = taken.farmed_out
    if not away:
        return "All by yourself"
    return f"{listed(away).capitalize()} farmed out"


def _reasons(view: Opened, found: Mixes) -> None:
    if not found.reasons:
        return
    if found.best is None:
        text("Of the cheapest mix:")
    money, rate = partial(about, currency=view.currency), partial(hourly, currency=view.currency)
    st.markdown("\n".join(f"- {marked(reason_sentence(item, money, rate))}" for item in found.reasons))


def _reasons_table(view: Opened, found: Mixes) -> None:
    rows = [_reason_row(view, item) for item in found.reasons]
    table(
        ["Choice", "Saves on average", "At P90", "Own hours", "Per own hour", "Taken"], rows,
        "What each choice saves against its best alternative, all else unchanged; a minus costs more. At P90: what it "
        "saves in the sum that 90 of 100 builds do not exceed",
        right_text=1,
        cards=True,
    )  # fmt: skip


def _reason_row(view: Opened, item: MixReason) -> list[str]:
    money = view.currency
    rate = item.per_own_hour
    extra = (
        ("+" if item.hours > 0 else "\u2212") + hours(abs(item.hours)) if abs(item.hours) >= 0.5 else "\u2013"
    )
    return [
        item.choice.replace("_", " ").capitalize(),
        signed(item.mean.value, money, item.mean.error),
        signed(item.p90.value, money, item.p90.error),
        extra,
        hourly(rate, money) if rate is not None else "\u2013",
        f"{taken_in_words(item)}, not {instead_in_words(item)}",
    ]


def _frontier_table(view: Opened, found: Mixes) -> None:
    shown = found.listed()
    weeks = shown[0].weeks is not None
    text(f"{unbeaten_words(found)}.")
    rows = [_mix_row(view, item, found, weeks) for item in shown]
    headings = ["Farmed out", "P50", "P80", "Own hours at P80", *(["Weeks at P80"] if weeks else []), ""]
    caption = "Mixes from the cheapest to the one with least work"
    table(
        headings,
        rows,
        caption + (". Weeks: own work, then the waiting that the build file states" if weeks else ""),
        right_text=1,
        cards=True,
    )


def _mix_row(view: Opened, item: Mix, found: Mixes, weeks: bool) -> list[str]:
    return [
        farmed_out(item, found.titles),
        *_needs(view, item, found, weeks),
        mix_mark(found, item),
    ]
