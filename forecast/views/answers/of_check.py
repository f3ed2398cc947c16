"""The answers of ``forecast check`` and of the commands that act on it."""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from forecast.missing.rules import Grade


class Mistake(TypedDict):
    """A mistake in the build file: where, what was found, and how to mend it."""

    where: str
    line: int | None
    found: str
    mend: str


class CannotBeUsed(TypedDict):
    """A build file with mistakes."""

    ok: Literal[False]
    problems: list[Mistake]


class UsualRange(TypedDict):
    """What it usually costs: percentiles P10, P50 and P90 as they are put into a build file."""

    low: float
    middle: float
    high: float


class CheckFinding(TypedDict):
    """What may be missing, odd or too narrow.

    Attributes
    ----------
    rule : str
        Its name, by which it is answered.
    starter : str or None
        The starter line that adds it.
    line : str or None
        The line that it is about.
    mend : str
        What to write where no starter line does.
    one_command : bool
        Whether 'forecast add' mends it.
    """

    rule: str
    grade: Grade
    missing: str
    why: str
    cost: UsualRange | None
    unit: str
    source: str
    starter: str | None
    line: str | None
    mend: str
    one_command: bool
    text: str


class QuotesOfOneFigure(TypedDict):
    """Several quotes for one figure, and what is to do or has become of them."""

    item: str
    key: str
    quotes: list[float]
    text: str


class UndecidedChoice(TypedDict):
    """Options of which one will be taken."""

    choice: str
    options: list[str]
    text: str


class DoubtedRule(TypedDict):
    """A customs, tax or arrival figure to look up.

    Attributes
    ----------
    amount, share : float
        Money that hangs on it, and what share of the consignment's dues that is.
    only_a_range : bool
        Whether no exact figure is on file.
    text, words : str
        Why it is in doubt; and the same with how much hangs on it.
    """

    figure: str
    consignment: str
    amount: float
    only_a_range: bool
    share: float
    text: str
    words: str


class CautionBeside(TypedDict):
    """A caution, and the lines that it stands beside."""

    id: str
    topic: str
    text: str
    authority: str
    source: str
    lines: list[str]
    read: bool


class CheckAnswer(TypedDict):
    """A build file without mistakes, and what to think of."""

    ok: Literal[True]
    problems: list[Mistake]
    questions: list[CheckFinding]
    missing: list[CheckFinding]
    narrow: list[CheckFinding]
    suggestions: list[str]
    undecided: list[QuotesOfOneFigure | UndecidedChoice]
    rules: list[str]
    rules_first: list[DoubtedRule]
    notes: list[str]
    cautions: list[CautionBeside]
    hazards_asked: list[str]


class Added(TypedDict):
    """A starter line that was added; its cautions where it has some of its own."""

    added: str
    cautions: NotRequired[list[str]]


class Changed(TypedDict):
    """A key that was written or, where the value is null, taken out."""

    changed: str
    key: str
    value: object


class NotNeededAnswer(TypedDict):
    """What was answered to a finding."""

    rule: str
    why: str


class CautionsReadAnswer(TypedDict):
    """Cautions that were read, and those that were not."""

    read: list[str]
    unread: list[str]
