"""What a consignment comes to: computed lines, the figures they need, events, notes and warnings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from forecast.buildfile.schema import Group
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Formula
from forecast.trade.rules import RuleWarning

NOTHING_WORDS = "nothing"
"""How the words of a case begin in which nothing is due."""


@dataclass(frozen=True)
class Words:
    """How a part of a line came about.

    Attributes
    ----------
    plain : str
        Where no case holds.
    cases : tuple of (Formula, str)
        A limit, a least or a most that may decide the sum: a formula that is 1 where it does, and how it is said then.
        The first that holds is said.
    """

    plain: str
    cases: tuple[tuple[Formula, str], ...] = ()

    def said(self, holds: Callable[[Formula], bool]) -> str:
        """Give the words that fit the sum."""
        return next((words for case, words in self.cases if holds(case)), self.plain)


def said_together(pieces: Iterable[Words], holds: Callable[[Formula], bool]) -> str:
    """Give the words of several parts that are added up; those that come to nothing are said only where all do."""
    said = [piece.said(holds) for piece in pieces]
    counted = [words for words in said if not words.startswith(NOTHING_WORDS)]
    return " + ".join(counted) or "; ".join(dict.fromkeys(said))


@dataclass(frozen=True)
class ComputedLine:
    """A line whose cost follows from figures and other lines.

    Attributes
    ----------
    id : str
        The consignment's id and the line's own, such as ``kit.duty``.
    name : str
        In words.
    group : str
        Where it stands in the cost breakdown.
    formula : Formula
        Its cost in the build's currency.
    working : str
        The formula in words, with ``{id}`` for inputs, lines and stages; see `forecast.trade.exact.fill`.
    note : str
        Where its figures come from.
    caution : str
        What to look up before relying on it.
    know : tuple of str
        What else to know of its figures.
    pieces : tuple of Words
        The same formula in words that go by the sum, where a limit may decide it; the working holds for all sums.
    """

    id: str
    name: str
    group: Group
    formula: Formula
    working: str
    note: str = ""
    caution: str = ""
    know: tuple[str, ...] = ()
    pieces: tuple[Words, ...] = ()


@dataclass(frozen=True)
class Stage:
    """A value on the way to a line that is not itself paid: a customs value, a chargeable quantity, a rate."""

    id: str
    name: str
    formula: Formula
    working: str
    unit: str = ""


@dataclass(frozen=True)
class ComputedEvent:
    """A risk event of a consignment: its chance, and its cost when it happens.

    Attributes
    ----------
    working : str
        As in `ComputedLine`.
    back : ComputedLine or None
        Money that comes back when it happens, below zero, on a line of its own: it is another receipt.
    """

    id: str
    name: str
    chance: float
    formula: Formula
    note: str = ""
    working: str = ""
    back: ComputedLine | None = None


@dataclass(frozen=True)
class RuleUse:
    """A figure of trade or law that a consignment is worked out with.

    Attributes
    ----------
    id, label, value : str
        Its name, what it is, and the figure in words.
    source : str
        Where it was read.
    as_of : datetime.date or None
        The day of the source; None where it bears none, and for a figure of the builder's own.
    certainty : str
        How sure it is.
    key : str
        What to write into the consignment to overwrite it; empty where it cannot be.
    doubts : tuple of str
        Why it should be looked up.
    note : str
        What else to know of it.
    rough : bool
        A range stands in for a rate: it is the first thing to look up.
    """

    id: str
    label: str
    value: str
    source: str
    as_of: date | None
    certainty: str
    key: str
    doubts: tuple[str, ...] = ()
    note: str = ""
    rough: bool = False


_ON_THE_WAY = ("freight", "entry", "delivery")
_OR_NOT_AT_ALL = ("examination", "storage")
_AT_THE_PORT = ("terminal", "documents", "surcharges", "storage")


@dataclass(frozen=True)
class Expansion:
    """A consignment written out.

    Attributes
    ----------
    consignment, title : str
        Its id and its name.
    lines : tuple of ComputedLine
        In an order in which each refers to earlier ones only.
    stages : tuple of Stage
        Values on the way, for opening a line; no line's formula refers to them.
    events : tuple of ComputedEvent
    inputs : mapping
        Every uncertain figure that the formulas read, by id, those of the currency paths included.
    notes : tuple of str
        What was left out or assumed, and why.
    warnings : tuple of RuleWarning
        Rule figures in use that are outdated or not verified.
    figures : tuple of RuleUse
        All rule figures in use.
    dues : tuple of str
        Ids of the lines that the state charges on the entry: duties, levies and import tax.
    """

    consignment: str
    lines: tuple[ComputedLine, ...]
    stages: tuple[Stage, ...]
    events: tuple[ComputedEvent, ...]
    inputs: Mapping[str, FigureBase]
    notes: tuple[str, ...]
    warnings: tuple[RuleWarning, ...]
    figures: tuple[RuleUse, ...] = ()
    title: str = ""
    dues: tuple[str, ...] = ()

    @property
    def told_by(self) -> tuple[str, ...]:
        """Ids of the lines whose bills, once settled, tell that the goods are here; none where no bill can tell.

        Freight is often paid before anything moves, so that alone it tells nothing; what the state charges is paid
        before the goods are let go, and until then nothing of the way is over.
        """
        found = [name for name in (f"{self.consignment}.{part}" for part in _ON_THE_WAY) if self.line(name)]
        return (*found, *self.dues) if set(found) - {f"{self.consignment}.freight"} else ()

    @property
    def over_once_here(self) -> tuple[str, ...]:
        """Ids of the events and charges that come on the way or not at all: a customs examination, and storage."""
        own = {*(event.id for event in self.events), *(line.id for line in self.lines)}
        return tuple(
            name for name in (f"{self.consignment}.{part}" for part in _OR_NOT_AT_ALL) if name in own
        )

    @property
    def port_bill(self) -> tuple[str, ...]:
        """Ids of the charges that a port's or depot's agent puts on one bill."""
        return tuple(
            name for name in (f"{self.consignment}.{part}" for part in _AT_THE_PORT) if self.line(name)
        )

    def line(self, id: str) -> ComputedLine | None:
        """Give a line by its full id; None where the consignment has none."""
        return next((line for line in self.lines if line.id == id), None)
