"""What a tab has changed and not saved: edits of figures, and lines added or taken out, all plain values."""

from __future__ import annotations

from typing import Any, TypedDict, cast

import streamlit as st

from forecast.build.edit import Change
from forecast.build.sheet import changes, rows, with_changes
from forecast.dashboard.reading import WITH_CHANGES, changed_text, parsed

_EVERYWHERE = "unsaved-shown-everywhere"


class Kept(TypedDict):
    """What a tab remembers of the file that it edits.

    Attributes
    ----------
    file, text : str
        Path, and the text that the changes began from.
    turn : int
        Grows when the sheet is to begin anew.
    edits : dict
        Edited figures by path, so that leaving the page does not lose them.
    unread : dict
        What was typed into the sheet and is no number, or can mean two, by path and column.
    more : list of Change
        Lines and events added, taken out or answered, and settings; made before the edits.
    past : list of str
        Earlier texts, the last one last.
    """

    file: str
    text: str
    turn: int
    edits: dict[str, dict[str, Any]]
    unread: dict[str, dict[str, str]]
    more: list[Change]
    past: list[str]


def kept_for(file: str) -> Kept | None:
    """Give what is remembered of a file, if anything."""
    kept = cast("Kept | None", st.session_state.get("sheet"))
    return kept if kept is not None and kept["file"] == file else None


def unsaved_changes(kept: Kept) -> list[Change]:
    """Give all changes, those of figures last.

    Raises
    ------
    BuildFileError
        When what was added or taken out leaves no legal build.
    """
    build = parsed(with_more(kept), WITH_CHANGES)
    plain = rows(build)
    return [*kept["more"], *changes(build, plain, with_changes(plain, kept["edits"]))]


def with_more(kept: Kept) -> str:
    """Give the text with what was added or taken out, edits of figures left out."""
    return changed_text(kept["text"], kept["more"])


def shown_everywhere() -> bool:
    """Tell whether all pages are to show the build with what is not saved yet."""
    return bool(st.session_state.get(_EVERYWHERE))


def show_everywhere(*, on: bool) -> None:
    """Have all pages show the build with what is not saved yet, or only the page of lines."""
    st.session_state[_EVERYWHERE] = on


def text_in_force(file: str, now: str) -> tuple[str, bool]:
    """Give the text that pages show, and whether it holds what is not saved.

    Parameters
    ----------
    file, now : str
        Path, and what stands in the file.
    """
    kept = kept_for(file)
    if kept is None or not shown_everywhere() or kept["text"] != now:
        return now, False
    pending = unsaved_changes(kept)
    return (changed_text(now, pending), True) if pending else (now, False)
