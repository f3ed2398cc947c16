"""What one browser tab has chosen, and forecasts kept for all tabs by what they depend on."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, cast

import streamlit as st

from forecast.build.schema import Build
from forecast.decide.contingency import Contingency, contingency
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, simulate
from forecast.errors import ForecastError
from forecast.spending.folder import BuildFolder, demos, open_demo, recent_folders, remember
from forecast.spending.ledger import Ledger
from forecast.views.sentences import hold_sentence

_ENTRIES = 24
"""Forecasts kept: about 7 MB each with the rows of a build of fifty lines."""


class Chosen(TypedDict):
    """What a tab has chosen: plain values only, for whatever a session holds outlives a module.

    Attributes
    ----------
    file : str
        Path of the build file.
    scenario : str
        Id; empty where the build has none.
    """

    file: str
    scenario: str


@dataclass(frozen=True)
class Opened:
    """The build in force, as one run of a page sees it.

    Attributes
    ----------
    folder : BuildFolder
    build : Build
    scenario : str or None
    """

    folder: BuildFolder
    build: Build
    scenario: str | None

    @property
    def currency(self) -> str:
        """ISO 4217 code of its money."""
        return self.build.build.currency

    @property
    def budget(self) -> float | None:
        """What the builder commits to."""
        return self.build.build.budget

    def titles(self) -> dict[str, str]:
        """Give the name of each line and event."""
        return {item.id: item.title for item in (*self.build.line, *self.build.event)}


def begin(argument: str | None) -> Chosen:
    """Give the tab's choice, made on its first run: the build asked for, the last one open, or the first demo."""
    if "chosen" not in st.session_state:
        if argument is not None:
            folder = BuildFolder.at(argument)
        else:
            lately = recent_folders()
            folder = lately[0] if lately else open_demo(demos()[0])
        st.session_state["chosen"] = Chosen(file=str(folder.build_file), scenario="")
    return chosen()


def chosen() -> Chosen:
    """Give what this tab has chosen."""
    return cast(Chosen, st.session_state["chosen"])


def choose_file(path: str) -> None:
    """Take another build."""
    st.session_state["chosen"] = Chosen(file=path, scenario="")
    remember(BuildFolder(Path(path)))


def choose_scenario(scenario: str) -> None:
    """Take another scenario."""
    chosen()["scenario"] = scenario


def opened() -> Opened:
    """Read the build in force from disk, so that an edit made elsewhere is never missed.

    Raises
    ------
    BuildFileError
        With every mistake in the file.
    """
    choice = chosen()
    folder = BuildFolder(Path(choice["file"]))
    build = folder.read()
    wanted = choice["scenario"] if choice["scenario"] in build.scenario else next(iter(build.scenario), None)
    return Opened(folder, build, wanted)


def offered() -> dict[str, str]:
    """List builds to open: name by path, those of late first, then demo builds not opened yet."""
    found: dict[str, str] = {}
    for folder in recent_folders():
        found[str(folder.build_file)] = build_name(folder)
    return found


def build_name(folder: BuildFolder) -> str:
    """Give a build's name, or its folder's where the file cannot be read."""
    try:
        return folder.read().name
    except ForecastError:
        return folder.folder.name


def before(view: Opened, scenario: str | None = None) -> Forecast:
    """Forecast a build from its ranges alone, whatever is paid by now."""
    wanted = scenario if scenario is not None else view.scenario
    return _before(view.build.fingerprint(), wanted or "", DEFAULT_TRIALS, DEFAULT_SEED, view.build)


# Keys are text and numbers only: Streamlit hashes big arrays by sample and models without their types.
@st.cache_resource(max_entries=_ENTRIES, show_spinner="Simulating …")
def _before(fingerprint: str, scenario: str, trials: int, seed: int, _build: Build) -> Forecast:
    forecast = simulate(_build, scenario or None, trials, seed, keep="rows")
    for array in (forecast.trials.totals, forecast.trials.hours, forecast.trials.rows):
        if array is not None:
            array.setflags(write=False)  # all tabs look at the same one
    return forecast


def contingency_of(view: Opened, level: float) -> Contingency:
    """Split the contingency at a level."""
    return _contingency(view.build.fingerprint(), view.scenario or "", level, before(view), view.build)


@st.cache_resource(max_entries=_ENTRIES, show_spinner="Splitting the contingency …")
def _contingency(
    fingerprint: str, scenario: str, level: float, _forecast: Forecast, _build: Build
) -> Contingency:
    names = {cause.id: cause.name for cause in _build.cause if cause.name}
    return contingency(_forecast, level, names=names)


def ledger_state(ledger: Ledger | None) -> str:
    """Give a name for what a ledger says, the same for the same content."""
    if ledger is None:
        return ""
    content = (
        ledger.list_receipts(include_void=True),
        ledger.list_marks(),
        ledger.list_commitments(),
        ledger.list_still_to_buy(),
        ledger.list_baselines(),
    )
    return hashlib.sha256(repr(content).encode()).hexdigest()


def first_sentence(view: Opened) -> str:
    """Say what to hold."""
    return hold_sentence(before(view), strong="**")
