"""What a tab has answered so far; a file keeps it too, so that neither a reload nor a restart loses an answer."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TypedDict, cast

import streamlit as st

from forecast.ledger.folder import user_folder
from forecast.start import DraftStanding, read_draft, stand, write_draft
from forecast.start.written_answers import OR_UNKNOWN

END = "end"
"""Where all questions are behind."""


class Start(TypedDict):
    """Plain values only, for whatever a session holds outlives a module.

    Attributes
    ----------
    written : dict
        Answers by question, as they were written; empty text takes the default.
    typed : dict
        What stood in a field, by question, when it was left by going back; no answer yet.
    before : dict or None
        The same before the last answer.
    at, last : str
        The question shown, and the one answered last.
    refused, wrong : str
        An answer that could not be used, and why.
    moved : bool
        Whether the question shown has just come, so that the keyboard goes to it.
    found : bool
        Whether the answers were there when the tab was opened.
    chips : bool
        Whether the question shown is answered by chips.
    """

    written: dict[str, str]
    typed: dict[str, str]
    before: dict[str, str] | None
    at: str
    last: str
    refused: str
    wrong: str
    moved: bool
    found: bool
    chips: bool


def draft_file() -> Path:
    """Give the file that keeps answers on the way."""
    return user_folder() / "guided-start.toml"


def started() -> Start:
    """Give what the tab has answered; on its first run what was kept."""
    if "start" not in st.session_state:
        written = read_draft(draft_file())
        st.session_state["start"] = _fresh(written)
    return cast(Start, st.session_state["start"])


def _fresh(written: dict[str, str]) -> Start:
    open_one = stand(written).first_open
    at = open_one.id if open_one is not None else END
    return Start(
        written=written, typed={}, before=None, at=at, last="", refused="", wrong="", moved=False,
        found=bool(written), chips=False,
    )  # fmt: skip


def go_to(place: str) -> None:
    """Show another question; what was refused is forgotten."""
    start = started()
    start.update({"at": place, "refused": "", "wrong": "", "moved": True, "found": False, "chips": False})


def take(question: str, text: str) -> None:
    """Take an answer that can be used, and go on to the next question, or to one that no longer fits."""
    start = started()
    start["before"], start["last"] = dict(start["written"]), question
    start["typed"].pop(question, None)
    # Another tab may have answered meanwhile: what it kept is not written over.
    start["written"] = start["written"] | read_draft(draft_file()) | {question: text}
    write_draft(draft_file(), start["written"])
    standing = stand(start["written"])
    go_to(_next(standing, question))
    if standing.wrong is not None and standing.first_open is not None:
        go_to(standing.first_open.id)
        start["refused"], start["wrong"] = (
            start["written"][standing.first_open.id],
            str(standing.wrong).removesuffix(OR_UNKNOWN),
        )


def go_on(question: str) -> None:
    """Go on from a question whose answer stays what it was."""
    start = started()
    start["typed"].pop(question, None)
    go_to(_next(stand(start["written"]), question))


def _next(standing: DraftStanding, question: str) -> str:
    ids = [item.id for item in standing.asked]
    place = ids.index(question) + 1
    return ids[place] if place < len(ids) else END


def previous(standing: DraftStanding, place: str) -> str | None:
    """Give the question before a place; None before the first."""
    ids = [*(item.id for item in standing.asked), END]
    number = ids.index(place)
    return ids[number - 1] if number else None


def refuse(text: str, why: str) -> None:
    """Keep an answer that cannot be used beside its question."""
    started().update({"refused": text, "wrong": why, "moved": False})


def begin_again() -> None:
    """Forget all answers."""
    with suppress(OSError):
        draft_file().unlink(missing_ok=True)
    st.session_state["start"] = _fresh({})


__all__ = [
    "END",
    "Start",
    "begin_again",
    "draft_file",
    "go_on",
    "go_to",
    "previous",
    "refuse",
    "started",
    "take",
]
