"""What wants attention: at most five things, the most pressing of each kind, each one tap from being done.

What is agreed and not yet paid comes first, then what most money is at stake in.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import every_figure, quoted_figure, starter
from forecast.dashboard.asking import first_wrong, number_field
from forecast.dashboard.cost_answers import to_firm_up
from forecast.dashboard.cost_next import comes_later
from forecast.dashboard.layout import safe, text
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipts_news import begin_receipt, enter, events_of, news
from forecast.dashboard.receipts_settle import looks_settled, looks_settled_news
from forecast.dashboard.saving import build_to_change, form_key, put
from forecast.dashboard.state import Opened, before, known_by_now
from forecast.decide.afford import price_is_for
from forecast.decide.firm_up import FirmUp
from forecast.figures.kinds import Quotes
from forecast.ledger import Commitment, NewReceipt
from forecast.missing.left_out import Finding, findings
from forecast.views.cost_words import firm_figure_words, firm_up_sentence
from forecast.views.settling_words import (
    NOT_FROZEN,
    closed_words,
    entered_words,
    over_by_now_sentence,
    over_words,
    paid_words,
    share_of_closed_sentence,
)
from forecast.views.stands import due_sentence, over_sentence, running_over, short_sentence, tight_sentence
from forecast.watching.at_stake import beyond_high, missing_on_average, still_counted
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.watching.settling import close_lines, enter_receipt, never_paid, rule_out
from forecast.words.currencies import is_currency
from forecast.words.minor_units import to_float
from forecast.words.money import about

_PLACE = "stand"
"""Where the news of what a tap did stands."""

_ABOVE_ALL = 1e15
"""Worth of what comes before all else but what is owed or may be a slip."""

_MOST = 5
"""So many things are asked for at once."""


@dataclass(frozen=True)
class _Thing:
    """One thing that wants attention: what is at stake in it, in money, how it is drawn, and whether it is owed."""

    worth: float
    draw: Callable[[], None]
    owed: bool = False


@dataclass
class Attention:
    """What was drawn, with the places before, between and behind.

    Attributes
    ----------
    count : int
        So many things.
    places : list of (float, container)
        Each with the worth of what stands behind it: what is worth more has its place there.
    """

    count: int = 0
    places: list[tuple[float, DeltaGenerator]] = field(default_factory=list)

    def place_for(self, worth: float) -> DeltaGenerator:
        """Give the place of what is found later, by what is at stake in it."""
        return next(place for below, place in self.places if worth >= below)


def attention(view: Opened, watch: Reforecast | None) -> Attention:
    """Draw what is found at once: what is owed, then what most money is at stake in; at most five things.

    A figure that may be a slip comes before what is worked out with it.
    """
    news(_PLACE)
    if watch is None or not watch.looking_settled:
        looks_settled_news()
    things = [*_of_receipts(view, watch), *_of_budget(view, watch), *_of_build(view, watch)]
    things.sort(key=lambda thing: (not thing.owed, -thing.worth))
    asked = Attention()
    for thing in things[:_MOST]:
        asked.places.append((math.inf if thing.owed else thing.worth, st.container()))
        thing.draw()
        asked.count += 1
    asked.places.append((-math.inf, st.container()))
    return asked


def _of_receipts(view: Opened, watch: Reforecast | None) -> Iterator[_Thing]:
    """Give what the receipts ask: what is owed, what may be all or past, and what runs over."""
    if watch is None:
        return
    settled = watch.looking_settled
    if settled:
        yield _Thing(still_counted(watch, settled), partial(_settled, view, watch))
    due = _most_due(view)
    if due is not None:
        yield _Thing(to_float(due.outstanding_minor, view.currency), partial(_due, view, due), owed=True)
    over = [line for line in running_over(watch.lines) if line.id not in settled]
    if over:
        yield _Thing(beyond_high(over[0]), partial(_over, view, over[0]))
    if watch.share_of_closed:
        yield _Thing(still_counted(watch, watch.share_of_closed), partial(_perhaps_past, view, watch))
    if watch.over_by_now:
        yield _Thing(still_counted(watch, watch.over_by_now), partial(_over_by_now, view, watch))


def _of_budget(view: Opened, watch: Reforecast | None) -> Iterator[_Thing]:
    """Give that no budget is frozen though money is spent, that it is short, or not enough as often as it should be."""
    if watch is not None and view.baseline is None and not watch.finished:
        link = "Freeze it on “What will it cost?”"
        yield _Thing(_ABOVE_ALL, partial(_item, "freeze", NOT_FROZEN, "", lambda: None, "cost", link))
    found = before(view) if watch is None else watch
    for key, sentence in (
        ("short", short_sentence(found, view.budget)), ("tight", tight_sentence(found, view.budget)),
    ):  # fmt: skip
        if sentence and view.budget is not None:
            draw = partial(_item, key, sentence, "", lambda: None, "cost", "What can be done about it")
            yield _Thing(missing_on_average(found, view.budget), draw)


def _of_build(view: Opened, watch: Reforecast | None) -> Iterator[_Thing]:
    """Give the gravest of what the build may have left out, or holds that may be a slip."""
    if watch is not None and watch.finished:  # nothing is put into it any more
        return
    build, known = build_to_change(), known_by_now(view)
    missing = findings(build, () if known is None else known.begun)
    if missing:
        worth = math.inf if missing[0].grade == "odd" else missing[0].worth(view.currency)
        yield _Thing(worth, partial(_left_out, view, build, missing[0], len(missing) - 1))


def _settled(view: Opened, watch: Reforecast) -> None:
    with st.container(border=True):
        looks_settled(view, watch)


def to_firm_up_next(view: Opened, watch: Reforecast | None, asked: Attention) -> None:
    """Draw the figure to firm up first, in its place; where nothing wants attention at all, say so."""
    if asked.count >= _MOST:
        return
    if watch is not None and watch.finished:
        found = None
    elif comes_later(view):
        return
    else:
        room = st.empty()
        room.caption("Looking for the figure to firm up first \u2026")
        build = build_to_change()
        done = () if watch is None else (*watch.share_of_closed, *watch.over_by_now)  # asked about already
        found = next(
            (
                item
                for item in to_firm_up(view)
                if item.certain and item.figure not in done and not _told(build, item)
            ),
            None,
        )
        room.empty()
    if found is None and watch is not None and watch.finished:
        told = "How far your estimates were off, line by line, stands under \u201cWhere does it end?\u201d."
        _item("ended", told, "", lambda: None, "watch", "See how good they were")
        return
    if found is None:
        if not asked.count:
            text("Nothing now.")
        return
    with asked.place_for(found.release.value):
        if watch is not None and found.figure in events_of(view):
            _rule_out(view, found)
        else:
            _firm_up(view, found)


def _item(
    key: str,
    sentence: str,
    label: str,
    act: Callable[[], None],
    page: str = "",
    link: str = "",
    going: Callable[[], None] = lambda: None,
) -> None:
    """Draw one thing: what it is, the button that does it, and where more can be done about it.

    What is known of it already is put there by `going`.
    """
    with screen_only(f"asks-{key}"), st.container(border=True):
        text(sentence)
        with st.container(horizontal=True, vertical_alignment="center"):
            if label and st.button(label, key=f"do-{key}"):
                act()
            if page and st.button(link, key=f"go-{key}", type="tertiary"):
                going()
                st.switch_page(f"forecast/dashboard/{page}.py")


def _most_due(view: Opened) -> Commitment | None:
    """Give the agreed price of which most is still to pay."""
    found = view.ledger.list_commitments() if view.ledger is not None else ()
    return max(
        (item for item in found if item.outstanding_minor),
        key=lambda item: item.outstanding_minor,
        default=None,
    )


def _due(view: Opened, item: Commitment) -> None:
    sentence = due_sentence(item, view.titles().get(item.line_id, item.line_id), view.currency)
    at_home = item.currency == view.currency  # else nobody knows yet what the account was charged

    def pay() -> None:
        rest = item.outstanding_minor
        receipt = NewReceipt(
            dt.date.today(), item.supplier, rest, view.currency, ((item.line_id, rest),), commitment_id=item.id,
            entry_key=f"due:{item.entry_key}:{item.paid_minor}",
        )  # fmt: skip

        def work() -> str:
            done = enter_receipt(view.ledger_to_write(), view.build, receipt)
            told = entered_words(done, view.titles(), view.currency)
            return f"Entered: {paid_words(done.receipt)}, today. {told}".rstrip()

        _done(view, work)

    label = "Enter all of it as paid today" if at_home else ""
    going = partial(begin_receipt, item.line_id, item.supplier, item.currency, item.id)
    _item("due", sentence, label, pay, "receipts", "Enter another sum", going)


def _over(view: Opened, line: LineWatch) -> None:
    def close() -> None:
        def work() -> str:
            settled = close_lines(view.ledger_to_write(), [line.id])
            return closed_words(
                [line.id],
                settled,
                view.titles(),
                view.currency,
                (),
                view.build.income.intersection([line.id]),
                never_paid(view.build, view.ledger, [line.id]),
            )

        _done(view, work)

    _item(
        "over",
        over_sentence(line, view.currency),
        "That was all: close it",
        close,
        "lines",
        "Change its range",
    )


def _done(view: Opened, work: Callable[[], str]) -> None:
    if enter(view, _PLACE, work):
        st.rerun()


def _left_out(view: Opened, build: Build, item: Finding, more: int) -> None:
    usual = ""
    if item.cost is not None and item.unit == view.currency:
        usual = f" Usually {about(item.cost[0], item.unit)} to {about(item.cost[2], item.unit)}."
    what = "Perhaps too narrow:" if item.narrow else "Perhaps left out:"
    what = "Is that meant?" if item.grade == "odd" else what
    sentence = f"{what} {item.missing}.{usual}"

    def add() -> None:
        if item.starter is not None:
            put(starter(build, item.starter))
        elif item.change is not None:
            put([item.change])

    label = "Add it" if item.starter is not None else "Write it" if item.change is not None else ""
    link = f"{more} more on the page of lines" if more else "See it on the page of lines"
    _item("left-out", sentence, label, add, "lines", link)


def _told(build: Build, item: FirmUp) -> bool:
    """Tell whether a quote for a figure waits in the tray or stands in the file."""
    return item.figure in every_figure(build) and isinstance(place_at(build, item.figure).figure, Quotes)


def _perhaps_past(view: Opened, watch: Reforecast) -> None:
    events = {line.id: line.title for line in watch.lines if line.id in watch.share_of_closed}
    label = f"{'It' if len(events) == 1 else 'They'} cannot come any more"
    sentence = share_of_closed_sentence(watch)
    _item("past", sentence, label, partial(_impossible, view, events), "receipts", "Tell it under Receipts")


def _over_by_now(view: Opened, watch: Reforecast) -> None:
    found = [line for line in watch.lines if line.id in watch.over_by_now]
    events = {line.id: line.title for line in found if line.kind == "event"}
    lines = {line.id: line.title for line in found if line.kind == "line"}
    label = f"{'It' if len(found) == 1 else 'They'} cannot come any more"
    say = partial(_impossible, view, events, lines)
    _item("over-by-now", over_by_now_sentence(watch), label, say, "receipts", "Tell of each under Receipts")


def _impossible(view: Opened, events: Mapping[str, str], lines: Mapping[str, str] | None = None) -> None:
    others = lines or {}

    def work() -> str:
        rule_out(view.ledger_to_write(), events, others)
        return over_words(list(events), list(others), {**events, **others})

    _done(view, work)


def _rule_out(view: Opened, item: FirmUp) -> None:
    sentence = firm_up_sentence(item, partial(about, currency=view.currency))
    say = partial(_impossible, view, {item.figure: item.title})
    _item(
        "rule-out", sentence, "It cannot come any more", say, "receipts", "It came: tell it under Receipts",
        partial(begin_receipt, item.figure),
    )  # fmt: skip


def _firm_up(view: Opened, item: FirmUp) -> None:
    sentence = firm_up_sentence(item, partial(about, currency=view.currency))
    build = build_to_change()
    with screen_only("asks-firm-up"), st.container(border=True):
        text(sentence)
        if item.to_decide:
            if st.button("See the quotes against each other", key="go-quotes", type="tertiary"):
                st.switch_page("forecast/dashboard/choose.py")
            return
        if item.figure not in every_figure(build):
            if st.button("See it on the page of lines", key="go-firm-up", type="tertiary"):
                st.switch_page("forecast/dashboard/lines.py")
            return
        unit = place_at(build, item.figure).unit
        asked = firm_figure_words(item.figure, unit, price_is_for(build, item.figure))
        with st.form(form_key("firm-up"), border=False):
            left, right = st.columns([3, 1], vertical_alignment="bottom")
            told = number_field(
                left, safe(asked), currency=unit if is_currency(unit) else "", tell=False,
                units=() if is_currency(unit) else (unit,),
            )  # fmt: skip
            if right.form_submit_button("Put it in"):
                problem = first_wrong(told)
                if problem or not told.value:
                    st.error(safe(problem or "Write a figure above zero."))
                else:
                    put([quoted_figure(build, item.figure, [told.value])])
