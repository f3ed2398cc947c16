"""The answers of the commands about a build as a whole: ``new``, ``add-lines``, ``open``, ``demo``, copies."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TypedDict

from forecast.start.listing import State
from forecast.start.questions import Kind
from forecast.trade.expansion import RuleUse
from forecast.trade.landed import Component


class NewBuild(TypedDict):
    """A build file that was written: how many lines and events it has, and the ids of its scenarios."""

    file: str
    lines: int
    events: int
    scenarios: list[str]


class Converted(TypedDict):
    """A sum in another money, converted at a rate on file: what one unit of it cost in the country's, and when."""

    currency: str
    rate: float
    as_of: dt.date
    source: str
    text: str


class LandedAnswer(TypedDict):
    """What one import comes to at the door, for sums that are known.

    Attributes
    ----------
    parts : sequence of Component
        In the order in which they come about; what is not ``paid`` is a stage on the way.
    converted : mapping of str to Converted
        By the sum's name: ``price``, ``freight`` and the like.
    not_counted : list of str
        Additional duties that may hold as well, and were not asked for.
    to_look_up : mapping of str to str
        Figures of law in use that are old, or that nobody confirmed, and why.
    """

    country: str
    currency: str
    total: Decimal
    parts: Sequence[Component]
    converted: Mapping[str, Converted]
    not_counted: list[str]
    to_look_up: Mapping[str, str]


class GuidedQuestion(TypedDict):
    """A question of the guided start.

    Attributes
    ----------
    how : str
        How it is answered.
    choices : mapping of str to str
        What may be chosen, by id.
    """

    id: str
    text: str
    help: str
    how: str
    kind: Kind
    choices: Mapping[str, str]


class GuidedQuestions(TypedDict):
    """All questions of the guided start."""

    questions: list[GuidedQuestion]


class ListLayout(TypedDict):
    """How a list was read: its text, its decimal mark and whether that is open, its headings by role."""

    encoding: str
    delimiter: str
    decimal: str
    decimal_is_open: bool
    columns: Mapping[str, str]


class ListedRow(TypedDict):
    """What would become of a row.

    Attributes
    ----------
    line : mapping
        As it would stand in the build file.
    why : str
        Why it would not.
    """

    row: int
    state: State
    name: str
    group: str
    line: Mapping[str, object]
    why: str


class ListLooked(TypedDict):
    """How a list of lines was read, and what would become of each row."""

    layout: ListLayout
    rows: list[ListedRow]


class LinesAdded(TypedDict):
    """Ids of the lines that were added to a build file."""

    file: str
    added: list[str]


class ConsignmentRules(TypedDict):
    """The rule figures in use of a consignment."""

    consignment: str
    notes: list[str]
    figures: list[RuleUse]


class SheetAnswer(TypedDict):
    """A sum opened down to its lines: group, id, name and middle figure of each."""

    title: str
    lines: tuple[tuple[str, str, str, float], ...]
    total: float
    rules: list[ConsignmentRules]


class Demos(TypedDict):
    """Names of the demo builds."""

    demos: list[str]


class DemoOpened(TypedDict):
    """The folder of one's own copy of a demo build."""

    folder: str


class CopyData(TypedDict):
    """A copy of a build.

    Attributes
    ----------
    receipts : int or None
        How many it holds; null without a ledger.
    only_build : bool
        Whether it is an earlier text of the build file.
    """

    name: str
    file: str
    made: dt.datetime
    receipts: int | None
    documents: int
    only_build: bool


class CopiesListed(TypedDict):
    """Copies that are kept."""

    copies: list[CopyData]


class CopyRestored(CopyData):
    """A copy that was put back.

    Attributes
    ----------
    build, ledger : bool
        Whether they were.
    before : str or None
        Where all is kept as it stood before.
    documents_missing : list of str
        Documents found nowhere.
    """

    build: bool
    ledger: bool
    documents_put_back: int
    before: str | None
    documents_missing: list[str]


class VerifyAnswer(TypedDict):
    """Whether all of a build is whole.

    Attributes
    ----------
    doubt : str
        About the place where the ledger lies; empty where there is none.
    swept : list of str
        Half-written files that were deleted.
    """

    doubt: str
    wrong: list[str]
    receipts: int
    documents: int
    copies: list[CopyData]
    swept: list[str]
