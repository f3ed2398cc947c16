"""The guided start: one question after the other, and after each what to hold."""

from __future__ import annotations

from collections.abc import Mapping
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import streamlit as st

from forecast.build.guided import (
    DONT_KNOW,
    Question,
    Standing,
    WrongAnswer,
    create_build,
    default_of,
    question,
    read_answer,
    stand,
)
from forecast.build.sheet import free_id
from forecast.dashboard.layout import answer, calmly, palette, picture, safe, tell, text
from forecast.dashboard.scripts import focus
from forecast.dashboard.start_draft import END, Start, begin_again, go_to, previous, refuse, started, take
from forecast.dashboard.start_sketch import sketch
from forecast.dashboard.state import choose_file
from forecast.engine.forecast import Forecast
from forecast.errors import ForecastError
from forecast.spending.folder import user_folder
from forecast.views.charts.start import narrowing
from forecast.views.money import as_written, signed
from forecast.views.sentences import budget_sentence, hold_sentence
from forecast.words.countries import country_names
from forecast.words.text import STRONG

FEW = 5
"""Choices up to so many stand beside each other; more are a list to type in."""

_NONE = "none"


def guided() -> None:
    """Draw the question in force, what the answers come to, and all answers so far."""
    start = started()
    standing = stand(start["written"])
    if start["at"] not in (END, *(item.id for item in standing.asked)):
        start["at"] = standing.first_open.id if standing.first_open is not None else END
    now = sketch(start["written"]) if start["written"] else None
    _answer(start, standing, now)
    with st.container(key="guided"):
        if start["at"] == END:
            _finish(standing)
        else:
            _ask(next(item for item in standing.asked if item.id == start["at"]), start, standing)
    if now is not None:
        nothing = sketch(
            {key: text for key, text in start["written"].items() if key in ("country", "currency")}
        )
        told = nothing is not None and nothing.percentile(0.8).value != now.percentile(0.8).value
        stages = [("Nothing known", nothing)] if told and nothing is not None else []
        picture(narrowing([*stages, ("With your answers", now)], palette()), key="narrowing")
    _so_far(start, standing)


def _answer(start: Start, standing: Standing, now: Forecast | None) -> None:
    given = sum(value is not None for value in standing.values.values())
    asked = len(standing.asked)
    if not start["written"]:
        answer(
            f"Answer some twenty questions, and see after each one what to {STRONG}hold{STRONG} before you order.",
            "\u201cI don't know\u201d is always an answer: it widens the range, and you can come back to it.",
        )
        return
    if now is None:
        answer("What to hold follows when the rate of the kit's currency is told.")
        return
    told = "your answer" if given == 1 else f"your {given} answers"
    rest = asked - given
    questions = "the other question" if rest == 1 else f"the other {rest} questions"
    counted = f" and {questions}, which {'counts' if rest == 1 else 'count'} as not known" if rest else ""
    budget = standing.values.get("budget")
    answer(
        hold_sentence(now, strong=STRONG),
        budget_sentence(now, budget, strong=STRONG) if budget is not None else "",
        f"That is from {told}{counted}. {_move(start, now)}",
    )


def _move(start: Start, now: Forecast) -> str:
    """Say what the last answer did, where it is another answer and not another currency."""
    before = start["before"]
    if not before or not start["last"] or before == start["written"]:
        return ""
    was = sketch(before)
    if was is None or was.currency != now.currency:
        return ""
    old, new = was.percentile(0.8), now.percentile(0.8)
    if new.value == old.value:
        return ""
    written = [as_written(part.value, now.currency, part.error) for part in (old, new)]
    change = signed(written[1] - written[0], now.currency)  # both stood on the page: what is printed adds up
    return f"The last one moved P80 by {STRONG}{change}{STRONG}."


