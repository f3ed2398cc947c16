"""What an entry in the ledger did to the forecast, said where it was made: on its page and in the terminal."""

from __future__ import annotations

from forecast.engine.statistics import Estimate
from forecast.views.ending_words import verdict_sentence
from forecast.views.moves import entry_sentence
from forecast.views.sentences import watch_sentence
from forecast.watching.reforecast import Reforecast
from forecast.words.money import about, builds, rounding_step, signed


def after_entry(
    was: Estimate,
    earlier: Reforecast | None,
    is_: Estimate,
    now: Reforecast | None,
    currency: str,
    enough: float | None,
    why_there: str,
    *,
    undone: bool = False,
    strong: str = "",
) -> str:
    """Say by how much P80 moved, why where that is not plain, and what the chances are now.

    Parameters
    ----------
    was, is_ : Estimate
        P80 before the entry, and with it.
    earlier, now : Reforecast or None
        The forecasts that they are of; None where nothing was entered.
    currency : str
    enough : float, optional
        Chance that the budget is enough now.
    why_there : str
        Where it stands why a build ended as it did, for the entry that ends one.
    undone : bool
        Whether the entry was taken back: why it moved is then told already.
    strong : str
        Mark put before and after the key figures.
    """
    if not undone and now is not None and now.finished and not (earlier is not None and earlier.finished):
        # there is no P80 any more
        return " ".join(filter(None, (watch_sentence(now, strong=strong), verdict_sentence(now), why_there)))
    error = max(was.error, is_.error)
    step = rounding_step(currency, error)  # the change is that of the two figures as they are written
    shown = step * (round(is_.value / step) - round(was.value / step))
    level = f"{strong}{about(is_.value, currency, error)}{strong}"
    if shown:
        text = f"P80 moved by {strong}{signed(shown, currency, error)}{strong}, from "
        text += f"{about(was.value, currency, error)} to {level}."
    else:
        text = f"P80 stays at {level}."
    why = "" if undone or now is None else entry_sentence(earlier, now, shown)
    text = f"{text} {why}".rstrip()
    return text if enough is None else f"{text} Your budget is now enough in {builds(enough)}."
