"""Fields in which numbers are typed: read by the one reader, and asked about where one can mean two."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeVar

import streamlit as st

from forecast.dashboard.layout import safe
from forecast.errors import ForecastError, NumberError
from forecast.words.currencies import minor_digits
from forecast.words.minor_units import parse_money
from forecast.words.money import exact
from forecast.words.numbers import meant_of, plainly, read_number, shown

WHICH = "Which is meant?"

_APART = 30.0  # about the root of a thousand

T = TypeVar("T")


@dataclass(frozen=True)
class Told:
    """What stands in a field.

    Attributes
    ----------
    value : float or None
        None where it is empty, or cannot be used.
    wrong : str
        Why it cannot be used; empty where it can.
    """

    value: float | None
    wrong: str = ""


def number_field(
    place: Any,
    label: str,
    *,
    value: float | None = None,
    currency: str = "",
    units: Sequence[str] = (),
    least: float | None = 0.0,
    most: float | None = None,
    near: float | None = None,
    expected: Callable[[], Collection[float]] | None = None,
    tell: bool = True,
    **look: Any,
) -> Told:
    """Ask for a number; where what is typed can mean two, ask which is meant.

    Parameters
    ----------
    place : container or column
    label : str
    value : float, optional
        What stands in it at first.
    currency : str
        In which it is money; none where it is no money.
    units : sequence of str
        What may stand behind the number.
    least, most : float, optional
        Limits.
    near : float, optional
        What it is about, such as yesterday's rate: of two readings, a thousandfold apart, the nearer one is meant.
    expected : callable, optional
        Gives what it may be about, asked only where it can mean two: that may decide, and how it was read is shown.
    tell : bool
        Whether to show below the field why it cannot be used; a form tells it when it is sent.
    **look
        Of the text field: key, placeholder, help, persist_state.
    """
    written = (
        place.text_input(label, value="" if value is None else shown(value), autocomplete="off", **look) or ""
    )
    if not written.strip():
        return Told(None)
    digits = minor_digits(currency) if currency else None
    low, high = (None, None) if near is None else (near / _APART, near * _APART)

    def read(text: str) -> Decimal:
        try:
            return read_number(text, currency=currency, digits=digits, units=units, low=low, high=high)
        except NumberError as error:
            meant = None if expected is None else meant_of(error.readings, expected())
            if meant is None:
                raise
        place.caption(safe(f"{text.strip()} read as {shown(float(meant))}"))
        return meant

    try:
        number = float(settled(written, read, place, str(look.get("key") or label)))
    except NumberError as error:
        return _wrong(place, label, str(to_choose(error)), tell and not error.readings)
    if (least is not None and number < least) or (most is not None and number > most):
        # As the field itself shows numbers: typed as it stands here, a limit is read as what it is.
        limits = (
            f"{shown(least or 0)} or more" if most is None else f"from {shown(least or 0)} to {shown(most)}"
        )
        return _wrong(place, label, f"{written.strip()!r} cannot be. Write {limits}.", tell)
    return Told(number)


def settled(written: str, read: Callable[[str], T], place: Any, key: str) -> T:
    """Read a number; where it can mean two, draw the choice and read what was chosen.

    Raises
    ------
    NumberError
        Where it is none, or nothing was chosen yet.
    """
    try:
        return read(written)
    except NumberError as error:
        if len(error.readings) < 2:
            raise
        ways = tuple(plainly(value) for value in error.readings)
        chosen = place.radio(
            f"{safe(repr(error.text))} {error.found}. {WHICH}", ways, index=None, horizontal=True,
            key=_which(key, error.text),
        )  # fmt: skip
        if chosen is None:
            raise
        return read(str(chosen))


def to_choose(error: ForecastError) -> ForecastError:
    """Give what is wrong with a number as it is told where a choice between two readings stands at its field."""
    if not isinstance(error, NumberError) or len(error.readings) < 2:
        return error
    return NumberError(error.text, error.found, "Choose which is meant, at its field.", error.readings)


def unambiguous(
    written: str,
    currency: str,
    place: Any,
    key: str,
    expected: Callable[[], Collection[float]] | None = None,
) -> str:
    """Give a sum as it was typed, or as was chosen where it can mean two; what is wrong with it is told when saved.

    Where `expected`, asked only then, gives what it may be about, that may decide: then it is shown how it was read.
    """
    if not written.strip():
        return written
    try:
        return _read_sum(written, currency)
    except NumberError as error:
        if not error.readings:
            return written
        chosen = st.session_state.get(_which(key, error.text))
        meant = None if expected is None or chosen else meant_of(error.readings, expected())
    if meant is not None:
        told = plainly(meant)
        place.caption(safe(f"{written.strip()} read as {exact(parse_money(told, currency), currency)}"))
        return told
    try:
        return settled(written, lambda text: _read_sum(text, currency), place, key)
    except NumberError:
        return written


def _which(key: str, text: str) -> str:
    """Give the key of the choice between two readings."""
    return f"which-{key}-{text}"


def _read_sum(text: str, currency: str) -> str:
    read_number(text, currency=currency, digits=minor_digits(currency))
    return text


def first_wrong(*told: Told) -> str:
    """Give why the first of several fields cannot be used; empty where all can."""
    return next((item.wrong for item in told if item.wrong), "")


def _wrong(place: Any, label: str, why: str, tell: bool) -> Told:
    if tell:
        place.error(safe(why))
    return Told(None, f"{label}: {why}")


__all__ = ["WHICH", "Told", "first_wrong", "number_field", "settled", "shown", "to_choose", "unambiguous"]