def _ask(item: Question, start: Start, standing: Standing) -> None:
    ids = [other.id for other in standing.asked]
    place = ids.index(item.id)
    st.caption(f"Question {place + 1} of {len(ids)}")
    st.subheader(safe(item.text), anchor=False)
    with st.form("guided-form", border=False):
        with st.container(key="guided-field"):
            given = _field(item, start, standing.values)
        if start["wrong"]:
            st.error(safe(start["wrong"]))
        meant = _which(item, start, standing)
        st.caption(safe(item.help if start["wrong"] else _help(item)))  # what is wrong says how to write it
        # Next comes first, for Enter in a field presses the first button of its form.
        with st.container(horizontal=True, key="guided-buttons"):
            ahead = st.form_submit_button("Next", type="primary")
            unknown = st.form_submit_button("I don't know")
            back = st.form_submit_button("Back", disabled=place == 0)
    if start["found"]:
        text("Your answers from before are still here: this is the first question that was open.")
    if start["moved"]:
        start["moved"] = False
        st.html(focus(item.id), unsafe_allow_javascript=True)
    if back:
        go_to(previous(standing, item.id) or item.id)
        st.rerun()
    if ahead or unknown:
        given = DONT_KNOW if unknown else meant if meant and given == start["refused"] else given
        try:
            read_answer(item, given, standing.values)
        except WrongAnswer as error:
            refuse("" if unknown else given, _sentence(str(error)))
        else:
            take(item.id, given)
        st.rerun()


def _which(item: Question, start: Start, standing: Standing) -> str:
    """Ask which is meant, where what was refused can mean two things; give how to write it."""
    if not start["refused"]:
        return ""
    try:
        read_answer(item, start["refused"], standing.values)
    except WrongAnswer as error:
        if error.either:
            return st.radio(
                "Which is meant?", error.either, index=None, horizontal=True, key=f"guided-which-{start['refused']}",
                format_func=safe,
            ) or ""  # fmt: skip
    return ""


def _help(item: Question) -> str:
    """Say what the answer changes, and how to write it where it is written."""
    return f"{item.help} {item.how}" if item.kind in ("range", "number", "boxes") else item.help


def _field(item: Question, start: Start, values: Any) -> str:
    """Draw the field of a question, filled with what was answered or refused before, and give what stands in it."""
    before = start["refused"] or start["written"].get(item.id, "")
    before = "" if before == DONT_KNOW else before
    default = default_of(item, values)
    label, key = item.text, f"guided-{item.id}"
    if item.kind in ("choice", "yes-no"):
        choices = _choices(item) or {"yes": "Yes", "no": "No"}
        shown = before or (default if default in choices else "")
        ids = list(choices)
        if shown and shown not in ids and len(ids) > FEW:
            ids.append(shown)
        index = ids.index(shown) if shown in ids else None
        if len(ids) <= FEW:
            return (
                st.radio(
                    label, ids, index=index, format_func=lambda id: _sentence(choices[id]), key=key,
                    label_visibility="collapsed",
                )
                or ""
            )  # fmt: skip
        return (
            st.selectbox(
                label, ids, index=index, format_func=lambda id: _named(id, choices, item.called), key=key,
                label_visibility="collapsed", placeholder="Choose, or type to search",
                accept_new_options=item.id == "kit_currency",
            )
            or ""
        )  # fmt: skip
    if item.kind == "choices":
        choices = dict(item.choices)
        if item.id == "at_hand":
            choices[_NONE] = "none of these"
        chosen = [part for part in before.split(", ") if part in choices]
        picked = st.pills(
            label, list(choices), selection_mode="multi", default=chosen, key=key,
            format_func=lambda id: _sentence(choices[id]), label_visibility="collapsed",
        )  # fmt: skip
        return ", ".join(picked)
    shown = before or (str(default) if default != DONT_KNOW else "")
    written = st.text_input(label, value=shown, key=key, label_visibility="collapsed", autocomplete="off")
    return written or ""


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _choices(item: Question) -> dict[str, str]:
    """Give what may be chosen; a kit may come from anywhere, the likely countries first."""
    return dict(item.choices) if not item.anywhere else {**item.choices, **_elsewhere(item)}


def _elsewhere(item: Question) -> dict[str, str]:
    return {code: name for code, name in country_names().items() if code not in item.choices}


def _named(id: str, choices: dict[str, str], called: Mapping[str, tuple[str, ...]]) -> str:
    """Give what stands in the list: the name, and an everyday one where the name has letters few keyboards have."""
    name = choices.get(id, "")
    if not name.isascii() and called.get(id):
        name += f", {called[id][0].title()}"
    return f"{name} ({id})" if name else id


