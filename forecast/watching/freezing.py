"""Freezing the budget: the sum committed to, kept with the build as it is now."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from forecast.buildfile.changes import SetBuild
from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.edit import edit_build
from forecast.buildfile.reader import parse_build, read_text
from forecast.engine.forecast import Forecast, simulate
from forecast.errors import LedgerError
from forecast.ledger import Baseline
from forecast.ledger.folder import BuildFolder
from forecast.watching.known_facts import forecast_given
from forecast.watching.reforecast import scenario_in_force
from forecast.watching.standing import Record
from forecast.words.minor_units import exponent, to_float


@dataclass(frozen=True)
class Frozen:
    """A budget as frozen, for which way, and in what share of builds it is enough with what is paid and agreed.

    Attributes
    ----------
    baseline : Baseline
    chance : float
    way : str
    earlier : Baseline or None
        The one whose place it takes.
    """

    baseline: Baseline
    chance: float
    way: str
    earlier: Baseline | None = None


_SELDOM, _TIMES = 0.05, 3.0


def unusual_budget(now: Forecast, budget: float) -> Literal["too little", "too much"] | None:
    """Tell whether a sum is hardly a budget of a build: seldom enough, or several times what nearly all builds cost.

    Parameters
    ----------
    now : Forecast
        From what is paid, agreed and said.
    budget : float
    """
    if now.chance_within(budget).value < _SELDOM:
        return "too little"
    return "too much" if budget > _TIMES * now.percentile(0.9).value else None


def own_budget(budget: float | None, currency: str) -> int | None:
    """Give the build file's own budget in minor units; None where it has none."""
    if budget is None:
        return None
    return int((Decimal(str(budget)) * 10 ** exponent(currency)).to_integral_value())


def freeze(
    folder: BuildFolder, budget_minor: int, scenario: str | None, trials: int, seed: int, note: str = "",
    ask: Callable[[Forecast], None] = lambda _: None,
) -> Frozen:  # fmt: skip
    """Keep a budget as the baseline, with the build file word for word and what the simulation says of it.

    Parameters
    ----------
    folder : BuildFolder
    budget_minor : int
        In the build's currency, above zero.
    scenario : str or None
        The plan when left out. Where the file names another one as the plan, this one takes its place there.
    trials, seed : int
    note : str, optional
    ask : callable, optional
        Asks whether it is meant, by the forecast as things stand, before anything is kept; raises where it is not.

    Raises
    ------
    LedgerError
        If the sum is not above zero, or the ledger cannot be written.
    """
    text = read_text(folder.build_file)  # read once: what is kept is what was simulated
    build = parse_build(text, str(folder.build_file))
    own = build.build.currency
    if budget_minor <= 0:
        message = (
            f"budget: got {to_float(budget_minor, own):g}, must be above zero. Say the sum you commit to."
        )
        raise LedgerError(message)
    ledger = folder.ledger()
    earlier = ledger.baseline()
    way = scenario_in_force(build, scenario, earlier)
    forecast = simulate(build, way, trials, seed)
    known = Record.read(ledger).standing()
    now = forecast_given(build, way, trials, seed, known) if known.says_something else forecast
    ask(now)
    if way is not None and build.build.way not in (None, way):  # the plan alone: what was simulated holds
        text = edit_build(folder.build_file, [SetBuild("way", way)])
        build = parse_build(text, str(folder.build_file))
    chance = now.chance_within(to_float(budget_minor, own)).value
    scale = 10 ** exponent(own)
    baseline = ledger.freeze_baseline(
        budget_minor, own,
        fingerprint=build.fingerprint(), build_text=text, seed=seed, trials=trials,
        scenario=forecast.plan.scenario, note=note,
        base_by_line={line.id: round(line.base * scale) for line in forecast.lines},
    )  # fmt: skip
    return Frozen(baseline, chance, "" if way is None else scenario_title(build, way), earlier)
