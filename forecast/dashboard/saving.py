"""Changes to the build file from the dashboard: kept by a button, undone by another, never over somebody else's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypedDict, cast

import streamlit as st

from forecast.build.buildfile import parse_build, read_text
from forecast.build.edit import Change, changed, difference, save_build, stamp
from forecast.dashboard.layout import tell
from forecast.dashboard.state import Opened
from forecast.errors import ForecastError

_MOST_UNDO = 20


class Kept(TypedDict):
    """What a tab remembers of the file that it edits: plain values only.

    Attributes
    ----------
    file, text : str
        Path, and the text that the sheet shows.
    turn : int
        Grows when the sheet is to begin anew.
    edits : dict
        Unsaved edits by row, so that leaving the page does not lose them.
    past : list of str
        Earlier texts, the last one last.
    """

    file: str
    text: str
    turn: int
    edits: dict[int, dict[str, Any]]
    past: list[str]


@dataclass(frozen=True)
class Sheet:
    """The file as this tab's sheet shows it.

    Attributes
    ----------
    text : str
    key : str
        Of the grid: another one for another text, so that edits are never replayed on other rows.
    theirs : str or None
        What stands in the file now, where it is not what the sheet shows and edits are unsaved.
    """

    text: str
    key: str
    theirs: str | None

    def drop(self) -> None:
        """Forget unsaved edits."""
        kept = _kept()
        kept["edits"] = {}
        kept["turn"] += 1


def _kept() -> Kept:
    return cast(Kept, st.session_state["sheet"])


def edits() -> dict[int, dict[str, Any]]:
    """Give the unsaved edits by row."""
    return _kept()["edits"]


def remember_edits(found: dict[int, dict[str, Any]]) -> None:
    """Remember unsaved edits by row."""
    _kept()["edits"] = found


def opened_sheet(view: Opened) -> Sheet:
    """Give the file as the sheet shows it: as it stands now, or as it was when unsaved edits began."""
    file, now = str(view.folder.build_file), read_text(view.folder.build_file)
    kept = cast("Kept | None", st.session_state.get("sheet"))
    if kept is None or kept["file"] != file:
        kept = Kept(file=file, text=now, turn=0, edits={}, past=[])
        st.session_state["sheet"] = kept
    if kept["text"] != now and not kept["edits"]:
        kept["text"] = now
        kept["turn"] += 1
    theirs = now if kept["text"] != now else None
    return Sheet(kept["text"], f"lines-{stamp(kept['text'])[:16]}-{kept['turn']}", theirs)


def keep(view: Opened, changes: list[Change], loaded: Sheet) -> None:
    """Save changes on top of what the sheet shows, and begin anew; on failure say why and keep the edits."""
    _save(view, changed(loaded.text, changes), loaded.text)


def keep_on_theirs(view: Opened, changes: list[Change], theirs: str) -> None:
    """Save changes on top of what somebody else saved meanwhile."""
    try:
        text = changed(theirs, changes)
    except ForecastError as error:
        tell(error)
        return
    _save(view, text, theirs)


def _save(view: Opened, text: str, read: str) -> None:
    try:
        save_build(view.folder.build_file, text, read)
    except ForecastError as error:
        tell(error)
        return
    kept = _kept()
    kept["past"] = [*kept["past"], read][-_MOST_UNDO:]
    kept["text"], kept["edits"] = text, {}
    kept["turn"] += 1
    st.rerun()


def show_difference(loaded: Sheet) -> None:
    """Show what somebody else changed."""
    if loaded.theirs is not None:
        st.code(difference(loaded.text, loaded.theirs), language="diff")


def take_theirs() -> None:
    """Forget unsaved edits, so that the next run shows the file as it stands."""
    kept = _kept()
    kept["edits"] = {}
    kept["turn"] += 1


class _Undo:
    """Takes the last kept change back, if nobody changed the file since."""

    def possible(self, view: Opened) -> bool:
        """Tell whether there is anything to take back."""
        kept = cast("Kept | None", st.session_state.get("sheet"))
        return bool(kept and kept["past"] and kept["file"] == str(view.folder.build_file))

    def __call__(self, view: Opened) -> None:
        kept = _kept()
        earlier = kept["past"][-1]
        parse_build(earlier)
        save_build(view.folder.build_file, earlier, kept["text"])
        kept["past"] = kept["past"][:-1]
        kept["text"], kept["edits"] = earlier, {}
        kept["turn"] += 1


undo = _Undo()
