"""What the page on where it ends computes, kept for all tabs by what it depends on."""

from __future__ import annotations

import datetime as dt

from forecast.buildfile.schema import Build
from forecast.dashboard.remembered import remembered
from forecast.dashboard.shelf import SHELF, shelved
from forecast.dashboard.state import Opened, ledger_state, record_of
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.plan import compile_plan
from forecast.engine.replay import Replay
from forecast.ledger import Ledger
from forecast.watching.history import MOST_DAYS, History, HistoryPoint, Progress, history
from forecast.watching.moved import Moved, what_moved

_ENTRIES = 24


def anything_entered(view: Opened) -> bool:
    """Tell whether the ledger holds anything that a forecast depends on."""
    return view.ledger is not None and bool(record_of(view.ledger).days())


def history_of(view: Opened, *, all_days: bool, progress: Progress) -> History:
    """Give the forecast as of each day on which something was entered, or in a large build of those that matter."""
    assert view.ledger is not None
    return _history(*_key(view), all_days, view.build, view.ledger, progress)


def moved_between(view: Opened, since: dt.date, until: dt.date | None) -> Moved:
    """Split what moved between two days; until now where the second is left out."""
    assert view.ledger is not None
    days = since.isoformat(), "" if until is None else until.isoformat()
    return _moved(*_key(view), *days, view.build, view.ledger)


def _key(view: Opened) -> tuple[str, str, int, int, str]:
    return (
        view.build.fingerprint(), view.scenario or "", DEFAULT_TRIALS, DEFAULT_SEED, ledger_state(view.ledger)
    )  # fmt: skip


@shelved("", keys=6, state=4, rank=2)
def _history(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, all_days: bool, _build: Build,
    _ledger: Ledger, _progress: Progress,
) -> History:  # fmt: skip
    most = MOST_DAYS if all_days else None
    points = _points(fingerprint, scenario, trials, seed)

    def after_a_day(done: int, of: int) -> None:
        SHELF.give_way()  # a history takes seconds, and what other pages show a tenth of one
        _progress(done, of)

    return history(
        _build, _ledger, scenario or None, trials, seed, most=most, progress=after_a_day, earlier=points,
        replay=_replay(fingerprint, scenario, trials, seed, _build),
    )  # fmt: skip


@remembered(keys=4, most=_ENTRIES)
def _points(fingerprint: str, scenario: str, trials: int, seed: int) -> dict[str, HistoryPoint]:
    """Give the points of days gone by, for the next history: a receipt of today changes none of them."""
    return {}


@shelved("", keys=7, state=4)
def _moved(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, since: str, until: str, _build: Build,
    _ledger: Ledger,
) -> Moved:  # fmt: skip
    first, last = dt.date.fromisoformat(since), dt.date.fromisoformat(until) if until else None
    replay = _replay(fingerprint, scenario, trials, seed, _build)
    return what_moved(_build, _ledger, first, last, scenario or None, trials, seed, replay=replay)


@shelved("", keys=4)
def _replay(fingerprint: str, scenario: str, trials: int, seed: int, _build: Build) -> Replay:
    """Give a build's draws: whatever is entered, they are the same."""
    return Replay(compile_plan(_build, scenario or None), trials, seed)
