"""Exact money: whole minor units (cents, yen, fils) in and out of text, never through a float.

An amount of money here is an ``int`` in minor units beside its currency code; how many of them make a unit stands in
`forecast.words.currencies`, for all rooms.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import NoReturn

from forecast.errors import LedgerError, MoneyError
from forecast.words.currencies import minor_digits

_SPACES = re.compile(r"[\s\u00a0\u2007\u2009\u202f_]")
_APOSTROPHES = "'\u2019\u02bc"
_SIGNS = "€$£¥₩₹"
_LARGEST = 2**62
"""SQLite's integers end at 2**63 - 1; half of it leaves room for sums."""


def exponent(currency: str) -> int:
    """Give the number of digits behind the decimal mark of a currency, by ISO 4217; see `minor_digits`.

    Raises
    ------
    LedgerError
        If no such currency exists.
    """
    try:
        return minor_digits(currency)
    except MoneyError as error:
        raise LedgerError(str(error)) from None


def parse_money(text: str, currency: str, *, decimal: str | None = None) -> int:
    """Read an amount of money strictly, as whole minor units.

    ``1,234.56``, ``1.234,56``, ``1 234,56``, ``1'234.56``, ``1234.56`` and ``1234`` are all understood. A
    sign may stand before or behind, or the amount in round brackets. What can be read in two ways is refused.

    Parameters
    ----------
    text : str
        What was written.
    currency : str
        ISO 4217 code; the same code or a currency sign may also stand in the text.
    decimal : {".", ","}, optional
        The decimal mark, where it is known (a bank file uses one throughout).

    Returns
    -------
    int
        Minor units, negative for money coming back.

    Raises
    ------
    LedgerError
        If the text is no amount, could mean two amounts, or has more digits than the currency.
    """
    digits = exponent(currency)
    body, negative = _without_sign(text, currency)
    whole, fraction = _split_at_mark(body, text, currency, digits, decimal)
    if len(fraction) > digits:
        _refuse(text, f"{len(fraction)} digits behind the decimal mark", f"{currency} has {digits}")
    minor: int = int(whole or "0") * 10**digits + int(fraction.ljust(digits, "0") or "0")
    if minor > _LARGEST:
        _refuse(text, "too large a sum", "Check the number of zeros")
    return -minor if negative else minor


def format_plain(minor: int, currency: str) -> str:
    """Write minor units as plain text with a point, no thousands marks: ``-1234.56``."""
    digits = exponent(currency)
    sign = "-" if minor < 0 else ""
    whole, fraction = divmod(abs(minor), 10**digits)
    return f"{sign}{whole}.{fraction:0{digits}d}" if digits else f"{sign}{whole}"


def to_decimal(minor: int, currency: str) -> Decimal:
    """Give minor units as an exact decimal number in the currency's main unit."""
    return Decimal(minor).scaleb(-exponent(currency))


def to_float(minor: int, currency: str) -> float:
    """Give minor units as a float in the currency's main unit, for what is simulated."""
    return float(minor / 10 ** exponent(currency))


def from_decimal(amount: Decimal | int | str, currency: str) -> int:
    """Give a number in the main unit as minor units.

    Raises
    ------
    LedgerError
        If it has more digits than the currency, or is no finite number.
    """
    try:
        scaled = Decimal(amount).scaleb(exponent(currency))
    except InvalidOperation:
        scaled = Decimal("NaN")
    if not scaled.is_finite() or scaled != scaled.to_integral_value():
        _refuse(str(amount), "no whole number of minor units", f"{currency} has {exponent(currency)} digits")
    return int(scaled)


def _refuse(text: str, found: str, mend: str) -> NoReturn:
    message = f"amount {text!r}: {found}. {mend}."
    raise LedgerError(message)


def _without_sign(text: str, currency: str) -> tuple[str, bool]:
    """Take sign, brackets, spaces, apostrophes and the currency's own mark away."""
    body = _SPACES.sub("", text).replace("\u2212", "-").replace("\u2013", "-")
    for mark in _APOSTROPHES:
        body = body.replace(mark, "'")
    if (body.count("'") or body != text.strip()) and not _well_grouped(text):
        _refuse(text, "digits are not grouped in threes", "Write it like 1234.56")
    body = body.replace("'", "")
    negative = False
    if body.startswith("(") and body.endswith(")"):
        body, negative = body[1:-1], True
    body, sign_outside = _take_sign(body)
    body = body.removeprefix(currency).removesuffix(currency).strip(_SIGNS)
    body, sign_inside = _take_sign(body)
    if negative + bool(sign_outside) + bool(sign_inside) > 1:
        _refuse(text, "two signs", "Write one, like -12.50")
    return body, negative or "-" in (sign_outside, sign_inside)


def _take_sign(body: str) -> tuple[str, str]:
    if body[:1] in ("-", "+"):
        return body[1:], body[0]
    if body[-1:] in ("-", "+"):
        return body[:-1], body[-1]
    return body, ""


def _well_grouped(text: str) -> bool:
    """Tell whether spaces or apostrophes between digits stand before groups of three."""
    mark = rf"(?:{_SPACES.pattern}|[{_APOSTROPHES}])"
    return all(
        len(group) == 3
        for run in re.findall(rf"\d(?:[\d]|{mark}(?=\d))*", text)
        for group in re.split(mark, run)[1:]
    )


def _split_at_mark(body: str, text: str, currency: str, digits: int, decimal: str | None) -> tuple[str, str]:
    """Split into digits before and behind the decimal mark; thousands must stand in threes."""
    if not re.fullmatch(r"[0-9][0-9.,]*|[.,][0-9]+", body, re.ASCII):
        _refuse(text, f"no amount of money in {currency}", "Write it like 1234.56")
    if decimal is None:
        decimal = _guess_mark(body, text, currency, digits)
    thousands = "," if decimal == "." else "."
    if body.count(decimal) > 1 or thousands in body.partition(decimal)[2]:
        _refuse(text, "decimal and thousands marks do not fit together", "Write it like 1234.56")
    whole, mark, fraction = body.partition(decimal)
    if mark and not fraction:
        _refuse(text, "no digit behind the decimal mark", "Write it like 1234.56")
    groups = whole.split(thousands)
    well_grouped = 1 <= len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:])
    if len(groups) > 1 and not (well_grouped and groups[0].strip("0")):
        _refuse(text, "digits are not grouped in threes", "Write it like 1234.56")
    return "".join(groups), fraction


def _guess_mark(body: str, text: str, currency: str, digits: int) -> str:
    marks = [character for character in body if character in ".,"]
    if not marks:
        return "."
    if len(set(marks)) == 2:  # whichever stands last is the decimal mark
        return marks[-1]
    mark, other = marks[0], "," if marks[0] == "." else "."
    if len(marks) > 1:  # a decimal mark stands once, so these are thousands
        return other
    behind = len(body) - body.index(mark) - 1
    could_be_thousands = behind == 3 and 1 <= body.index(mark) <= 3 and body[0] != "0"
    if (
        could_be_thousands and digits >= 3 and mark == ","
    ):  # a lone point is always this program's own decimal mark
        _refuse(
            text,
            "could mean two amounts",
            f"Write it with a point, {body.replace(',', '.')} or {body.replace(',', '')}.000",
        )
    if (
        could_be_thousands and 0 < digits < 3
    ):  # thousands, or a slip behind the decimal mark: a thousandfold apart
        plain = body.replace(mark, "")
        _refuse(
            text, "could mean two amounts", f"Write it as {plain}, or with {digits} digits behind a point"
        )
    if could_be_thousands and digits >= 3:
        return mark
    return other if could_be_thousands else mark
