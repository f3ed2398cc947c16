"""The guided start: one question after the other, and after each what to hold, kept by what was answered."""

from __future__ import annotations

from collections.abc import Mapping
from ipaddress import ip_address
from pathlib import Path

import streamlit as st

from forecast.buildfile.reader import parse_build
from forecast.buildfile.sheet import free_id
from forecast.dashboard.layout import answer, calmly, palette, picture, safe, tell, text
from forecast.dashboard.scripts import focus
from forecast.dashboard.start_ask import ask, said
from forecast.dashboard.start_draft import END, Start, begin_again, go_to, previous, started
from forecast.dashboard.state import choose_file
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, simulate
from forecast.errors import ForecastError
from forecast.ledger.folder import user_folder
from forecast.start import (
    DONT_KNOW,
    DraftStanding,
    WrongAnswer,
    create_build,
    is_counted,
    place_words,
    question,
    stand,
    write_build,
)
from forecast.views.charts.cost_charts import narrowing
from forecast.views.sentences import above_middles, budget_sentence, hold_sentence, hold_words
from forecast.words.money import about, as_written, signed
from forecast.words.text import STRONG


def sketch(written: Mapping[str, str]) -> Forecast | None:
    """Forecast the build that answers make, open ones counted as not known.

    Returns
    -------
    Forecast or None
        Of the scenario that the first page would show; None where an open question must be answered first.
    """
    try:
        return _sketch(tuple(written.items()), DEFAULT_TRIALS, DEFAULT_SEED)
    except WrongAnswer:
        return None


# By what was answered: each drawing of the page asks for two or three of them, and writing a build out takes a third of
# drawing it.
@st.cache_resource(max_entries=64, show_spinner=False)
def _sketch(written: tuple[tuple[str, str], ...], trials: int, seed: int) -> Forecast:
    build = parse_build(write_build(stand(dict(written)).answers()))
    return simulate(build, next(iter(build.scenario), None), trials, seed, keep="totals")


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
            ask(start["at"])
    _so_far(start, standing)  # above the picture, which is drawn late and would push it from under a finger
    if now is not None:
        _of_what(standing, now)
        nothing = sketch(
            {key: text for key, text in start["written"].items() if key in ("country", "currency")}
        )
        told = nothing is not None and nothing.percentile(0.8).value != now.percentile(0.8).value
        stages = [("Nothing known", nothing)] if told and nothing is not None else []
        shown, look = [*stages, ("With your answers", now)], palette()
        picture(lambda: narrowing(shown, look), key="narrowing")


def _answer(start: Start, standing: DraftStanding, now: Forecast | None) -> None:
    """Say what to hold and what the last answer did; all else stands below the question, which a phone shows whole."""
    if not start["written"]:
        answer(
            "What will it cost to convert your car's bodywork with a kit, and how sure is that?",
            f"Some twenty questions, and after each one what to {STRONG}hold{STRONG}: to have in the bank before you "
            "order.",
            "\u201cI don't know\u201d is always an answer: it widens the range, and you can come back to it until the "
            "build is made.",
        )
        return
    if now is None:
        answer("What to hold follows when the rate of the kit's currency is told.")
        return
    budget = standing.values.get("budget")
    answer(
        _hold(now),
        budget_sentence(now, budget, strong=STRONG) if budget is not None else "",
        _move(start, now),
    )


def _hold(now: Forecast) -> str:
    return hold_words(now.percentile(0.8), 0.8, None, now.currency, STRONG)


def _of_what(standing: DraftStanding, now: Forecast) -> None:
    """Say of how many answers that is, what the middle figures add up to, and why half of builds cost more."""
    given = sum(value is not None for value in standing.values.values())
    told = "your answer" if given == 1 else f"your {given} answers"
    rest = len(standing.asked) - given
    questions = "the other question" if rest == 1 else "the other questions"
    if rest > 1 and is_counted(standing.values):
        questions = f"the other {rest} questions"
    counted = f" and {questions}, which {'counts' if rest == 1 else 'count'} as not known" if rest else ""
    middles = _USUAL if standing.values.get("kit_price") is None else _OWN
    added_up = hold_sentence(now, strong=STRONG, middles=middles).removeprefix(_hold(now)).strip()
    text(f"That is from {told}{counted}. {added_up}")
    if why := above_middles(now, middles):
        st.caption(safe(why))


_USUAL, _OWN = "the usual figures", "your kit's price and the usual figures"
"""What is added up: of the figures that a build is made of, the guided start asks for one."""


