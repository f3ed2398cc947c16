"""What the pages of receipts share: the lines that can be paid, what an entry moved, and undoing it."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st

from forecast.dashboard.asking import to_choose
from forecast.dashboard.layout import safe, said, tell, text
from forecast.dashboard.scripts import said_in_sight
from forecast.dashboard.state import Opened, headline, known_by_now, opened, watched
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import Estimate
from forecast.errors import ForecastError, UnusualError
from forecast.ledger.undoing import last_entry, undo_last
from forecast.views.after_entry import AfterEntry, after_entry
from forecast.views.settling_words import NOT_HERE
from forecast.views.undone_words import entry_words, take_back_words
from forecast.watching.reforecast import Reforecast
from forecast.words.text import STRONG, ended

MAY_HAPPEN = " (may happen)"
"""Behind the name of a risk event where it stands among lines."""
JUST_ENTERED = "just-entered"
"""Under which a session knows that it has saved a receipt and opened no form since."""
_MOST_NEWS = 40
"""Words of news that a phone shows at once; of longer ones it shows what moved P80, and the rest when tapped."""
_ALL_OF_IT = "What was entered, and all that it did"
_ALL_UNDONE = "What was taken back, and all that this did"
_MOST_WORDS = 20
"""Of what was entered last; an import of a whole ledger would fill the screen."""
_WHERE_WHY = "Why it ended there stands under \u201cWhere does it end?\u201d."
ELSEWHERE = f" ({NOT_HERE})"
"""Behind the name of what the scenario in force leaves out."""


def lines_of(view: Opened) -> dict[str, str]:
    """Give the lines that can be paid in this scenario, by id; of the file as it is saved."""
    return _payable(view, "line")


def events_of(view: Opened) -> dict[str, str]:
    """Give the risk events of this scenario, by id; of the file as it is saved."""
    return _payable(view, "event")


def currency_of_line(view: Opened, line: str) -> str:
    """Give the currency that a line or event of this scenario is priced in; the build's own where in no other.

    What a state charges on goods from abroad is reckoned from their price, and paid in its own money.
    """
    saved = _saved(view)
    plan = compile_plan(saved.build, saved.scenario)
    if line in plan.dues:
        return view.currency
    return next((row.currency for row in plan.rows if row.id == line and row.currency), view.currency)


def own_work(view: Opened) -> dict[str, str]:
    """Give the own hours that are closed by themselves when they are worked, by id: their lines cost money too."""
    saved = _saved(view)
    hours = compile_plan(saved.build, saved.scenario).own_work
    return _apart({name: f"{row.title}: own work" for name, (row, told) in hours.items() if told == name})


def lines_to_pay(view: Opened) -> dict[str, str]:
    """Give what a receipt may be for: lines, then events, then what other scenarios have."""
    known = known_by_now(view)
    came = set() if known is None else {name for name, state in known.events.items() if state == "happened"}
    here = lines_of(view) | {
        name: title + ("" if name in came else MAY_HAPPEN) for name, title in events_of(view).items()
    }
    build = _saved(view).build
    others = {item.id: item.title + ELSEWHERE for item in (*build.line, *build.event) if item.id not in here}
    return _apart(here | others)


def _apart(titles: dict[str, str]) -> dict[str, str]:
    """Write the id behind titles that stand more than once: a choice goes by what it shows."""
    often = Counter(titles.values())
    return {name: f"{title} [{name}]" if often[title] > 1 else title for name, title in titles.items()}


def _payable(view: Opened, kind: str) -> dict[str, str]:
    saved = _saved(view)
    rows = compile_plan(saved.build, saved.scenario).payable
    return _apart({row.id: row.title for row in rows if row.kind == kind})


def _saved(view: Opened) -> Opened:
    return opened(saved=True) if view.unsaved else view


@dataclass(frozen=True)
class Done:
    """What was entered, in a few words and in full."""

    shortly: str
    whole: str


def enter(view: Opened, place: str, work: Callable[[], str | Done], *, undone: bool = False) -> bool:
    """Write something to the ledger and keep the news of what it moved for the next run.

    Parameters
    ----------
    view : Opened
    place : str
        Which part of the page says it then: where the button stood, so that nobody scrolls for it.
    work : callable
        Does it and gives the sentence that says what was done; with a short one for a phone where it may be long.
    undone : bool
        Whether it takes an entry back.

    Returns
    -------
    bool
        Whether it went well; otherwise the reason stands on the page.
    """
    try:
        earlier = headline(view)[0], watched(view)
        found = work()
        what = found if isinstance(found, Done) else Done("", found)
        effect = moved(*earlier, undone=undone)
        whole = f"{what.whole} {effect.whole}"
        brief = len(whole.split()) <= _MOST_NEWS
        short = " ".join(filter(None, (what.shortly, effect.shortly)))
        keep_news(
            place, whole if brief else short, "" if brief else whole, _ALL_UNDONE if undone else _ALL_OF_IT
        )
    except UnusualError:
        st.rerun()  # the form now asks
    except ForecastError as error:
        tell(to_choose(error))
        return False
    return True


def is_meant(key: str, entry: str = "") -> bool:
    """Draw what was asked about in a form, with a box that answers; tell whether it is ticked.

    Parameters
    ----------
    key : str
        The form's own; another one after each entry, so that no answer outlives its question.
    entry : str
        What stands in the form: once it is another, the question of the one before is gone.
    """
    question, of = st.session_state.get(f"{key}-unusual"), f"{key}-unusual-of"
    if not question:
        st.session_state.pop(of, None)
        return False
    if st.session_state.setdefault(of, entry) != entry:
        for name in (f"{key}-unusual", of, f"{key}-meant"):
            st.session_state.pop(name, None)
        return False
    st.warning(safe(f"{question} Nothing is entered yet."))
    return st.checkbox("It is meant", key=f"{key}-meant")


def ask_first(question: str, key: str, *, meant: bool) -> None:
    """Put a question about what is odd in a form; nothing to ask where it is empty. See `is_meant`.

    Raises
    ------
    UnusualError
        The question; the form asks it from its next run on.
    """
    if meant and question == st.session_state.get(f"{key}-unusual"):
        return
    st.session_state[f"{key}-unusual"] = question
    if question:
        raise UnusualError(question)


def moved(earlier: Estimate, watch: Reforecast | None, *, undone: bool = False) -> AfterEntry:
    """Say by how much the forecast moved since, why where that is not plain, and what the chances are now."""
    view = opened()
    now, enough = headline(view)
    return after_entry(
        earlier, watch, now, watched(view), view.currency, enough, _WHERE_WHY, undone=undone, strong=STRONG
    )


def begin_receipt(line: str, supplier: str = "", currency: str = "", against: int | None = None) -> None:
    """Begin the form of a receipt anew, open, with what is known of it filled in; the page of receipts draws it.

    Parameters
    ----------
    line : str
        A line or an event.
    supplier : str
    currency : str
        In which a price was agreed; the line's own when left out.
    against : int, optional
        The number of the price agreed that it is paid against.
    """
    key = uuid.uuid4().hex  # what is half typed is of another bill
    known = {"lines": [line], "supplier": supplier, "currency": currency, "against": against}
    st.session_state.update({f"{key}-{field}": value for field, value in known.items() if value})
    st.session_state[f"{key}-currency-said"] = bool(currency)
    st.session_state.update({"receipt_form": key, "entering": "receipt", JUST_ENTERED: False})


def turn_of(form: str) -> int:
    """Give how often a form was sent: part of its fields' keys, so that a sent form begins anew."""
    return int(st.session_state.get(f"turn-{form}", 0))


