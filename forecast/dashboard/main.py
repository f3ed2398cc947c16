"""The frame around every page: navigation, the build in force, and the scenario."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Iterable
from pathlib import Path

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from forecast.dashboard.layout import calmly, palette, safe, style, tell_any, told_late, told_plainly
from forecast.dashboard.printing import paper_head
from forecast.dashboard.receipts_news import news
from forecast.dashboard.saving import PLAN, make_plan
from forecast.dashboard.scripts import copied_plainly
from forecast.dashboard.shelf import SHELF
from forecast.dashboard.state import (
    Opened,
    begin,
    build_name,
    choose_file,
    choose_scenario,
    chosen,
    known_state,
    ledger_state,
    offered,
    opened,
    plan_of,
)
from forecast.dashboard.tray import foot, tray
from forecast.errors import BuildFileError, ForecastError
from forecast.ledger import Ledger
from forecast.ledger.folder import DEMOS, BuildFolder, demos, open_demo
from forecast.views.theme import Palette

_HERE = Path(__file__).parent
PAGES: tuple[tuple[str, str, str], ...] = (
    ("start.py", "Start or open a build", "start"),
    ("stand.py", "Where does it stand?", "stand"),
    ("cost.py", "What will it cost?", "cost"),
    ("lines.py", "The lines", "lines"),
    ("choose.py", "Do it or farm it out?", "choose"),
    ("receipts.py", "Receipts", "receipts"),
    ("watch.py", "Where does it end?", "watch"),
)
"""File, title and address of each page, in the order of the job."""
_FIRST = "stand"
"""The page shown on a build that is opened."""
_IN_ITS_FIELD = 32
"""Letters of a scenario's name that the sidebar's field shows; a longer one stands in full below it."""
ASKED, DRAWN = threading.Event(), threading.Event()
"""A first page is asked for, and has been drawn."""


def run(argument: str | None = None) -> None:
    """Draw the dashboard.

    Parameters
    ----------
    argument : str, optional
        A build file or its folder; the build open last, or the first demo, when left out.
    """
    ASKED.set()
    st.set_page_config(page_title="Forecast", layout="wide", initial_sidebar_state="auto")
    style()
    pages = [
        st.Page(_HERE / file, title=title, url_path=address, default=address == _FIRST)
        for file, title, address in PAGES
    ]
    page = st.navigation(pages)
    start = pages[0]
    view = None
    try:
        folder = BuildFolder(Path(begin(argument)["file"]))
        state = state_of(folder)  # before anything of it is read, so that no change slips in between
        follow(folder, state, palette())
        view = opened()
    except Exception as error:  # whatever it is: the frame stays, and another build can be opened
        if page is not start:
            _refused(error, start)
            return
    told_late()
    st.html(copied_plainly(), unsafe_allow_javascript=True)
    with st.sidebar:
        here, others = st.container(), st.container()
    if view is not None and page is not start:  # a build that is begun is not the one that is open
        with here, told_plainly():
            _open_now(view)
    # On a phone the sidebar covers the page and stays open after a tap: there the links stand at the foot as well.
    with st.container(key="phone-nav", horizontal=True):
        for link in pages:
            st.page_link(link)
    if view is not None and page is not start:
        with told_plainly():
            paper_head(view, dt.date.today())
    if view is not None and view.unsaved:
        st.caption("These figures hold your changes that are not saved yet.")
    if view is not None and page.url_path == "" and view.folder.is_demo:
        with st.container(key="demo-line"):
            st.html(
                "<style>.st-key-demo-line p { text-decoration: underline; text-underline-offset: 0.2em; }</style>"
            )
            st.page_link(start, label="This is a demo build. Start your own")
    body = st.container()
    with SHELF.in_hand(), foot():
        with body, told_plainly():
            page.run()
        if view is not None:
            with told_plainly():
                tray()
    with others, told_plainly():  # last: they are read from their files, and nobody waits for them
        _other_builds(starting=page is start)
    DRAWN.set()


def _refused(error: Exception, start: StreamlitPage) -> None:
    """Say why the build in force cannot be shown, and where another one can be opened."""
    broken = isinstance(error, BuildFileError)
    st.title("This build file needs mending" if broken else "This build cannot be opened")
    tell_any(error)
    told_late()
    if broken:
        st.markdown("Mend it in your editor, save it, and this page shows it.")
    st.markdown("Or put a copy back: Start or open a build, Open a build, Copies.")
    st.page_link(start)
    with st.sidebar, told_plainly():
        _other_builds(starting=False)


def _open_now(view: Opened) -> None:
    st.markdown(f"**{safe(view.build.name)}**")
    if view.build.build.notice:
        st.caption(safe(view.build.build.notice))
    _scenario(view)


def _scenario(view: Opened) -> None:
    names = {key: scenario.name or key.capitalize() for key, scenario in view.build.scenario.items()}
    if len(names) < 2:
        return
    file = chosen()["file"]
    key = f"scenario-{file}"  # so that one build's scenario is never offered to another
    # It shows the scenario that the figures are of, wherever they have it from.
    if st.session_state.get(key) != view.scenario:
        st.session_state[key] = view.scenario
    st.selectbox(
        "Scenario",
        list(names),
        format_func=names.__getitem__,
        key=key,
        on_change=lambda: choose_scenario(file, st.session_state[key]),
    )
    shown = names.get(view.scenario or "", "")
    if len(shown) > _IN_ITS_FIELD:
        st.caption(safe(shown))
    if view.scenario != plan_of(view):
        st.caption(safe(f"Only looked at: your plan is \u201c{names[plan_of(view)]}\u201d."))
        st.button("Make this my plan", key="make-plan", on_click=calmly(make_plan), args=(view,))
    news(PLAN)


def _other_builds(*, starting: bool) -> None:
    lately = offered()
    here = chosen()["file"] if "chosen" in st.session_state and not starting else ""
    taken = False
    with st.expander("Open a build" if starting else "Open another build"):
        for path, name in lately.items():
            if path != here:
                taken |= st.button(
                    safe(name),
                    key=f"open-{path}",
                    on_click=calmly(choose_file),
                    args=(path,),
                    width="stretch",
                )
        for demo in _unopened(demos(), lately):
            name = build_name(BuildFolder(DEMOS / demo / "build.toml"))  # as its own page calls it
            taken |= st.button(
                f"Demo: {safe(name)}", key=f"demo-{demo}", on_click=calmly(_take_demo), args=(demo,), width="stretch"
            )  # fmt: skip

    if taken and starting:
        st.switch_page(_HERE / f"{_FIRST}.py")


def _unopened(names: Iterable[str], lately: Iterable[str]) -> list[str]:
    there = {Path(path).parent.name for path in lately}
    return [name for name in names if name not in there]


def _take_demo(name: str) -> None:
    choose_file(str(open_demo(name).build_file))


EVERY = 3.0
"""Seconds between two looks at the build file and the ledger; a look takes a few thousandths of one."""


def state_of(folder: BuildFolder) -> str:
    """Give a name for what stands on disk: another one after every edit of the file and every entry."""
    try:
        state = ""
        if folder.has_ledger():
            path = folder.receipts_db
            state = known_state(str(path)) or ledger_state(Ledger(path))
        return f"{_stamp(folder.build_file)} {state}"
    except ForecastError as error:  # what is wrong is told by the page itself
        return f"{_stamp(folder.build_file)} {error}"


def _stamp(file: Path) -> str:
    try:
        found = file.stat()
    except OSError as error:
        return str(error.errno)
    return f"{found.st_mtime_ns} {found.st_size}"


@st.fragment(run_every=EVERY)
@told_plainly()
def follow(folder: BuildFolder, drawn: str, look: Palette) -> None:
    """Draw all anew when the build is no longer what was drawn, or the browser's look is another.

    Parameters
    ----------
    folder : BuildFolder
    drawn : str
        Its `state_of` when this run of the page began.
    look : Palette
        In which charts were drawn: on the other paper they could hardly be read.
    """
    if palette() != look or state_of(folder) != drawn:
        st.rerun()
