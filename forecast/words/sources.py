"""How the source of a figure or a caution is worded, wherever it is shown."""

from __future__ import annotations

from datetime import date
from typing import Literal

from forecast.words.day_words import long_day

Certainty = Literal["verified", "third party", "no source", "common practice"]
CERTAINTIES: tuple[Certainty, ...] = ("verified", "third party", "no source", "common practice")


def source_words(place: str, certainty: Certainty, read: date | None = None) -> str:
    """Word a source.

    Parameters
    ----------
    place : str
        Title or address; empty where there is none. With no source, where one would look it up.
    certainty : {"verified", "third party", "no source", "common practice"}
        Read in the authority's own text, read with a third party, known by no source, or what is usual.
    read : date, optional
        The day on which it was read there.

    Returns
    -------
    str
        Such as "read on 26 November 2026 at hse.gov.uk", "no source" or "common practice, no source".
    """
    if certainty == "no source":
        return f"no source; to be looked up in: {place}" if place else "no source"
    if certainty == "common practice":
        return f"common practice, no source ({place})" if place else "common practice, no source"
    return place if read is None else f"read on {long_day(read)} at {place}"


__all__ = ["CERTAINTIES", "Certainty", "source_words"]
