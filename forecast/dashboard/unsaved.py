"""What a tab has changed and not saved: edits of figures, and lines added or taken out, all plain values."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from contextlib import suppress
from pathlib import Path
from typing import Any, TypedDict, cast, get_args

import streamlit as st

from forecast.buildfile.changes import Change
from forecast.buildfile.sheet import changes, rows, with_changes
from forecast.dashboard.remembered import WITH_CHANGES, changed_text, parsed
from forecast.errors import ForecastError
from forecast.ledger.folder import user_folder
from forecast.tables.files import read_regular, write_file

_EVERYWHERE = "unsaved-shown-everywhere"
_CHANGES = {kind.__name__: kind for kind in get_args(Change)}
_DAY = "a day"
_LARGEST_DRAFT = 20_000_000


class EditedFile(TypedDict):
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
    """

    file: str
    text: str
    turn: int
    edits: dict[str, dict[str, Any]]
    unread: dict[str, dict[str, str]]
    more: list[Change]


def kept_for(file: str) -> EditedFile | None:
    """Give what is remembered of a file, if anything: by this tab, else by the draft that an earlier one left."""
    kept = cast("EditedFile | None", st.session_state.get("sheet"))
    if kept is not None and kept["file"] == file:
        return kept
    draft = _read_draft(file)
    if draft is not None:
        st.session_state["sheet"] = draft
    return draft


def draft_of(file: str) -> Path:
    """Give where changes of a build that are not kept stand, so that neither a reload nor a restart loses them."""
    name = hashlib.sha256(str(Path(file).resolve()).encode(errors="replace")).hexdigest()[:24]
    return user_folder() / "drafts" / f"{name}.json"


def keep_draft() -> None:
    """Write what this tab has changed and not kept, where it is not written yet; nothing where there is nothing."""
    kept = cast("EditedFile | None", st.session_state.get("sheet"))
    if kept is None:
        return
    file = draft_of(kept["file"])
    with suppress(OSError):  # a folder that cannot be written is no reason to fail
        if not (kept["edits"] or kept["unread"] or kept["more"]):
            if st.session_state.pop("draft", ""):  # one that this tab wrote or read, and no other tab's
                file.unlink(missing_ok=True)
            return
        more = [{"change": type(change).__name__, **vars(change)} for change in kept["more"]]
        parts = {name: kept[name] for name in ("file", "text", "edits", "unread")} | {"more": more}
        written = json.dumps(parts, default=_day_as_text)
        if st.session_state.get("draft") != written:
            file.parent.mkdir(parents=True, exist_ok=True)
            write_file(file, written.encode())
            st.session_state["draft"] = written


def _read_draft(file: str) -> EditedFile | None:
    """Read a draft; one that cannot be used is none."""
    try:
        written = read_regular(draft_of(file), _LARGEST_DRAFT).decode()
        found = json.loads(written, object_hook=_text_as_day)
        if found["file"] != file:
            return None
        more = [_CHANGES[part.pop("change")](**part) for part in found["more"]]
        edits, unread = dict(found["edits"]), dict(found["unread"])
        kept = EditedFile(file=file, text=str(found["text"]), turn=0, edits=edits, unread=unread, more=more)
        unsaved_changes(kept)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ForecastError):
        return None
    st.session_state["draft"] = written
    return kept


def _day_as_text(value: object) -> dict[str, str]:
    if isinstance(value, dt.date):
        return {_DAY: value.isoformat()}
    raise TypeError(type(value).__name__)


def _text_as_day(found: dict[str, Any]) -> Any:
    return dt.date.fromisoformat(found[_DAY]) if set(found) == {_DAY} else found


def unsaved_changes(kept: EditedFile) -> list[Change]:
    """Give all changes, those of figures last.

    Raises
    ------
    BuildFileError
        When what was added or taken out leaves no legal build.
    """
    build = parsed(with_more(kept), WITH_CHANGES)
    plain = rows(build)
    return [*kept["more"], *changes(build, plain, with_changes(plain, kept["edits"]))]


def with_more(kept: EditedFile) -> str:
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
