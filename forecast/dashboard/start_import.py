"""Lines from the builder's own list: how it was read, what becomes of each row, and where the lines go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypedDict, cast

import streamlit as st

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.dashboard.layout import answer, calmly, safe, table, tell, text
from forecast.dashboard.saving import kept_now, opened_sheet
from forecast.dashboard.start_guided import free_folder, open_at_cost, typed_path
from forecast.dashboard.state import Opened, opened
from forecast.errors import ForecastError
from forecast.start import put_build, question
from forecast.start.listing import ROLES, build_of_list, lines_to_add
from forecast.views.listing_words import (
    STATES,
    LineList,
    check_decided,
    count_sentence,
    figures,
    layout_sentence,
    open_list,
    proposed_columns,
)

_LARGEST_MB = 5
_NOTHING = ""
_ESTIMATES, _KNOWN = "estimates", "known"
_MEANING = {
    _ESTIMATES: "Estimates: put a starting range of 15 % less to 35 % more around them, invented, mine to overwrite",
    _KNOWN: "Known: paid, or agreed with a seller",
}
_DELIMITERS = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}
_MOST_SHOWN = 200


class Sent(TypedDict):
    """The list that was sent, kept while other pages are looked at."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Goal:
    """Where the lines go: a build, or a new one.

    Attributes
    ----------
    currency : str
        In which the list's prices are.
    build : Build or None
        With what is not saved yet; None for a new one.
    """

    currency: str
    build: Build | None
    view: Opened | None


def lines_from_list() -> None:
    """Draw the way from a list to lines of a build."""
    top = st.container()
    file = st.file_uploader(
        "A list of lines, CSV or XLSX", type=["csv", "tsv", "txt", "xlsx"], key="list-file",
        max_upload_size=_LARGEST_MB,
    )  # fmt: skip
    if file is not None:
        st.session_state["list"] = Sent(name=file.name, content=file.getvalue())
    sent = cast("Sent | None", st.session_state.get("list"))
    if sent is None:
        with top:
            answer("Keep your lines in a spreadsheet already? Each row becomes a line with its range.")
        _example()
        return
    if file is None:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(safe(f"{sent['name']} is still here."))
            st.button("Take it away", key="list-away", on_click=calmly(_forget), type="tertiary")
    try:
        goal = _goal()
        found = _read(sent, goal)
        with top:
            answer(count_sentence(found))
        _preview(found)
        _take(found, goal)
    except ForecastError as error:
        tell(error)


def _example() -> None:
    text(
        "Put headings above it. These are known in several languages, and you can say what a column holds where it is "
        "taken for something else:"
    )
    rows = [
        ["Grinding discs", "consumables", "40", "60", "120", "", "", "", ""],
        ["Filler", "consumables", "", "", "", "5.5", "kg", "12", ""],
        ["Tow hire", "other", "", "80", "", "", "", "", "30 %"],
    ]
    headings = ["Name", "Group", "Low", "Middle", "High", "Quantity", "Unit", "Price of one", "Chance"]
    table(headings, rows, "An example: only a name and one price are needed", left=2)


def _forget() -> None:
    for key in [key for key in st.session_state if str(key).startswith("list")]:
        del st.session_state[key]


def _goal() -> Goal:
    """Ask where the lines go."""
    try:
        view: Opened | None = opened(saved=True)
    except ForecastError:
        view = None
    ways = ["A new build"] if view is None else ["A new build", f"Into {view.build.name}"]
    way = st.radio(
        "Where the lines go",
        range(len(ways)),
        format_func=lambda at: safe(ways[at]),
        key="list-goal",
        persist_state="session",
    )
    if way == 1 and view is not None:
        build = parse_build(opened_sheet(view).text)
        return Goal(build.build.currency, build, view)
    item = question("currency")
    codes = list(item.choices)
    currency = st.selectbox(
        "Currency of its prices",
        codes,
        index=codes.index(view.currency if view else "EUR"),
        key="list-currency",
        persist_state="session",
    )
    return Goal(currency or "EUR", None, None)