def next_turn(form: str) -> None:
    """Begin a form anew."""
    st.session_state[f"turn-{form}"] = turn_of(form) + 1


def keep_news(place: str, words: str, whole: str = "", tap: str = _ALL_OF_IT) -> None:
    """Keep a sentence for the next run; and what it is short for, which stands behind a tap of that name."""
    st.session_state["news"] = (place, words, whole, tap)


def news(place: str | None = None) -> None:
    """Say once what the last entry did, where it was made; or anywhere, when its place is no longer drawn."""
    found = st.session_state.get("news")
    if found is not None and place in (None, found[0]):
        del st.session_state["news"]
        _, words, whole, tap = found
        st.success(said(words))
        if whole:
            with st.expander(tap):
                text(whole)
        if place == "form":
            st.html(said_in_sight(uuid.uuid4().hex), unsafe_allow_javascript=True)


@dataclass(frozen=True)
class ToUndo:
    """What was entered last, from this tab or any other, and the words for it, and for the button that undoes it."""

    mark: int
    words: str
    button: str

    @property
    def shortly(self) -> str:
        """The words, cut where there are many."""
        words = self.words.split()
        return self.words if len(words) <= _MOST_WORDS else " ".join(words[:_MOST_WORDS]) + " … and more"


def last_entered(view: Opened) -> ToUndo | None:
    """Give what can be taken back; None where nothing can."""
    entry = last_entry(view.ledger) if view.ledger is not None else None
    if entry is None:
        return None
    titles, risks = view.titles(), {event.id for event in view.build.event}
    words = entry_words(entry, view.currency, titles, risks)
    return ToUndo(entry.mark, words, take_back_words(entry, view.currency, titles, risks))


def undo_button(view: Opened, entry: ToUndo) -> None:
    """Offer to take it back."""
    # The key names the entry, so that a click can only mean the one that was shown.
    if st.button(safe(entry.button), key=f"undo-{entry.mark}"):

        def work() -> Done:
            undo_last(view.ledger_to_write(), entry.mark)
            return Done(ended(f"Taken back: {entry.shortly}"), ended(f"Taken back: {entry.words}"))

        if enter(view, "form", work, undone=True):
            st.session_state[JUST_ENTERED] = False
            st.rerun()
