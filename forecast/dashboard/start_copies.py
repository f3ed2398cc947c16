"""Copies of the build in force: look whether all is whole, carry a backup away, put one back."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import streamlit as st

from forecast.dashboard.layout import safe, told_plainly
from forecast.dashboard.receipts_news import keep_news, news
from forecast.ledger.backup import copies, earlier_builds, find_copy, restore, verify, write_backup
from forecast.ledger.folder import BuildFolder
from forecast.tables.files import open_regular
from forecast.views.commands.copies import held_words, restored_words, verified_words


def copies_of(folder: BuildFolder) -> None:
    """Draw the section; it works for a build that cannot be opened, too."""
    st.subheader("Copies of the build that is open", anchor=False)
    st.markdown(
        "A copy is kept for each of the last ten days on which something was entered, and the last twenty texts of the "
        "build file. Carry a backup to another disk now and then."
    )
    news("copies")
    with told_plainly():
        with st.container(horizontal=True):
            st.download_button(
                "Download a backup", lambda: _backup(folder), mime="application/zip", key="backup", on_click="ignore",
                file_name=f"{folder.folder.name}-{dt.date.today().isoformat()}.zip",
            )  # fmt: skip
            look = st.button("Look whether all is whole", key="verify")
        if look:
            found = verify(folder)
            (st.error if found.wrong else st.success)(safe(verified_words(found)))
        with st.expander("Put a copy back"):
            _put_back(folder)


def _backup(folder: BuildFolder) -> bytes:
    with (
        tempfile.TemporaryDirectory(prefix="forecast-") as scratch,
        open_regular(write_backup(folder, Path(scratch) / "backup.zip").path) as file,
    ):
        return file.read()


def _put_back(folder: BuildFolder) -> None:
    known = {copy.name: copy for copy in (*copies(folder), *earlier_builds(folder))}
    name = st.selectbox(
        "Copy", list(known), index=None, placeholder="Choose one", key="copy-which",
        format_func=lambda one: f"{known[one].made:%Y-%m-%d %H:%M}: {held_words(known[one])}",
    )  # fmt: skip
    sent = st.file_uploader(
        "Or a backup that you kept", type=["zip"], key="copy-sent",
        help=f"A larger one goes back in the terminal: forecast restore {folder.folder} FILE",
    )  # fmt: skip
    only = st.checkbox("Only the ledger; the build file stays as it is", key="copy-ledger")
    st.markdown("How all stands now is kept as a copy first.")
    if not st.button("Put it back", key="copy-back", disabled=name is None and sent is None):
        return
    if sent is None:
        done = restore(folder, known[str(name)], build=not only)
    else:
        with tempfile.TemporaryDirectory(prefix="forecast-") as scratch:
            file = Path(scratch) / "sent.zip"
            file.write_bytes(sent.getvalue())
            done = restore(folder, find_copy(folder, file), build=not only)
    keep_news("copies", restored_words(done))
    st.rerun()