def _finish(standing: Standing) -> None:
    """Ask where the build goes, make it and open it."""
    st.subheader("Where shall it go?", anchor=False)
    text(
        "A build is a folder with one file that you can read and edit: every range in it is a starting value, yours "
        "to overwrite."
    )
    answers = standing.answers()
    with st.form("guided-create", border=False):
        name = st.text_input("Name", value=answers.name, key="guided-last-name", max_chars=200)
        folder = st.text_input(
            "Folder", value=str(free_folder(answers.name)), key=f"guided-folder-{answers.name}",
            help="Made if it does not exist. A build that is there already is never overwritten.",
        )  # fmt: skip
        with st.container(horizontal=True):
            make = st.form_submit_button("Create the build", type="primary")
            back = st.form_submit_button("Back")
    if back:
        go_to(previous(standing, END) or END)
        st.rerun()
    if make:
        try:
            item = question("name")
            named = stand(started()["written"] | {item.id: name})
            if named.wrong is not None:
                raise named.wrong
            file = create_build(typed_path(folder), named.answers())
        except (ForecastError, WrongAnswer) as error:
            tell(error if isinstance(error, ForecastError) else ForecastError(str(error)))
        else:
            begin_again()
            open_at_cost(file)


def typed_path(written: str) -> Path:
    """Read a path as it is typed or pasted: quotes around it are dropped, ``~`` is the home folder.

    Raises
    ------
    ForecastError
        If it is none, or a phone names anything but a new folder beside the builder's other builds: what stands
        elsewhere on this machine is not for phones to find out.
    """
    plain = written.strip().strip("\"'").strip()
    if not plain or "\0" in plain:
        message = "No folder is named. Write its path."
        raise ForecastError(message)
    try:
        path = Path(plain).expanduser().absolute()
    except RuntimeError:
        message = f"{plain}: there is no such home folder. Write the whole path."
        raise ForecastError(message) from None
    if on_phone() and (path.parent != _home().absolute() or path.name == ".."):
        message = (
            f"Other folders are named on the machine itself, not on a phone. Leave it at one in {_home()}."
        )
        raise ForecastError(message)
    return path


def on_phone() -> bool:
    """Tell whether this tab is on another machine than the dashboard."""
    try:
        return not ip_address(st.context.ip_address or "127.0.0.1").is_loopback
    except ValueError:  # without a server there is no address
        return False


def free_folder(name: str) -> Path:
    """Give a folder for a new build of that name that does not exist yet."""
    home = _home()
    plain = free_id(name, ()).replace("_", "-")
    taken = {folder.name for folder in home.iterdir()} if home.is_dir() else set[str]()
    return home / free_id(plain, {item.replace("-", "_") for item in taken}).replace("_", "-")


def _home() -> Path:
    """Give the folder in which builds are made where no other is named."""
    return user_folder() / "builds"


def open_at_cost(file: Path) -> None:
    """Open a build, and go to what it will cost."""
    choose_file(str(file.resolve()))
    st.switch_page("forecast/dashboard/stand.py")


def _so_far(start: Start, standing: Standing) -> None:
    """List the answers; each can be changed."""
    if not start["written"]:
        return
    unknown = sum(value is None for value in standing.values.values())
    passed = f", {unknown} not known" if unknown else ""
    with st.expander(f"Your answers so far: {len(standing.values)} of {len(standing.asked)}{passed}"):
        for item in standing.asked:
            if item.id in standing.values:
                said = _said(item, standing.values[item.id], start["written"][item.id])
                with st.container(horizontal=True, vertical_alignment="center"):
                    st.button(
                        safe(item.text), key=f"guided-to-{item.id}", on_click=calmly(go_to), args=(item.id,),
                        type="tertiary",
                    )  # fmt: skip
                    st.markdown(f"**{safe(said)}**")
        with st.container(horizontal=True):
            if start["at"] != END:
                st.button(
                    "That is enough: leave the rest open",
                    key="guided-enough",
                    on_click=calmly(go_to),
                    args=(END,),
                )
            st.button("Forget all answers", key="guided-forget", on_click=calmly(begin_again))


def _said(item: Question, value: Any, written: str) -> str:
    if value is None:
        return "I don't know"
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if item.kind == "choices":
        return ", ".join(item.choices[id] for id in value) or "none of these"
    if item.kind == "choice":
        return (
            _named(str(value), _choices(item), item.called)
            if len(item.choices) > FEW
            else item.choices[value]
        )
    return written or str(value)


__all__ = ["free_folder", "guided", "on_phone", "open_at_cost", "typed_path"]
