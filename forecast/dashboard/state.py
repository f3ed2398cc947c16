"""What one browser tab has chosen, and forecasts kept for all tabs by what they depend on."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, cast

import streamlit as st

from forecast.build.schema import Build
from forecast.decide.contingency import Contingency, contingency
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, simulate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError
from forecast.spending.folder import BuildFolder, demos, open_demo, recent_folders, remember
from forecast.spending.ledger import Baseline, Ledger
from forecast.spending.money import to_float
from forecast.views.charts.watch import Standpoint

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
    ledger : Ledger or None
        None as long as nothing was ever entered.
    baseline : Baseline or None
        The budget as committed.
    """

    folder: BuildFolder
    build: Build
    scenario: str | None
    ledger: Ledger | None
    baseline: Baseline | None

    @property
    def currency(self) -> str:
        """ISO 4217 code of its money."""
        return self.build.build.currency

    @property
    def budget(self) -> float | None:
        """What the builder commits to: the frozen baseline, else what the build file says."""
        if self.baseline is not None:
            return to_float(self.baseline.budget_minor, self.baseline.currency)
        return self.build.build.budget

    def ledger_to_write(self) -> Ledger:
        """Open the ledger, made on first use."""
        return self.ledger or Ledger(self.folder.receipts_db, currency=self.currency)

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
    ledger = Ledger(folder.receipts_db, currency=build.build.currency) if folder.has_ledger() else None
    baseline = ledger.baseline() if ledger is not None else None
    committed = baseline.scenario if baseline is not None else None
    first = next(iter(build.scenario), None)
    wanted = next((name for name in (choice["scenario"], committed) if name in build.scenario), first)
    return Opened(folder, build, wanted, ledger, baseline)


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
    return _frozen(simulate(_build, scenario or None, trials, seed, keep="rows"))


def _frozen(forecast: Forecast) -> Forecast:
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


def ledger_state(ledger: Ledger | None, as_of: dt.date | None = None) -> str:
    """Give a name for what a ledger says, or said on a day: the same for the same content."""
    if ledger is None:
        return ""
    content = (
        ledger.list_receipts(as_of, include_void=True),
        ledger.list_marks(as_of),
        ledger.list_commitments(as_of),
        ledger.list_still_to_buy(as_of),
    )
    return hashlib.sha256(repr(content).encode()).hexdigest()


def after(view: Opened, as_of: dt.date | None = None) -> Forecast:
    """Forecast a build given all that its ledger says, now or as it stood on a day."""
    return _after(
        view.build.fingerprint(), view.scenario or "", DEFAULT_TRIALS, DEFAULT_SEED, ledger_state(view.ledger, as_of),
        as_of.isoformat() if as_of is not None else "", view.build, view.ledger,
    )  # fmt: skip


@st.cache_resource(max_entries=_ENTRIES, show_spinner="Simulating …")
def _after(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, as_of: str, _build: Build,
    _ledger: Ledger | None,
) -> Forecast:  # fmt: skip
    known = facts(_build, scenario or None, _ledger, as_of or None)
    return _frozen(simulate(_build, scenario or None, trials, seed, known=known, keep="rows"))


def facts(build: Build, scenario: str | None, ledger: Ledger | None, as_of: str | None) -> KnownFacts:
    """Turn what a ledger says into facts for the engine."""
    if ledger is None:
        return KnownFacts()
    plan = compile_plan(build, scenario)
    rows = {row.id for row in plan.rows}
    gates = {gate.id for gate in plan.gates}
    paid = {k: to_float(v, build.build.currency) for k, v in ledger.paid_by_line(as_of).items() if k in rows}
    closed = {line for line in ledger.closed_lines(as_of) if line in rows}
    events = {k: m.state == "happened" for k, m in ledger.event_states(as_of).items() if m.state != "open"}
    return KnownFacts(
        {line: paid.get(line, 0.0) for line in closed},
        {line: value for line, value in paid.items() if line not in closed and value > 0},
        {k: v for k, v in events.items() if k in gates},
    )


def standpoint(view: Opened, as_of: dt.date) -> Standpoint:
    """Give the forecast final cost as it stood on a day; later receipts leave it as it was."""
    return _standpoint(
        view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger, as_of), as_of.isoformat(), view
    )  # fmt: skip


@st.cache_resource(max_entries=2_000, show_spinner="Going back in time …")
def _standpoint(fingerprint: str, scenario: str, state: str, as_of: str, _view: Opened) -> Standpoint:
    known = facts(_view.build, scenario or None, _view.ledger, as_of)
    forecast = simulate(
        _view.build, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, known=known, keep="totals"
    )
    low, half, eight, high = forecast.percentile_set((0.1, 0.5, 0.8, 0.9))
    paid = sum(_view.ledger.paid_by_line(as_of).values()) if _view.ledger is not None else 0
    return Standpoint(
        dt.date.fromisoformat(as_of), low.value, half.value, eight.value, high.value,
        to_float(paid, _view.currency), eight.error,
    )  # fmt: skip
