"""Exact money: whole minor units (cents, yen, fils) in and out of text, never through a float.

An amount of money here is an ``int`` in minor units beside its currency code; how many of them make a unit stands in
`forecast.words.currencies`, for all rooms.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import NoReturn

from forecast.errors import LedgerError, MoneyError, NumberError
from forecast.words.currencies import minor_digits
from forecast.words.numbers import plainly, read_number

LARGEST_SUM = 10**14
"""Minor units; a sum beyond it is a slip. SQLite's integers end at 2**63 - 1: 90,000 of the largest add up."""


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
    """Read an amount of money exactly, as whole minor units; see `forecast.words.numbers` for how it may be written.

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
    NumberError
        If the text is no amount, can mean two amounts, or has more digits than the currency.
    """
    digits = exponent(currency)
    try:
        value = read_number(text, currency=currency, decimal=decimal, digits=digits)
    except NumberError as error:
        raise _in_its_coins(error, digits) from None
    minor = value.scaleb(digits)
    behind = len(f"{value:f}".partition(".")[2])
    # Noughts behind a yen's mark say nothing new; three digits behind a euro's are rather thousands than cents.
    # One nought more is how three decimals are written so that no thousands can be meant.
    most = digits + 1 if digits > 2 else 2
    if behind > most or minor != minor.to_integral_value():
        raise NumberError(text, f"has {behind} digits behind the decimal mark", f"{currency} has {digits}.")
    if abs(minor) > LARGEST_SUM:
        raise NumberError(text, "is too large a sum", "Check the number of zeros.")
    return int(minor)


def _in_its_coins(error: NumberError, digits: int) -> NumberError:
    """Give a doubt in sums that the currency has, where its smaller reading has a digit more: 1275 or 1.28."""
    if len(error.readings) < 2 or error.readings[1] == round(error.readings[1], digits):
        return error
    large, small = error.readings[0], error.readings[1].quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    found, mend = f"can mean {plainly(large)} or {small}", f"Write {plainly(large)}, or {small}."
    return NumberError(error.text, found, mend, (large, small))


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


def from_float(amount: float, currency: str) -> int:
    """Give the minor units nearest to a sum that was worked out; what was entered is never a float."""
    return round(amount * 10.0 ** exponent(currency))


def from_decimal(amount: Decimal | int | str, currency: str) -> int:
    """Give a number in the main unit as minor units.

    Raises
    ------
    LedgerError
        If it has more digits than the currency, or is no finite number.
    NumberError
        If it is too large.
    """
    try:
        scaled = Decimal(amount).scaleb(exponent(currency))
    except InvalidOperation:
        scaled = Decimal("NaN")
    if not scaled.is_finite() or scaled != scaled.to_integral_value():
        _refuse(str(amount), "too many digits behind the decimal mark", _digits_of(currency))
    if abs(scaled) > LARGEST_SUM:
        raise NumberError(str(amount)[:40], "is too large a sum", "Check the number of zeros.")
    return int(scaled)


def is_sum(minor: object) -> bool:
    """Tell whether something is a whole number of minor units that a person may mean."""
    return isinstance(minor, int) and not isinstance(minor, bool) and abs(minor) <= LARGEST_SUM


def sum_words(minor: object, currency: str) -> str:
    """Write a sum for a message, ``12.50 EUR``; what is no whole number of minor units as it stands."""
    if isinstance(minor, int) and not isinstance(minor, bool):
        return f"{format_plain(minor, currency)} {currency}" if is_sum(minor) else "too large a sum"
    return f"{minor!r}"


def _digits_of(currency: str) -> str:
    digits = exponent(currency)
    if not digits:
        return f"{currency} is counted in whole units: write 1250"
    return f"{currency} has {digits}: write 1250.{'0' * (digits - 1)}5 or 1250"


def _refuse(text: str, found: str, mend: str) -> NoReturn:
    message = f"amount {text!r}: {found}. {mend}."
    raise LedgerError(message)
