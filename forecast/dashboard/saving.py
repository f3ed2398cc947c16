"""Changes to the build file from the dashboard: kept by a button, undone by another, never over somebody else's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import streamlit as st

from forecast.buildfile.changes import Change, SetBuild
from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.edit import can_undo_save, changed, edit_build, save_build, stamp, undo_save
from forecast.buildfile.reader import read_text
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import told_apart
from forecast.dashboard.layout import safe, tell, text
from forecast.dashboard.receipts_news import keep_news
from forecast.dashboard.remembered import WITH_CHANGES, parsed
from forecast.dashboard.state import Opened, opened
from forecast.dashboard.unsaved import EditedFile, keep_draft, kept_for, unsaved_changes, with_more
from forecast.errors import BuildFileError, ForecastError

TRAY = "tray"
"""Where it is said what was kept: at the foot, where the button stood."""

PLAN = "plan"
"""Where it is said which way is the plan now: beside the choice of the way."""


@dataclass(frozen=True)
class SheetFile:
    """The file as this tab's sheet shows it.

    Attributes
    ----------
    text : str
        With what was added or taken out, edits of figures left out.
    key : str
        Of the grid: another one for another text, so that edits are never replayed on other rows.
    theirs : str or None
        What stands in the file now, where it is not what the changes began from.
    problem : BuildFileError or None
        Why what was added or taken out cannot be shown; the text is then that of the file.
    """

    text: str
    key: str
    theirs: str | None
    problem: BuildFileError | None = None


def kept_now() -> EditedFile:
    """Give what the tab remembers; `opened_sheet` made it."""
    return cast(EditedFile, st.session_state["sheet"])


def opened_sheet(view: Opened) -> SheetFile:
    """Give the file as the sheet shows it: as it stands now, or as it was when unsaved changes began."""
    file, now = str(view.folder.build_file), read_text(view.folder.build_file)
    kept = kept_for(file)
    if kept is None:
        kept = EditedFile(file=file, text=now, turn=0, edits={}, unread={}, more=[])
        st.session_state["sheet"] = kept
    pending = kept["edits"] or kept["unread"] or kept["more"]
    if kept["text"] != now and (not pending or _stands(kept, now)):
        kept["text"], kept["edits"], kept["unread"], kept["more"] = now, {}, {}, []
        kept["turn"] += 1
    theirs = now if kept["text"] != now else None
    problem = None
    text = kept["text"]
    if kept["more"]:
        try:
            text = with_more(kept)
            parsed(text, WITH_CHANGES)
        except BuildFileError as error:
            text, problem = kept["text"], error
    return SheetFile(text, f"lines-{stamp(text)[:16]}-{kept['turn']}", theirs, problem)


def _stands(kept: EditedFile, now: str) -> bool:
    """Tell whether another tab kept these very changes."""
    if kept["unread"]:
        return False
    try:
        return changed(kept["text"], unsaved_changes(kept)) == now
    except BuildFileError:
        return False


def build_to_change() -> Build:
    """Give the build that changes are made to, what waits in the tray included."""
    return parsed(opened_sheet(opened(saved=True)).text, WITH_CHANGES)


def put(changes: list[Change]) -> None:
    """Lay changes in the tray: shown with their effect, written when kept."""
    kept_now()["more"].extend(changes)
    keep_draft()
    st.rerun()


def make_plan(view: Opened) -> None:
    """Write into the build file that the way looked at is the plan; beside other changes that wait it waits too."""
    changes: list[Change] = [SetBuild("way", view.scenario)]
    if unsaved_changes(kept_now()):
        kept_now()["more"].extend(changes)
        keep_draft()
    else:
        edit_build(view.folder.build_file, changes)
        keep_news(PLAN, f"\u201c{scenario_title(view.build, view.scenario or '')}\u201d is your plan now.")


def form_key(name: str) -> str:
    """Give the key of a form that is empty again once something of it is laid in the tray, and not when it is refused.

    Parameters
    ----------
    name : str
        Of its own on a page.
    """
    kept = kept_now()
    return f"{name}-{kept['turn']}-{len(kept['more'])}"


def drop() -> None:
    """Forget what is not saved; the next run shows the file as it stands."""
    kept = kept_now()
    kept["edits"], kept["unread"], kept["more"] = {}, {}, []
    kept["turn"] += 1
    keep_draft()


def keep(view: Opened, words: str) -> None:
    """Save what is not saved yet, begin anew and say what it did; on failure say why and keep it."""
    kept = kept_now()
    try:
        _save(view, changed(kept["text"], unsaved_changes(kept)), kept["text"], words)
    except ForecastError as error:
        tell(error)


def keep_on_theirs(view: Opened, theirs: str) -> None:
    """Save what is not saved yet on top of what somebody else saved meanwhile."""
    try:
        _save(
            view,
            changed(theirs, unsaved_changes(kept_now())),
            theirs,
            "Kept, on top of what was saved elsewhere.",
        )
    except ForecastError as error:
        tell(error)


def _save(view: Opened, text: str, read: str, words: str) -> None:
    save_build(view.folder.build_file, text, read)
    kept = kept_now()
    kept["text"], kept["edits"], kept["unread"], kept["more"] = text, {}, {}, []
    kept["turn"] += 1
    keep_draft()
    keep_news(TRAY, words)
    st.rerun()


def show_difference(loaded: str, theirs: str) -> None:
    """Say what somebody else changed."""
    try:
        found = told_apart(parsed(loaded, WITH_CHANGES), parsed(theirs, "The build file as it is now"))
    except BuildFileError as error:
        tell(error)
        return
    if not found:
        text("Only comments or the order of things: no figure changed.")
    st.markdown("\n".join(f"- {safe(sentence)}" for sentence in found))


def can_undo(view: Opened) -> bool:
    """Tell whether there is a kept change to take back, from this tab or any other, today or before."""
    return can_undo_save(view.folder.build_file)


def undo(view: Opened) -> None:
    """Take the last kept change back, if nobody changed the file by other means since.

    Raises
    ------
    EditedMeanwhileError
        When somebody did.
    """
    text, kept = undo_save(view.folder.build_file), kept_now()
    kept["text"], kept["edits"], kept["unread"], kept["more"] = text, {}, {}, []
    kept["turn"] += 1
    keep_draft()
