"""Opening a build that there is: by its folder, a demo, or a copy that is put back."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import streamlit as st

from forecast.buildfile.reader import read_build, read_text
from forecast.dashboard.layout import safe, tell, told_plainly
from forecast.dashboard.receipts_news import keep_news, news
from forecast.dashboard.remembered import parsed
from forecast.dashboard.start_guided import on_phone, open_at_cost, typed_path
from forecast.dashboard.state import build_name, chosen
from forecast.errors import BuildFileError, ForecastError
from forecast.ledger.backup import copies, earlier_builds, find_copy, restore, verify, write_backup
from forecast.ledger.folder import DEMOS, BuildFolder, demos, open_demo, recent_folders, user_folder
from forecast.tables.files import open_regular
from forecast.views.commands.copies import held_words, restored_words, verified_words
from forecast.words.day_words import long_day, short_moment
from forecast.words.money import exact


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
        format_func=lambda one: f"{short_moment(known[one].made)}: {held_words(known[one])}",
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


def own_builds() -> list[BuildFolder]:
    """List the builds opened lately that are the builder's own, the last one first."""
    return [folder for folder in recent_folders() if not folder.is_demo]


def open_builds() -> None:
    """Draw all ways to open a build."""
    st.subheader("Your builds", anchor=False)
    builds = own_builds()
    if not builds:
        st.markdown("None yet: what you begin or open here is listed from then on.")
    for number, folder in enumerate(builds):
        _build(folder, f"recent-{number}")
    if not on_phone():
        _by_path()
    here = _in_force()
    if here is not None:
        copies_of(BuildFolder(here))
    st.subheader("Demo builds", anchor=False)
    st.markdown("Complete builds with invented data. You get a copy of your own: change what you like.")
    for name in demos():
        _demo(name)


def _build(folder: BuildFolder, key: str) -> None:
    with st.container(key=key):
        if st.button(safe(build_name(folder)), key=f"open-{key}", width="content"):
            open_at_cost(folder.build_file)
        now = "Open now. " if _in_force() == folder.build_file else ""
        st.caption(safe(f"{now}{_state(folder)} Changed {_changed(folder)}. {folder.folder}"))


def _state(folder: BuildFolder) -> str:
    """Say in a line how far a build is; in words what is wrong where it cannot be read."""
    try:
        build = parsed(read_text(folder.build_file), str(folder.build_file))
        lines = len(build.line)
        told = f"{lines} {'line' if lines == 1 else 'lines'}"
        if not folder.has_ledger():
            waiting = folder.not_entered()
            return (
                f"{told}, no receipts yet." if waiting is None else f"{told}, {waiting.name} not entered yet."
            )
        receipts = folder.ledger_to_read(build.build.currency).list_receipts()
        count, paid = len(receipts), sum(receipt.paid_minor for receipt in receipts)
        noun = "receipt" if count == 1 else "receipts"
        return f"{told}, {exact(paid, build.build.currency)} paid in {count} {noun}."
    except BuildFileError:
        return "The build file needs mending."
    except Exception:  # a list of builds never fails for one of them
        return "It cannot be read."


def _in_force() -> Path | None:
    return Path(chosen()["file"]) if "chosen" in st.session_state else None


def _changed(folder: BuildFolder) -> str:
    times = [file.stat().st_mtime for file in (folder.build_file, folder.receipts_db) if file.exists()]
    if not times:
        return "never"
    day = dt.datetime.fromtimestamp(max(times)).astimezone().date()
    if day == dt.datetime.now().astimezone().date():
        return "today"
    return f"on {long_day(day)}"


def _demo(name: str) -> None:
    copy = user_folder() / "demos" / name
    with st.container(key=f"demo-row-{name}"), st.container(horizontal=True, vertical_alignment="center"):
        title = safe(read_build(DEMOS / name).name)
        try:
            if st.button(title, key=f"start-demo-{name}"):
                open_at_cost(open_demo(name).build_file)
            if (copy / "build.toml").exists() and st.button(
                "Start it over", key=f"afresh-{name}", type="tertiary", help="Your copy is put aside, not deleted."
            ):  # fmt: skip
                open_at_cost(open_demo(name, afresh=True).build_file)
        except ForecastError as error:
            tell(error)


def _by_path() -> None:
    with st.form("start-path", border=False):
        written = st.text_input(
            "Folder or build file on this machine", key="start-path-written", placeholder="~/builds/coupe",
            autocomplete="off",
        )  # fmt: skip
        wanted = st.form_submit_button("Open it")
    if not wanted:
        return
    try:
        folder = BuildFolder.at(typed_path(written))
        folder.read()
    except ForecastError as error:
        tell(error)
        return
    open_at_cost(folder.build_file)
