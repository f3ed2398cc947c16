"""Build files read and changed once for all parts of a page that ask for the same."""

from __future__ import annotations

from collections.abc import Sequence

from forecast.buildfile.edit import Change, changed
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.dashboard.remembered import remembered

WITH_CHANGES = "With these changes"
"""What a build that is not saved yet is called in its mistakes."""


@remembered(keys=2, most=48)
def parsed(text: str, heading: str) -> Build:
    """Read a build from text that may have been read before."""
    return parse_build(text, heading)


def changed_text(text: str, changes: Sequence[Change]) -> str:
    """Make changes to a text, as `forecast.buildfile.edit.changed` does."""
    return _changed(text, repr(changes), changes) if changes else text


@remembered(keys=2, most=48)
def _changed(text: str, key: str, _changes: Sequence[Change]) -> str:
    return changed(text, _changes)
