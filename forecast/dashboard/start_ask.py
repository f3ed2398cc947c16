"""A question of the guided start: its field, how what stands in it is understood, and the ways on and back."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import streamlit as st

from forecast.dashboard.laying_chips import forget_chips, lay_chips
from forecast.dashboard.layout import safe, text, told_plainly
from forecast.dashboard.scripts import focus, go_on_by_enter
from forecast.dashboard.start_draft import go_on, go_to, previous, refuse, started, take
from forecast.start import (
    DONT_KNOW,
    DraftStanding,
    FarPrice,
    Question,
    WrongAnswer,
    choice_words,
    default_of,
    far_price,
    place_words,
    read_answer,
    stand,
    understood,
)
from forecast.start.written_answers import OR_UNKNOWN
from forecast.words.countries import ALSO, country_names, own_names
from forecast.words.currencies import currency_codes, currency_name
from forecast.words.numbers import plainly

FEW = 5
"""Choices up to so many stand beside each other; more are a list to type in."""

_SEARCHED = 12
"""In a list of more nobody sees all that there is, and what is typed may be in none of it."""

_NONE = "none"
_LIVE = ("range", "number", "boxes")
"""Kinds of which is shown, while they are typed, how they are understood."""

_LOOK = """
<style>
.st-key-guided-understood p { font-size: 1.05rem; }
.st-key-guided-buttons button { min-height: 44px; }
</style>
"""


@st.fragment
@told_plainly()
def ask(id: str) -> None:
    """Draw a question with its field; what is typed draws nothing else of the page anew.

    Parameters
    ----------
    id : str
        Of one of the questions that are asked after the answers so far.
    """
    start = started()
    standing = stand(start["written"])
    ids = [other.id for other in standing.asked]
    place = ids.index(id)
    item = standing.asked[place]
    st.html(_LOOK)
    st.caption(f"Question {place_words(place + 1, len(ids), standing.values)}")
    st.subheader(safe(item.text), anchor=False)
    if item.id == "kit_price" and start["chips"]:
        _by_chips(item, standing)
        return
    live, written = item.kind in _LIVE, item.kind == "text"
    press = st.form_submit_button if written else st.button
    with (
        st.form("guided-form", border=False)
        if written
        else st.container(key="guided-live" if live else "guided-picked")
    ):
        stood, open_question = _stood(item, standing.values), False
        if live:
            given, meant, open_question = _numbers(item, stood, standing.values)
        else:
            with st.container(key="guided-field"):
                given = meant = _field(item, stood, standing.values)
        # of a name that is written nothing is known before it is sent; all else is read as it is typed or picked
        if start["wrong"] and (given == start["refused"] or written):
            st.error(safe(start["wrong"]))
        if start["written"].get(item.id) == DONT_KNOW and not given:
            st.caption("You said that you don't know. Next leaves it at that.")
        st.caption(safe(_help(item)))
        # Next comes first, for Enter in a field presses the first button of its form.
        with st.container(horizontal=True, key="guided-buttons"):
            ahead = press("Next", type="primary")
            unknown = press("I don't know")
            back = press("Back", disabled=place == 0)
    if item.id == "kit_price" and st.button("Not sure? Find a range with ten chips", type="tertiary"):
        start["chips"] = True
        st.rerun()
    if start["found"]:
        text("Your answers from before are still here: this is the first question that was open.")
    if live:
        st.html(go_on_by_enter(), unsafe_allow_javascript=True)
    if start["moved"]:
        start["moved"] = False
        st.html(focus(item.id), unsafe_allow_javascript=True)
    if back:
        if given and given != stood:
            start["typed"][item.id] = given
        go_to(previous(standing, item.id) or item.id)
        st.rerun()
    if ahead and open_question:
        refuse(given, "Say which is meant, or write another price.")
        st.rerun()
    if ahead or unknown:
        _answered(item, standing.values, DONT_KNOW if unknown else meant or given, given)
        st.rerun()


def _answered(item: Question, values: Mapping[str, Any], said: str, given: str) -> None:
    """Take an answer and go on, or keep it beside its question with what is wrong.

    Nothing at all is no answer: that a builder does not know is said by a button of its own.
    """
    before = started()["written"].get(item.id)
    if not said and before is not None and before in (DONT_KNOW, ""):
        go_on(item.id)
        return
    if not said:
        verb = "Write" if item.kind in (*_LIVE, "text") else "Choose"
        refuse("", f"{verb} an answer, or press \u201cI don't know\u201d.")
        return
    if said == before:
        try:
            read_answer(item, said, values)
        except WrongAnswer as error:
            refuse(given, _refusal(error))
        else:
            go_on(item.id)
        return
    try:
        value = read_answer(item, said, values)
    except WrongAnswer as error:
        refuse("" if said == DONT_KNOW else given, _refusal(error))
    else:
        take(item.id, str(value) if item.kind == "choice" and said != DONT_KNOW else said)


def _refusal(error: WrongAnswer) -> str:
    """Say what is wrong; of what can mean two, that the choice stands at the field."""
    told = f"{error.found}. Choose which is meant, at the field." if error.either else str(error)
    return _sentence(told)


def _by_chips(item: Question, standing: DraftStanding) -> None:
    """Answer with a range that ten chips make."""
    currency = str(standing.values.get("kit_currency") or default_of(_currency(standing), standing.values))
    found = lay_chips("guided-price", currency)
    if st.button("Write a price instead", type="tertiary"):
        started()["chips"] = False
        st.rerun()
    if found is not None:
        forget_chips("guided-price")
        priced = "/".join(plainly(Decimal(repr(point))) for point in found)
        if far_price(item, read_answer(item, priced, standing.values), standing.values) is not None:
            started()["chips"], started()["typed"][item.id] = False, priced  # the field asks about it
        else:
            take(item.id, priced)
        st.rerun()


def _currency(standing: DraftStanding) -> Question:
    return next(item for item in standing.asked if item.id == "kit_currency")


def _stood(item: Question, values: Mapping[str, Any]) -> str:
    """Give what stands in a field before anybody types: what was refused, left, or answered; else the default."""
    start = started()
    before = start["refused"] or start["typed"].get(item.id) or start["written"].get(item.id, "")
    if before and before != DONT_KNOW:
        return before
    default = default_of(item, values)
    given = start["written"].get(item.id) == DONT_KNOW
    return "" if default == DONT_KNOW or given else str(default)


def _numbers(item: Question, stood: str, values: Mapping[str, Any]) -> tuple[str, str, bool]:
    """Draw a field for numbers, and beside it how they are understood.

    Returns
    -------
    given, meant : str
        What was typed, and what is meant.
    open_question : bool
        Whether a price far from any kit's still has to be confirmed.
    """
    far = None
    with st.container(horizontal=True, vertical_alignment="center"):
        with st.container(key="guided-field", width=380):
            given = st.text_input(
                item.text, value=stood, key=f"guided-{item.id}", label_visibility="collapsed", autocomplete="off",
                live=True,
            ) or ""  # fmt: skip
        try:
            told, either = "", tuple[str, ...]()
            if given.strip():
                value = read_answer(item, given, values)
                told, far = understood(item, given, value, values), far_price(item, value, values)
        except WrongAnswer as error:
            told, either = "", error.either
        if told:
            with st.container(key="guided-understood", width="content"):
                st.markdown(f"\u2192 **{safe(told)}**")
    if far is not None:
        return _far_away(far, given)
    if not either:
        return given, given, False
    meant = st.radio(
        "Which is meant?", either, index=None, horizontal=True, key=f"guided-which-{given}", format_func=safe
    )
    if meant and (far := far_price(item, read_answer(item, meant, values), values)) is not None:
        _, meant, open_question = _far_away(far, meant)
        return given, meant, open_question
    return given, meant or given, False


def _far_away(far: FarPrice, given: str) -> tuple[str, str, bool]:
    """Ask whether a price is meant that no kit has; see `_numbers`."""
    ways = {given: f"Yes, {far.told}"} | ({far.instead: f"No, {far.instead_told}"} if far.instead else {})
    meant = st.radio(
        safe(far.question), list(ways), index=None, horizontal=True, key=f"guided-far-{given}",
        format_func=lambda way: safe(ways[way]),
    )  # fmt: skip
    return given, meant or given, meant is None


def _help(item: Question) -> str:
    """Say what the answer changes, and how to write it where it is written."""
    return f"{item.help} {item.how}" if item.kind in _LIVE else item.help


def _field(item: Question, stood: str, values: Mapping[str, Any]) -> str:
    """Draw the field of a question that is picked or is a name, and give what stands in it."""
    label, key = item.text, f"guided-{item.id}"
    if item.kind in ("choice", "yes-no"):
        return _choice(item, stood, label, key)
    if item.kind == "choices":
        choices = dict(item.choices)
        if item.id == "at_hand":
            choices[_NONE] = "none of these"
        chosen = [part for part in stood.split(", ") if part in choices]
        picked = st.pills(
            label, list(choices), selection_mode="multi", default=chosen, key=key,
            format_func=lambda id: _sentence(choices[id]), label_visibility="collapsed",
        )  # fmt: skip
        return ", ".join(picked)
    return (
        st.text_input(label, value=stood, key=key, label_visibility="collapsed", autocomplete="off") or ""
    ).strip()


def _choice(item: Question, stood: str, label: str, key: str) -> str:
    choices = choices_of(item) or {"yes": "Yes", "no": "No"}
    ids, wrong = list(choices), started()["refused"] if len(choices) > _SEARCHED else ""
    if stood and stood not in (*ids, wrong) and len(ids) > FEW:
        ids.append(stood)
    index = ids.index(stood) if stood in ids else None
    if len(ids) <= FEW:
        return (
            st.radio(
                label, ids, index=index, format_func=lambda id: _sentence(choices[id]), key=key,
                label_visibility="collapsed",
            )
            or ""
        )  # fmt: skip
    picked = st.selectbox(
        label, ids, index=index, format_func=lambda id: _searched(id, choices, item), key=key,
        label_visibility="collapsed", placeholder="Choose, or type to search", filter_mode="contains",
    )  # fmt: skip
    if picked or not started()["wrong"] or len(choices) <= _SEARCHED:
        return picked or ""
    # What no entry of the list holds leaves no trace in it: written out, it is answered with the nearest there are.
    return (st.text_input("Not in the list? Write it here", value=wrong, key=f"{key}-written") or "").strip()


def _sentence(words: str) -> str:
    """Write what is wrong with an answer; that it may be left unknown is said by the button beside it."""
    return (words[:1].upper() + words[1:]).removesuffix(OR_UNKNOWN)


def choices_of(item: Question) -> dict[str, str]:
    """Give what may be chosen; a kit may come from anywhere, the likely countries first."""
    if item.id == "kit_currency":
        return {**item.choices, **dict.fromkeys(currency_codes(), "")}
    if not item.anywhere:
        return dict(item.choices)
    elsewhere = {code: name for code, name in country_names().items() if code not in item.choices}
    return {**item.choices, **elsewhere}


def named(id: str, item: Question) -> str:
    """Give the name of a choice, with its letters."""
    name = choices_of(item).get(id) or (currency_name(id) if "currency" in item.id else "")
    return choice_words(id, name)


def _searched(id: str, choices: Mapping[str, str], item: Question) -> str:
    """Give what stands in a list that is searched: the name, its letters, and what else people call it."""
    if "currency" in item.id:
        name = currency_name(id)
        return f"{id}, {name}" if name != id else id
    name = choices.get(id, "")
    if not name:
        return id
    known, others = name.casefold(), list[str]()
    written = {*item.called.get(id, ()), *ALSO.get(id, ()), *own_names().get(id, ())}
    for word in sorted(written, key=lambda word: (len(word), word), reverse=True):
        if not any(
            word.casefold() in other.casefold() for other in (known, *others)
        ):  # found by the longer one
            others.append(word)
    # Names from the rule files are in small letters; those of languages stand as these write them.
    also = ", ".join(
        word if word != word.lower() else word.upper() if len(word) <= 3 else word.title()
        for word in reversed(others)
    )
    return f"{choice_words(id, name)}: {also}" if also else choice_words(id, name)


def said(item: Question, value: Any, written: str, values: Mapping[str, Any]) -> str:
    """Say what was answered, and beside a number how it was understood."""
    if value is None:
        return "I don't know"
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if item.kind == "choices":
        return ", ".join(item.choices[id] for id in value) or "none of these"
    if item.kind == "choice":
        return named(str(value), item) if len(item.choices) > FEW else item.choices[value]
    told = understood(item, written, value, values)
    return f"{written} \u2192 {told}" if told and written else written or str(value)


__all__ = ["FEW", "ask", "choices_of", "named", "said"]
