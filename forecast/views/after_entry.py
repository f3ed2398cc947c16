"""What an entry in the ledger did to the forecast, said where it was made: on its page and in the terminal."""

from __future__ import annotations

from dataclasses import dataclass

from forecast.engine.statistics import Estimate
from forecast.views.ending_words import verdict_sentence
from forecast.views.moves import EntryReason, entry_reasons
from forecast.views.sentences import watch_sentence
from forecast.watching.reforecast import Reforecast
from forecast.words.money import as_written, builds, estimated, signed


@dataclass(frozen=True)
class AfterEntry:
    """What an entry did to P80 and why.

    Attributes
    ----------
    move : str
        By how much P80 moved; or, where the entry ended the build, what it cost.
    change : float
        How far P80 moved, as it is written.
    reasons : tuple of EntryReason
    enough : str
        What the chances of the budget are now; empty where there is no budget.
    currency : str
    """

    move: str
    change: float = 0.0
    reasons: tuple[EntryReason, ...] = ()
    enough: str = ""
    currency: str = ""

    @property
    def whole(self) -> str:
        """All of it."""
        return " ".join(filter(None, (self.move, *(one.sentence for one in self.reasons), self.enough)))

    @property
    def shortly(self) -> str:
        """How far P80 moved; of the reasons the first, which names what was entered, and the one that moved it most.

        The others are one sum where they are more than one, so that what is told adds up.
        """
        most = max(self.reasons, key=lambda one: one.amount * self.change, default=None)
        told = [one for one in self.reasons if one is self.reasons[0] or one is most]
        others = [one for one in self.reasons if one not in told]
        rest = sum(one.amount for one in others)
        if len(others) > 1 and rest:
            told.append(EntryReason(f"{len(others)} other reasons: {signed(rest, self.currency)}."))
        else:
            told += others
        return " ".join((self.move, *(one.sentence for one in told)))


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
) -> AfterEntry:
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
        Whether something that was entered is taken back.
    strong : str
        Mark put before and after the key figures.
    """
    if not undone and now is not None and now.finished and not (earlier is not None and earlier.finished):
        # there is no P80 any more
        ended = (watch_sentence(now, strong=strong), verdict_sentence(now), why_there)
        return AfterEntry(" ".join(filter(None, ended)))
    # Each level is rounded by its own error, as in every other place; the change is that of the two as written.
    change = as_written(is_.value, currency, is_.error) - as_written(was.value, currency, was.error)
    level = f"{strong}{estimated(is_, currency)}{strong}"
    text = f"P80 stays at {level}."
    if change:
        text = f"P80 moved by {strong}{signed(change, currency)}{strong}, from {estimated(was, currency)} to {level}."
    reasons = () if now is None else entry_reasons(earlier, now, change, undone=undone)
    chances = "" if enough is None else f"Your budget is now enough in {builds(enough)}."
    return AfterEntry(text, change, reasons, chances, currency)