def _read(sent: Sent, goal: Goal) -> LineList:
    """Read the list as it is recognised, and as the builder knows better."""
    known = st.radio(
        "Prices that stand alone, without a low and a high, are", [_ESTIMATES, _KNOWN], key="list-known",
        persist_state="session", format_func=_MEANING.__getitem__,
    )  # fmt: skip
    words = st.empty()
    how = st.expander("Read it otherwise")
    told: dict[str, Any] = {"content": sent["content"]}
    with how:
        left, middle, right = st.columns(3)
        parted = left.selectbox(
            "Between cells stands", list(_DELIMITERS), index=None, placeholder="as recognised",
            format_func=_DELIMITERS.__getitem__, key="list-delimiter", persist_state="session",
        )  # fmt: skip
        written = middle.selectbox(
            "Encoding",
            ["utf-8", "cp1252", "utf-16"],
            index=None,
            placeholder="as recognised",
            key="list-encoding",
            persist_state="session",
        )
        mark = right.selectbox(
            "Decimal mark", [".", ","], index=None, placeholder="as recognised", key="list-decimal",
            persist_state="session", format_func={".": "point", ",": "comma"}.__getitem__,
        )  # fmt: skip
        told |= {"delimiter": parted, "encoding": written}
        headings, guessed = proposed_columns(sent["name"], **told)
        columns = _columns(headings, guessed)
    leave_out = [int(row) for row in st.session_state.get("list-leave-out", [])]
    found = open_list(
        sent["name"], goal.currency, build=goal.build, decimal=mark, columns=columns, known=known == _KNOWN,
        leave_out=leave_out, **told,
    )  # fmt: skip
    words.caption(safe(layout_sentence(found)))
    return found


def _columns(headings: tuple[str, ...], guessed: dict[str, str]) -> dict[str, str]:
    """Ask of each column what it holds."""
    roles = {heading: role for role, heading in guessed.items()}
    options = [_NOTHING, *ROLES]
    held: dict[str, str] = {}
    named = [heading for heading in dict.fromkeys(headings) if heading]
    fields = [
        field for _ in named[::2] for field in st.columns(2)
    ]  # in the order of the list on a phone as well
    for field, heading in zip(fields, named, strict=False):
        role = field.selectbox(
            f"Column \u201c{safe(heading)}\u201d holds", options, index=options.index(roles.get(heading, _NOTHING)),
            format_func=lambda role: ROLES.get(role, "nothing that is needed"), key=f"list-column-{heading}",
        )  # fmt: skip
        if role:
            held[role] = heading
    return {role: held.get(role, _NOTHING) for role in {*guessed, *held}}


def _preview(found: LineList) -> None:
    shown = found.rows[:_MOST_SHOWN]
    rows = [[f"{row.number} {row.name}", STATES[row.state], *figures(row), row.group] for row in shown]
    more = f", the first {len(shown)} of {len(found.rows)}" if len(shown) < len(found.rows) else ""
    table(
        ["Row", "Becomes", "Low", "Middle", "High", "Group"], rows, f"What becomes of each row{more}",
        left=2, right_text=1,
    )  # fmt: skip
    bad = [problem for row in found.rows for problem in row.problems]
    if bad:
        st.error("  \n".join(safe(str(problem)) for problem in bad[:20]))
        if len(bad) > 20:
            st.caption(f"And {len(bad) - 20} more.")
    names = {row.number: row.name for row in found.rows}
    st.multiselect(
        "Rows to leave out", list(names), key="list-leave-out", persist_state="session", placeholder="None",
        select_all=False,
        format_func=lambda number: f"{number}: {names.get(number, '')}",
    )  # fmt: skip


def _take(found: LineList, goal: Goal) -> None:
    """Ask for the last word, and take all lines or none."""
    if found.open_decimal:
        st.warning(
            safe(
                f"{found.doubt}, and no other number tells: say under \u201cRead it otherwise\u201d which mark is "
                "the decimal one."
            )
        )
    ready = not found.of_state("bad") and not found.open_decimal
    if goal.build is not None:
        text(
            "They are added below the lines that are there, comments kept; nothing is saved before you keep it."
        )
        if st.button("Add the lines", type="primary", key="list-add", disabled=not ready):
            check_decided(found)
            kept_now()["more"].extend(lines_to_add(found.rows))
            _forget()
            st.switch_page("forecast/dashboard/lines.py")
        return
    countries = dict(question("country").choices)
    with st.form("list-create", border=False):
        name = st.text_input("Name", value="My conversion", key="list-name", max_chars=200)
        country = st.selectbox(
            "Country whose customs and tax rules hold", list(countries), index=None, key="list-country",
            format_func=lambda code: f"{countries[code]} ({code})", placeholder="Choose, or type to search",
        )  # fmt: skip
        folder = st.text_input(
            "Folder", value=str(free_folder("My conversion")), key="list-folder",
            help="Made if it does not exist. A build that is there already is never overwritten.",
        )  # fmt: skip
        make = st.form_submit_button("Create the build", type="primary", disabled=not ready)
    if make:
        if not name.strip() or country is None:
            missing = "a name" if not name.strip() else "a country"
            message = f"The build needs {missing}."
            raise ForecastError(message)
        check_decided(found)
        file = put_build(typed_path(folder), build_of_list(name, goal.currency, country, found.rows))
        _forget()
        open_at_cost(file)
