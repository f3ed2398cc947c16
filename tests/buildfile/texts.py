"""Build files as text, for tests of their reader."""

from __future__ import annotations

from forecast.buildfile.reader import parse_build
from forecast.errors import BuildFileError, Problem
from forecast.figures.figure import FigureBase

HEAD = """\
[build]
name = "Box-arch coupe"
currency = "EUR"
country = "IE"
"""
"""The least that a build file must say: four lines."""

LINE = """\
[[line]]
id = "a"
group = "kit"
"""
"""A line without its money: with `HEAD` before it, what follows stands on line 8."""


def problems(text: str) -> list[Problem]:
    """Give the mistakes of a build file's text; none if it is a build."""
    try:
        parse_build(text)
    except BuildFileError as error:
        return list(error.problems)
    return []


def complaints(text: str) -> list[str]:
    """Give the mistakes of a build file's text in words."""
    return [str(problem) for problem in problems(text)]


def amount(written: str) -> FigureBase:
    """Give the figure that is read where a line's amount is written so."""
    figure = parse_build(f"{HEAD}{LINE}amount = {written}\n").line[0].amount
    assert figure is not None
    return figure
