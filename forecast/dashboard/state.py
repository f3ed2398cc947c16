"""What one browser tab has chosen, and forecasts kept for all tabs by what they depend on."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, cast

import streamlit as st

from forecast.buildfile.reader import read_text
from forecast.buildfile.schema import Build
from forecast.buildfile.toml import parse_toml
from forecast.dashboard.remembered import parsed, remembered
from forecast.dashboard.shelf import LIMIT, NEWEST, shelved
from forecast.dashboard.unsaved import text_in_force
from forecast.decide.contingency import Contingency, contingency
from forecast.decide.made import ways_left
from forecast.decide.scenarios import Comparison, compare_forecasts
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, simulate
from forecast.engine.plan import compile_plan
from forecast.engine.replicate import Keep
from forecast.engine.statistics import Estimate
from forecast.errors import BuildFileError
from forecast.ledger import Baseline, Ledger, NewReceipt
from forecast.ledger.folder import BuildFolder, demos, open_demo, recent_folders, remember
from forecast.views.sentences import NarrowLine, narrow_line
from forecast.watching.known_facts import forecast_given, with_outside
from forecast.watching.reforecast import Reforecast, reforecast, scenario_in_force
from forecast.watching.settling import Likely, likely_answers, titles_of
from forecast.watching.standing import Record, Standing
from forecast.words.minor_units import to_float
from forecast.words.text import STRONG

_ENTRIES = 24
"""Answers kept of each kind that takes little room; what holds trials lies on the shelf."""
LARGE = LIMIT // 4
"""Bytes of trials of one way of a build above which the ways do not all have room on the shelf."""


class Chosen(TypedDict):
    """What a tab has chosen: plain values only, for whatever a session holds outlives a module.

    Attributes
    ----------
    file : str
        Path of the build file.
    scenarios : dict
        Id of the scenario chosen, by build file; a build of which none was chosen is not in it.
    """

    file: str
    scenarios: dict[str, str]


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
    unsaved : bool
        Whether the build holds changes that are not in its file yet.
    """

    folder: BuildFolder
    build: Build
    scenario: str | None
    ledger: Ledger | None
    baseline: Baseline | None
    unsaved: bool = False

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

    @property
    def key(self) -> tuple[str, str, str]:
        """What every figure of it depends on: the build, the scenario and what the ledger says by now."""
        return self.build.fingerprint(), self.scenario or "", ledger_state(self.ledger)

    def ledger_to_write(self) -> Ledger:
        """Open the ledger, made on first use."""
        return self.ledger or self.folder.ledger()

    def titles(self) -> dict[str, str]:
        """Give the name of each line and event."""
        return titles_of(self.build, self.scenario, self.ledger)


def begin(argument: str | None) -> Chosen:
    """Give the tab's choice, made on its first run: the build asked for, the last one open, or the first demo."""
    if "chosen" not in st.session_state:
        if argument is not None:
            folder = BuildFolder.at(argument)
        else:
            lately = recent_folders()
            folder = lately[0] if lately else open_demo(demos()[0])
        choose_file(str(folder.build_file))
    return chosen()


def chosen() -> Chosen:
    """Give what this tab has chosen."""
    return cast(Chosen, st.session_state["chosen"])


def choose_file(path: str) -> None:
    """Take another build; the scenario chosen of each stays."""
    scenarios = chosen()["scenarios"] if "chosen" in st.session_state else {}
    st.session_state["chosen"] = Chosen(file=str(Path(path).resolve()), scenarios=scenarios)
    remember(BuildFolder(Path(path)))


def plan_of(view: Opened) -> str:
    """Give the way that is the builder's plan, which every answer is of unless another is looked at; "" for none."""
    return scenario_in_force(view.build, None, view.baseline) or ""


def choose_scenario(file: str, scenario: str) -> None:
    """Take another scenario of one build.

    Parameters
    ----------
    file : str
        Path of the build it belongs to: a browser can send the selector of the build left when another is in force.
    scenario : str
    """
    chosen()["scenarios"][file] = scenario