def _move(start: Start, now: Forecast) -> str:
    """Say what the last answer did, where it is another answer and not another currency."""
    before = start["before"]
    if not before or not start["last"] or before == start["written"]:
        return ""
    was = sketch(before)
    if was is None or was.currency != now.currency:
        return ""
    old, new = was.percentile(0.8), now.percentile(0.8)
    written = [as_written(part.value, now.currency, part.error) for part in (old, new)]
    told = []
    if written[0] != written[1]:
        change = signed(
            written[1] - written[0], now.currency
        )  # both stood on the page: what is printed adds up
        told.append(f"Your last answer moved what to hold by {STRONG}{change}{STRONG}.")
    elif start["written"].get(start["last"]) != DONT_KNOW:
        told.append("Your last answer left that as it is.")
    bases = [as_written(part.base_estimate, now.currency) for part in (was, now)]
    if start["last"] == "at_hand" and bases[1] > bases[0]:
        told.append(
            f"What you did not name is now sure to be bought: the usual figures add up to "
            f"{about(bases[1] - bases[0], now.currency)} more."
        )
    return " ".join(told)


def _finish(standing: DraftStanding) -> None:
    """Ask where the build goes, make it and open it."""
    st.subheader("Where shall it go?", anchor=False)
    text(
        "A build is a folder with one file that you can read and edit: every range in it is a starting value, yours "
        "to overwrite."
    )
    _still_open(standing)
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
    if started()["moved"]:
        started()["moved"] = False
        st.html(focus(END), unsafe_allow_javascript=True)
    if back:
        go_to(previous(standing, END) or END)
        st.rerun()
    if make:
        try:
            item = question("name")
            if not name.strip():
                found = "The build has no name"
                raise WrongAnswer(found, f"Write one, such as {item.default}.")
            named = stand(started()["written"] | {item.id: name})
            if named.wrong is not None:
                raise named.wrong
            file = create_build(typed_path(folder), named.answers())
        except (ForecastError, WrongAnswer) as error:
            tell(error if isinstance(error, ForecastError) else ForecastError(str(error)))
        else:
            begin_again()
            open_at_cost(file)


def _still_open(standing: DraftStanding) -> None:
    """Name the questions that are open: this is the last place to answer them, and where they are found afterwards."""
    unknown = [item for item in standing.asked if standing.values.get(item.id) is None]
    if not unknown:
        return
    one = len(unknown) == 1
    text(
        f"{'One question is' if one else f'{len(unknown)} questions are'} open. Answer {'it' if one else 'them'} here: "
        f"once the build is made, what {'it asks' if one else 'they ask'} stands in wide ranges on the page of lines."
    )
    with st.container(horizontal=True, key="guided-open"):
        for item in unknown[:_SHOWN_OPEN]:
            st.button(
                safe(item.text), key=f"guided-open-{item.id}", on_click=calmly(go_to), args=(item.id,),
                type="tertiary",
            )  # fmt: skip
    if len(unknown) > _SHOWN_OPEN:
        st.caption("The others stand under \u201cYour answers so far\u201d.")


_SHOWN_OPEN = 5
"""So many open questions are named at the end; all stand among the answers."""


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


def _so_far(start: Start, standing: DraftStanding) -> None:
    """List the answers; each can be changed."""
    if not start["written"]:
        return
    unknown = sum(value is None for value in standing.values.values())
    passed = f", {unknown} of them \u201cI don't know\u201d" if unknown else ""
    # Its heading stays the same while answers come in: under another one it would be a new fold, and shut.
    with st.expander("Your answers so far", key="guided-so-far"):
        counted = place_words(len(standing.values), len(standing.asked), standing.values)
        st.markdown(f"{counted} answered{passed}.")
        # Above the list: below it, each answer that comes in would push them away and draw them anew.
        with st.container(horizontal=True):
            if start["at"] != END:
                st.button(
                    "That is enough: leave the rest open",
                    key="guided-enough",
                    on_click=calmly(go_to),
                    args=(END,),
                )
            st.button("Forget all answers", key="guided-forget", on_click=calmly(begin_again))
        for item in standing.asked:
            if item.id in standing.values:
                words = said(item, standing.values[item.id], start["written"][item.id], standing.values)
                with st.container(horizontal=True, vertical_alignment="center"):
                    st.button(
                        safe(item.text), key=f"guided-to-{item.id}", on_click=calmly(go_to), args=(item.id,),
                        type="tertiary",
                    )  # fmt: skip
                    st.markdown(f"**{safe(words)}**")
