"""Everything that can go wrong, as one tree.

::

    ForecastError
    ├── BuildFileError     the build file (or an answers file) cannot be used; carries every Problem found
    │   ├── BuildNotThereError    there is no build where one was looked for
    │   └── EditedMeanwhileError  somebody else saved the build file since it was read; carries both versions
    ├── MoneyError         there is no such currency, or no rate for it
    │   └── NumberError        a text is no number, or can mean two; carries both
    ├── RuleError          a customs rule, Incoterms rule or take-off cannot be applied
    │   └── RangeOnFileError   of a figure of law only a range is on file
    ├── SimulationError    a figure cannot be simulated as asked
    └── LedgerError        the receipt ledger refuses, or cannot be read or written
        ├── UnbalancedError    splits do not add up to their receipt
        ├── UnusualError       a sum so far off that it is asked about first
        └── ImportRefusedError a bank or card file was not imported; carries every bad row

Each message says where, what was found, what is legal and how to mend it. A screen or the command line shows
``str(error)`` as it stands; nothing else is needed. Whatever else is raised is a mistake of the program: the two
places that frame all others (`forecast.views.cli.main`, `forecast.dashboard.layout.told_plainly`) say so with
`unforeseen`, and write the details down for whoever mends it.
"""

from __future__ import annotations

import os
import traceback
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path


@dataclass(frozen=True)
class Problem:
    """One mistake in something the builder wrote.

    Attributes
    ----------
    where : str
        In words, such as ``'Body filler', price, low`` or ``row 14, column amount``.
    found : str
        What stands there, in words.
    mend : str
        What is legal and how to mend it.
    line : int or None
        Line number in the file, counted from 1, where it is known.
    path : tuple
        Keys and list positions (from 0) from the top of a build file to it; empty for other files.
    """

    where: str
    found: str
    mend: str
    line: int | None = None
    path: tuple[str | int, ...] = ()

    def __str__(self) -> str:
        at = f"line {self.line}: " if self.line is not None else ""
        return f"{at}{self.where}: {self.found}. {self.mend}"


MOST_MISTAKES = 200
"""Mistakes of one file that are looked into: one with more is most likely another sort of file."""
MOST_SHOWN = 50
"""Mistakes that are shown at once."""


class ForecastError(Exception):
    """The root of the tree: its text is meant for the builder."""


class _ManyProblems(ForecastError):
    """An error that reports all mistakes of one file at once."""

    def __init__(self, heading: str, problems: Iterable[Problem]) -> None:
        every = tuple(problems)
        self.heading = " ".join(heading.splitlines())  # a file's name may have a line of its own
        self.problems = every[:MOST_MISTAKES]
        count = len(self.problems)
        more = " or more" if len(every) >= MOST_MISTAKES else ""
        lines = [f"{self.heading}: {count}{more} {'mistake' if count == 1 else 'mistakes'}"]
        lines += [
            f"  {number}. {problem}" for number, problem in enumerate(self.problems[:MOST_SHOWN], start=1)
        ]
        if count > MOST_SHOWN:
            lines.append(f"  … and {count - MOST_SHOWN}{more} besides. Mend these first, then look again.")
        super().__init__("\n".join(lines))


class BuildFileError(_ManyProblems):
    """The build file cannot be used."""


class BuildNotThereError(BuildFileError):
    """There is no build where one was looked for: that is no mistake of a file, and is not counted as one."""

    def __init__(self, heading: str) -> None:
        found, mend = "there is no such file or folder", "Check its name and where it lies"
        super().__init__(heading, [Problem("file", found, f"{mend}, or begin one there: 'forecast new'.")])
        place = heading.removesuffix("build.toml").rstrip("/\\") or heading
        self.args = (f"{place}: there is no build here. {mend}.",)


class EditedMeanwhileError(BuildFileError):
    """The build file was saved by somebody else since it was read, and was left as it is.

    Attributes
    ----------
    theirs : str
        What stands in the file now.
    """

    def __init__(self, heading: str, theirs: str) -> None:
        found = "was saved by another program or window since it was read here"
        mend = "Nothing was written. Look at what changed, then make your change again on top of it."
        super().__init__(heading, [Problem("file", found, mend)])
        self.theirs = theirs


class MoneyError(ForecastError):
    """There is no such currency, or no rate for it."""


_LONGEST_TOLD = 60


class NumberError(MoneyError):
    """A text is no number, or can mean two.

    Attributes
    ----------
    text, found, mend : str
        What was written, what is wrong with it, and how to write it.
    readings : tuple of Decimal
        Both numbers that it can mean, the larger first; empty where it is none.
    """

    def __init__(self, text: str, found: str, mend: str, readings: tuple[Decimal, ...] = ()) -> None:
        self.text, self.found, self.mend, self.readings = text, found, mend, readings
        told = (
            text if len(text) <= _LONGEST_TOLD else f"{text[:_LONGEST_TOLD]}…"
        )  # nobody looks for it in pages of it
        super().__init__(f"{told!r} {found}. {mend}")


class RuleError(ForecastError):
    """A rule of trade or law cannot be applied to what was given."""


class RangeOnFileError(RuleError):
    """Of a figure of law only a range is on file, and one number is needed.

    Attributes
    ----------
    figure : str
        The name under which the builder gives their own.
    label : str
    low, high : float
    share : bool
        Whether it is a share, which people write in percent.
    """

    def __init__(self, figure: str, label: str, low: float, high: float, *, share: bool) -> None:
        super().__init__(
            f"{label}: only a range is on file, {low:g} to {high:g}, and one number is needed. Look "
            f'it up and write it as overrides = {{ "{figure}" = … }}.'
        )
        self.figure, self.label, self.low, self.high, self.share = figure, label, low, high, share


class SimulationError(ForecastError):
    """A figure cannot be simulated as asked."""


class LedgerError(ForecastError):
    """The receipt ledger refuses, or cannot be read or written."""


class UnbalancedError(LedgerError):
    """The splits of a receipt do not add up to it."""


class UnusualError(LedgerError):
    """A sum is legal and far beyond what its line was thought to cost: whoever enters it is asked first."""


class ImportRefusedError(_ManyProblems, LedgerError):
    """A bank or card file was not imported; nothing of it was."""


def unforeseen(error: BaseException) -> str:
    """Say in words that the program itself made a mistake, and where, for whoever mends it.

    Parameters
    ----------
    error : BaseException
        Anything that is no `ForecastError`; it was raised, and so knows where.
    """
    steps = traceback.extract_tb(error.__traceback__)
    own = [step for step in steps if f"{os.sep}forecast{os.sep}" in step.filename] or list(steps)
    at = f", {Path(own[-1].filename).name} line {own[-1].lineno}" if own else ""
    return (
        "The program made a mistake here, not you. What you have saved is as it was. "
        f"For whoever mends it: {type(error).__name__}{at}."
    )