def opened(*, saved: bool = False) -> Opened:
    """Read the build in force from disk, so that an edit made elsewhere is never missed.

    Parameters
    ----------
    saved : bool
        The file as it stands, even where all pages are to show it with what is not saved yet.

    Raises
    ------
    BuildFileError
        With every mistake in the file.
    """
    choice = chosen()
    folder = BuildFolder(Path(choice["file"]))
    text, unsaved = read_text(folder.build_file), False
    if not saved:
        try:
            text, unsaved = text_in_force(str(folder.build_file), text)
            build = parsed(text, str(folder.build_file))
        except BuildFileError:  # the tray says what is wrong with the changes
            text, unsaved = read_text(folder.build_file), False
    build = parsed(text, str(folder.build_file))
    return _as_opened(folder, build, choice["scenarios"].get(choice["file"]), unsaved=unsaved)


def _as_opened(folder: BuildFolder, build: Build, picked: str | None, *, unsaved: bool) -> Opened:
    ledger, baseline = _ledger_of(folder, build.build.currency)
    wanted = picked if picked in build.scenario else scenario_in_force(build, None, baseline)
    return Opened(folder, build, wanted, ledger, baseline, unsaved)


def foresee(argument: str | None) -> Forecast | Reforecast | None:
    """Work out what the first tab will show of the build that it opens, before any tab is there.

    Parameters
    ----------
    argument : str, optional
        As for `begin`; a demo that nobody opened yet is left to it, which makes a copy.

    Returns
    -------
    Forecast, Reforecast or None
        What is kept for it now; None where there is nothing to open yet.
    """
    lately = [BuildFolder.at(argument)] if argument is not None else recent_folders()
    if not lately:
        return None
    folder = BuildFolder(Path(lately[0].build_file).resolve())
    view = _as_opened(
        folder, parsed(read_text(folder.build_file), str(folder.build_file)), None, unsaved=False
    )
    return before(view) if known_by_now(view) is None else watched(view)


def _ledger_of(folder: BuildFolder, currency: str) -> tuple[Ledger | None, Baseline | None]:
    """Open a build's ledger, checked anew whenever its files changed: opening takes as long as half of a page."""
    if not folder.has_ledger():
        return None, None
    path = str(folder.receipts_db)
    stand = _files(path), currency
    if stand[0] is not None and _OPENED.get(path, (None,))[0] == stand:
        return _OPENED[path][1:]
    ledger = folder.ledger_to_read(currency)
    baseline = ledger.baseline()
    if stand[0] is not None and _files(path) == stand[0]:
        if len(_OPENED) >= _ENTRIES:
            _OPENED.clear()
        _OPENED[path] = stand, ledger, baseline
    return ledger, baseline


_OPENED: dict[str, tuple[tuple[str | None, str], Ledger, Baseline | None]] = {}


def offered() -> dict[str, str]:
    """List builds to open: name by path, those of late first, then demo builds not opened yet."""
    found: dict[str, str] = {}
    for folder in recent_folders():
        found[str(folder.build_file)] = build_name(folder)
    return found


def build_name(folder: BuildFolder) -> str:
    """Give a build's name, or its folder's where the file cannot be read."""
    try:
        return _named(read_text(folder.build_file)) or folder.folder.name
    except Exception:  # a list of builds never fails for one of them
        return folder.folder.name


@remembered(keys=1, most=48)
def _named(text: str) -> str:
    """Give the name that stands in a build file; its lines and ranges are nothing to a list of builds."""
    return str(parse_toml(text, "build file", "")["build"]["name"])


def before(view: Opened, scenario: str | None = None, like: Forecast | None = None) -> Forecast:
    """Forecast a build from its ranges alone, whatever is paid by now; sooner with one ``like`` it."""
    wanted = scenario if scenario is not None else view.scenario
    return _before(view.build.fingerprint(), wanted or "", DEFAULT_TRIALS, DEFAULT_SEED, view.build, like)


# Keys are text and numbers only: models and arrays are never hashed.
@shelved("Simulating …", keys=4, rank=0)
def _before(
    fingerprint: str, scenario: str, trials: int, seed: int, _build: Build, _like: Forecast | None
) -> Forecast:
    return _frozen(simulate(_build, scenario or None, trials, seed, keep="rows", like=_like))


