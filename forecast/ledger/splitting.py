"""Splitting a receipt over lines so that it adds up exactly, and holding a statement against its own sums."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from forecast.errors import LedgerError
from forecast.words.minor_units import format_plain


def split_by_estimate(total: int, weights: Sequence[int | float | Decimal | Fraction]) -> tuple[int, ...]:
    """Split a sum in proportion to estimates, by the method of the largest remainder.

    Every part gets the whole minor units of its exact share; those left over go one each to the parts with
    the largest remainders, the earlier one first where two are equal. So the parts add up, and each is
    within one minor unit of its exact share.

    Parameters
    ----------
    total : int
        Minor units; may be negative, for a refund.
    weights : sequence of numbers
        Estimates, zero or more; all zero counts as all equal.

    Raises
    ------
    LedgerError
        If there is no weight, or one is negative or not finite.
    """
    try:
        shares = [Fraction(weight) for weight in weights]
    except (ValueError, OverflowError):  # not a number, or infinite
        shares = []
    if not shares or any(share < 0 for share in shares):
        message = (
            f"estimates to share by: found {', '.join(map(str, weights)) or 'none'}. Each is a number, none below "
            "zero: leave lines without one out."
        )
        raise LedgerError(message)
    if not any(shares):
        shares = [Fraction(1)] * len(shares)
    whole = sum(shares)
    exact = [abs(total) * share / whole for share in shares]
    parts = [int(share) for share in exact]
    left = abs(total) - sum(parts)
    by_remainder = sorted(range(len(parts)), key=lambda index: parts[index] - exact[index])
    for index in by_remainder[:left]:
        parts[index] += 1
    return tuple(-part if total < 0 else part for part in parts)


def split_rest(
    total: int,
    given: Mapping[str, int],
    others: Sequence[str],
    estimates: Mapping[str, int | float | Decimal] | None = None,
) -> tuple[tuple[str, int], ...]:
    """Keep the parts that are given and split the rest of a receipt over the other lines.

    Parameters
    ----------
    total : int
        The receipt, minor units.
    given : mapping of str to int
        Parts already known.
    others : sequence of str
        Lines that share the rest.
    estimates : mapping, optional
        Split by these; evenly when left out.

    Returns
    -------
    tuple of (str, int)
        Splits for ``Ledger.add_receipt``: the given ones, then the others.

    Raises
    ------
    LedgerError
        If the given parts exceed the receipt, a line stands twice, or there is no line for the rest.
    """
    rest = total - sum(given.values())
    twice = sorted({line for line in others if line in given or list(others).count(line) > 1})
    if twice:
        message = (
            f"line {twice[0]!r} stands twice. Name it once: with its sum, or among those that share the rest."
        )
        raise LedgerError(message)
    if rest < 0 <= total:
        message = "parts: those given come to more than the receipt. Correct one of them."
        raise LedgerError(message)
    weights = [1 if estimates is None else estimates.get(line, 0) for line in others]
    if not others and not rest:
        return tuple(given.items())
    return (*given.items(), *zip(others, split_by_estimate(rest, weights), strict=True))


@dataclass(frozen=True)
class StatementRow:
    """One row of a supplier's statement, in minor units.

    Attributes
    ----------
    kind : {"item", "subtotal", "total"}
        A subtotal covers the items since the last subtotal, a total all items above it.
    """

    label: str
    amount_minor: int
    kind: str = "item"


@dataclass(frozen=True)
class Disagreement:
    """A stated sum that its lines do not add up to: what was said, what it adds up to, the difference.

    Attributes
    ----------
    row : int
        Row of the statement, from 1.
    items : tuple of StatementRow
        The lines it covers.
    """

    row: int
    label: str
    said: int
    adds_up_to: int
    items: tuple[StatementRow, ...]

    @property
    def difference(self) -> int:
        """What was said less what it adds up to, minor units."""
        return self.said - self.adds_up_to

    def describe(self, currency: str) -> str:
        """Say it in one sentence, with money in plain digits."""
        said, added, gap = (
            format_plain(minor, currency) for minor in (self.said, self.adds_up_to, self.difference)
        )
        return (
            f"row {self.row}, {self.label}: {said} {currency} was said, its {len(self.items)} lines add"
            f" up to "
            f"{added}, the difference is {gap}."
        )


@dataclass(frozen=True)
class Reconciliation:
    """How a statement stands against its own sums."""

    items_minor: int
    disagreements: tuple[Disagreement, ...]

    @property
    def agrees(self) -> bool:
        """Whether every stated sum equals its lines."""
        return not self.disagreements


def reconcile(
    rows: Sequence[StatementRow | tuple[str, int] | tuple[str, int, str]], stated_total: int | None = None
) -> Reconciliation:
    """Hold each stated subtotal and total against the lines that it covers.

    A wrong subtotal does not spoil what follows: totals are always added up from the items themselves.

    Parameters
    ----------
    rows : sequence of StatementRow or of tuples with its fields
        From top to bottom.
    stated_total : int, optional
        A total that stands outside the rows.

    Raises
    ------
    LedgerError
        If a row is of another kind.
    """
    table = [row if isinstance(row, StatementRow) else StatementRow(*row) for row in rows]
    if stated_total is not None:
        table.append(StatementRow("total", stated_total, "total"))
    everything: list[StatementRow] = []
    since: list[StatementRow] = []
    found: list[Disagreement] = []
    for number, row in enumerate(table, start=1):
        if row.kind == "item":
            everything.append(row)
            since.append(row)
            continue
        if row.kind not in ("subtotal", "total"):
            message = f"row {number}, {row.label}: kind {row.kind!r}. Legal are item, subtotal and total."
            raise LedgerError(message)
        covered = since if row.kind == "subtotal" else everything
        added = sum(item.amount_minor for item in covered)
        if added != row.amount_minor:
            found.append(Disagreement(number, row.label, row.amount_minor, added, tuple(covered)))
        if row.kind == "subtotal":
            since = []
    return Reconciliation(sum(item.amount_minor for item in everything), tuple(found))
