"""What the page of choices asks of the trials, kept by what the answers depend on."""

from __future__ import annotations

from forecast.buildfile.options import options_by_choice
from forecast.buildfile.schema import Build
from forecast.dashboard.shelf import shelved
from forecast.dashboard.state import Opened, known_by_now, ledger_state
from forecast.decide.choices import Elsewhere, Quotes, Settled, quotes_or_why
from forecast.decide.mix import Mixes, MixSearch
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.watching.standing import Standing


def mixes_within(view: Opened, money: float | None, hours: float | None, weeks: float | None) -> Mixes:
    """Go through every mix of the build, within limits of the builder's own.

    Parameters
    ----------
    view : Opened
    money, hours, weeks : float, optional
        See `forecast.decide.mix.MixSearch.within`.

    Raises
    ------
    SimulationError
        When there is nothing to choose, or too much.
    """
    key = view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger)
    return _within(*key, repr((money, hours, weeks)), view, (money, hours, weeks))


@shelved("", keys=4, state=2)
def _within(
    fingerprint: str, scenario: str, state: str, limits: str, _view: Opened,
    _limits: tuple[float | None, float | None, float | None],
) -> Mixes:  # fmt: skip
    every = _mixes_of(fingerprint, scenario, state, _view.build, known_by_now(_view))
    return every.within(*_limits)


# A search keeps the trials of all routes, so that any limits can be answered for.
@shelved("Trying every mix …", keys=3, state=2)
def _mixes_of(
    fingerprint: str, scenario: str, state: str, _build: Build, _known: Standing | None
) -> MixSearch:
    return MixSearch(_build, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, known=_known)


def quoted(view: Opened) -> tuple[Quotes | Settled | Elsewhere, ...]:
    """Compare the options of every choice of the build, or say why not."""
    state = ledger_state(view.ledger)
    return _quoted(view.build.fingerprint(), view.scenario or "", state, view.build, known_by_now(view))


@shelved("Simulating each quote …", keys=3, state=2)
def _quoted(
    fingerprint: str, scenario: str, state: str, _build: Build, _known: Standing | None
) -> tuple[Quotes | Settled | Elsewhere, ...]:
    choices = [choice for choice, options in options_by_choice(_build).items() if len(options) > 1]
    return tuple(
        quotes_or_why(_build, choice, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, _known)
        for choice in choices
    )