def _frozen(forecast: Forecast) -> Forecast:
    for array in (forecast.trials.totals, forecast.trials.hours, forecast.trials.rows):
        if array is not None:
            array.setflags(write=False)  # all tabs look at the same one
    return forecast


def known_by_now(view: Opened) -> Standing | None:
    """Give what the ledger says; None where it says nothing that a forecast depends on."""
    if view.ledger is None:
        return None
    return _known_by_now(ledger_state(view.ledger), view.ledger)


@remembered(keys=1, most=_ENTRIES)
def _known_by_now(state: str, _ledger: Ledger) -> Standing | None:
    found = record_of(_ledger).standing()
    return found if found.says_something else None


def record_of(ledger: Ledger) -> Record:
    """Give all that a ledger says that a forecast depends on."""
    return _record(ledger_state(ledger), ledger)


@remembered(keys=1, most=_ENTRIES)
def _record(state: str, _ledger: Ledger) -> Record:
    return Record.read(_ledger)


def as_it_stands(view: Opened, scenario: str | None = None) -> Forecast:
    """Forecast a build from what is paid, agreed and said, and from the ranges of what is open."""
    known, wanted = known_by_now(view), scenario if scenario is not None else view.scenario
    if known is None:
        return before(view, wanted)
    watch = watched(view) if wanted == view.scenario else None  # the very trials that are watched
    key = view.build.fingerprint(), wanted or "", ledger_state(view.ledger)
    return _as_it_stands(*key, view.build, known, watch)


@shelved("Simulating …", keys=3, state=2, rank=0)
def _as_it_stands(
    fingerprint: str, scenario: str, state: str, _build: Build, _known: Standing, _watch: Reforecast | None
) -> Forecast:
    if _watch is not None:
        return with_outside(_watch.now, _watch.outside)
    return _frozen(forecast_given(_build, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, _known))


def if_narrow_line(view: Opened) -> NarrowLine | None:
    """Say what to hold if the builder's ranges are as narrow as most people's."""
    state = ledger_state(view.ledger)
    return _if_narrow(
        view.build.fingerprint(), view.scenario or "", state, as_it_stands(view), known_by_now(view)
    )


@shelved("", keys=3, state=2, rank=0)
def _if_narrow(
    fingerprint: str, scenario: str, state: str, _forecast: Forecast, _known: Standing | None
) -> NarrowLine | None:
    return narrow_line(_forecast, _known, strong=STRONG)


def contingency_of(view: Opened, level: float) -> Contingency:
    """Split the contingency at a level."""
    state = ledger_state(view.ledger)
    return _contingency(
        view.build.fingerprint(), view.scenario or "", state, level, as_it_stands(view), view.build
    )


@shelved("Splitting the contingency …", keys=4, state=2, rank=0)
def _contingency(
    fingerprint: str, scenario: str, state: str, level: float, _forecast: Forecast, _build: Build
) -> Contingency:
    names = {cause.id: cause.name for cause in _build.cause if cause.name}
    return contingency(_forecast, level, names=names)


def compared(view: Opened, *, before_receipts: bool = False) -> Comparison:
    """Compare the ways of doing the build, trial by trial; as it stands, or as it stood before the first receipt.

    As it stands, those that do no work again which is done; see `forecast.decide.made`.
    """
    state = "" if before_receipts else ledger_state(view.ledger)
    return _compared(view.build.fingerprint(), state, DEFAULT_TRIALS, DEFAULT_SEED, view)


@shelved("Comparing …", keys=4, state=1)
def _compared(fingerprint: str, state: str, trials: int, seed: int, _view: Opened) -> Comparison:
    known = known_by_now(_view) if state else None
    ways = ways_left(_view.build, known) if state else tuple(_view.build.scenario)
    forecasts = {name: _to_compare(_view, name, known, trials, seed) for name in ways}
    names = {name: _view.build.scenario[name].name or name.capitalize() for name in ways}
    return compare_forecasts(forecasts, names)


