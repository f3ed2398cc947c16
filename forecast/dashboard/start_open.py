"""Builds to open: those of late, the demos, and any folder on this machine."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import streamlit as st

from forecast.buildfile.reader import read_build, read_text
from forecast.dashboard.layout import safe, tell
from forecast.dashboard.reading import parsed
from forecast.dashboard.start_copies import copies_of
from forecast.dashboard.start_guided import on_phone, open_at_cost, typed_path
from forecast.dashboard.state import build_name, chosen
from forecast.errors import BuildFileError, ForecastError
from forecast.ledger.folder import DEMOS, BuildFolder, demos, open_demo, recent_folders, user_folder
from forecast.words.money import exact


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
    return f"on {day.day} {day:%B %Y}"


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