def _to_compare(view: Opened, name: str, known: Standing | None, trials: int, seed: int) -> Forecast:
    """Give what a way costs, to be compared with others; that of a large build is let go of afterwards.

    A page holds all that it asked for until it ends, and the rows of one way of a large build are as much as the shelf
    has room for. Who looks at another way of it next has it worked out again.
    """
    rows = len(compile_plan(view.build, name).rows)
    if name == view.scenario or rows * trials * 8 <= LARGE:
        return before(view, name) if known is None else as_it_stands(view, name)
    keep: Keep = (
        "totals" if view.build.build.own_hour_value is None else "rows"
    )  # own work has a row to itself
    return forecast_given(view.build, name, trials, seed, known, keep)


def ledger_state(ledger: Ledger | None) -> str:
    """Give a name for what a ledger says: another one after whatever is entered, a frozen budget included."""
    if ledger is None:
        return ""
    path = str(ledger.path)
    files = _files(path)
    known = known_state(path, files)
    if known is not None:
        return known
    last = ledger.recent(1)  # every table only grows, and each row of each is noted there
    state = f"{path} {last[0].id} {last[0].at.isoformat()}" if last else f"{path} 0 -"
    NEWEST[path] = state
    if files is not None:
        _STATES[path] = files, state
    return state


def known_state(path: str, files: str | None = None) -> str | None:
    """Give the `ledger_state` of a file that has not changed since it was asked for; None where it has to be opened."""
    files = files or _files(path)
    seen, state = _STATES.get(path, ("", ""))
    return state if files is not None and seen == files else None


_STATES: dict[str, tuple[str, str]] = {}
_TICK = 100_000_000
"""Nanoseconds within which a file's time may stand still although it is written twice."""


def _files(path: str) -> str | None:
    """Give a name for how a ledger's files stand; None just after a write, when their times say too little."""
    found = []
    for file in (path, f"{path}-wal"):
        with suppress(OSError):
            seen = os.stat(file)
            if file == path or seen.st_size:  # who looks makes an empty one
                found.append((seen.st_ino, seen.st_size, seen.st_mtime_ns))
    if not found or time.time_ns() - max(when for *_, when in found) < _TICK:
        return None
    return repr(found)


def watched(view: Opened) -> Reforecast | None:
    """Forecast the final cost given all that the ledger says; None as long as nothing was ever entered."""
    if view.ledger is None:
        return None
    key = (view.build.fingerprint(), view.scenario or "", DEFAULT_TRIALS, DEFAULT_SEED)
    return _watched(*key, ledger_state(view.ledger), view.build, view.ledger, before(view))


@shelved("Simulating …", keys=5, state=4, rank=0)
def _watched(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, _build: Build, _ledger: Ledger,
    _before: Forecast,
) -> Reforecast:  # fmt: skip
    watch = reforecast(_build, _ledger, scenario or None, trials, seed, before=_before)
    _frozen(watch.now)
    return watch


def likely_of(view: Opened, receipt: NewReceipt, chosen: Mapping[str, bool | None]) -> dict[str, Likely]:
    """Give how a builder would likely answer whether a receipt is all for its lines, with what is chosen of some.

    See `likely_answers`.
    """
    what = repr((receipt, sorted(chosen.items())))
    key = (view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger), what)
    return _likely(*key, view.build, view.ledger, receipt, dict(chosen))


@shelved("", keys=4, state=2, rank=0)
def _likely(
    fingerprint: str, scenario: str, state: str, what: str, _build: Build, _ledger: Ledger | None,
    _receipt: NewReceipt, _chosen: Mapping[str, bool | None],
) -> dict[str, Likely]:  # fmt: skip
    def decide(name: str, likely: Likely) -> bool | None:
        return _chosen.get(name, likely.answer)

    return likely_answers(_build, _ledger, _receipt, scenario or None, decide)


def standing(view: Opened, like: Forecast | None = None) -> Forecast:
    """Give the forecast as it stands: from receipts where there are any, else from the ranges alone, as in `before`."""
    watch = watched(view)
    return before(view, like=like) if watch is None else with_outside(watch.now, watch.outside)


def headline(view: Opened) -> tuple[Estimate, float | None]:
    """Give P80 as it stands, and the chance that the budget is enough."""
    watch = watched(view)
    if watch is None:
        forecast = before(view)
        enough = forecast.chance_within(view.budget).value if view.budget is not None else None
        return forecast.percentile(0.8), enough
    over = watch.chance_of_overrun
    return watch.percentile(0.8), None if over is None else 1 - over.value
