"""Numbers as people write them: the one reader for every place where somebody types, pastes or sends a number.

Point and comma both part thousands somewhere and decimals elsewhere. So a text is read twice, once with each of them
as the decimal mark: ``25.000,00`` makes sense in one way only, ``2,5`` as well, but ``4.200`` makes sense in both. Then
the context may decide: a mark that the rest of a file settles, money without decimals, a number that has to lie between
limits. Where it does not, nothing is guessed: the error names both readings, and a screen can ask which is meant.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache, lru_cache

from forecast.errors import NumberError
from forecast.words.currencies import is_currency, signs

MARKS = (".", ",")
"""What may be the decimal mark."""

_SPACES = re.compile(r"[\s\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]")
_NOTHING = re.compile(r"[\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff]")
_MINUS = re.compile(r"[\u2010-\u2015\u2212\ufe58\ufe63\uff0d]")
_APOSTROPHES = re.compile(r"[\u2018\u2019\u02bc\u02b9\u2032\u00b4`]")
_WHOLE_SUM = re.compile(r"([.,])\s*-{1,2}$")
_BODY = re.compile(r"[0-9][0-9 .,'_]*|[.,][0-9]+", re.ASCII)
_BARE = re.compile(r"[0-9 .,'_%+-]*", re.ASCII)
_LONGEST = 60


@dataclass(frozen=True)
class WrittenNumber:
    """A number as it was written.

    Attributes
    ----------
    text : str
    readings : mapping of str to Decimal
        What it means, by the decimal mark under which it means that; none where it is no number.
    currency : frozenset of str
        Codes that the sign or code beside it may mean; empty where none stands there.
    beside : str
        That sign or code.
    percent : bool
        Whether a percent sign stands behind it.
    wrong : str
        Why it is no number; empty where it is one.
    thousand : bool
        Whether a k stands behind it.
    """

    text: str
    readings: Mapping[str, Decimal]
    currency: frozenset[str] = frozenset()
    beside: str = ""
    percent: bool = False
    wrong: str = ""
    thousand: bool = False

    @property
    def values(self) -> tuple[Decimal, ...]:
        """The different readings: one, two, or none; the reading with a decimal point first."""
        return tuple(dict.fromkeys(self.readings.values()))

    @property
    def doubt(self) -> str:
        """Both readings in words, where there are two: ``can mean 4200 or 4.2``."""
        if len(self.values) < 2:
            return ""
        first, second = sorted(self.values, key=abs, reverse=True)
        return f"can mean {plainly(first)} or {plainly(second)}"

    def under(self, decimal: str) -> WrittenNumber:
        """Give it with the decimal mark settled."""
        kept = {mark: value for mark, value in self.readings.items() if mark == decimal}
        wrong = self.wrong
        if self.readings and not kept:
            wrong = f"does not fit the decimal {'point' if decimal == '.' else 'comma'} of the rest"
        return replace(self, readings=kept, wrong=wrong)


def look_at(text: str, units: Collection[str] = ()) -> WrittenNumber:
    """Take a written number apart without deciding anything.

    Parameters
    ----------
    text : str
    units : collection of str
        What it may be counted in, such as ``kg``; it may stand behind the number.
    """
    return _taken_apart(text, tuple(units))


@lru_cache(maxsize=8192)  # of a long file each number is looked at several times
def _taken_apart(text: str, units: tuple[str, ...]) -> WrittenNumber:
    shown = text.strip()
    if len(shown) > _LONGEST:
        return WrittenNumber(shown, {}, wrong="is too long for a number")
    body = _APOSTROPHES.sub("'", _MINUS.sub("-", _SPACES.sub(" ", _NOTHING.sub("", shown)))).strip()
    count = 0
    for unit in units:
        body = (
            re.sub(rf"(?<=[\d\s]){re.escape(unit)}$", "", body, count=1, flags=re.IGNORECASE).strip()
            if unit
            else body
        )
    if body.startswith("(") and body.endswith(")"):
        body, count = body[1:-1].strip(), 1
    negative = count > 0
    beside, codes = "", frozenset[str]()
    for _ in range(2):  # a sign may stand outside or inside of what is beside the number
        body, minus, signed = _signed(_whole(body))
        negative, count = negative or minus, count + signed
        if not codes:
            body, beside, codes = _currency(body)
    if count > 1:
        return WrittenNumber(shown, {}, codes, beside, wrong="has two signs")
    percent = body.endswith("%")
    body = body.removesuffix("%").strip()
    thousand = bool(re.search(r"\d ?[kK]$", body))
    body = body[:-1].strip() if thousand else body
    if not _BODY.fullmatch(body):
        return WrittenNumber(shown, {}, codes, beside, percent, "is no number")
    found = {mark: value for mark in MARKS if (value := _under(body, mark)) is not None}
    if not found:
        return WrittenNumber(shown, {}, codes, beside, percent, _why_not(body))
    if thousand:
        found = {mark: _times_thousand(value) for mark, value in found.items()}
    if negative:
        found = {mark: -value for mark, value in found.items()}
    return WrittenNumber(shown, found, codes, beside, percent, thousand=thousand)


def read_number(
    text: str,
    *,
    currency: str = "",
    decimal: str | None = None,
    digits: int | None = None,
    low: float | None = None,
    high: float | None = None,
    percent: bool = False,
    units: Collection[str] = (),
) -> Decimal:
    """Read a number as people write it.

    Parameters
    ----------
    text : str
        Such as ``1250``, ``25.000,00``, ``65 000``, ``65k``, ``€ 1.250,-`` or ``65 000 THB``.
    currency : str
        In which sums are counted here; another one beside the number is refused. None may stand there when empty.
    decimal : {".", ","}, optional
        The decimal mark, where it is known, as in a file that uses one throughout.
    digits : int, optional
        How many decimals there can be: 0 settles that ``16.000`` is sixteen thousand.
    low, high : float, optional
        Limits between which only one of two readings may lie. What lies outside in any case is given all the same.
    percent : bool
        Whether ``30 %`` may be written for 0.3.
    units : collection of str
        What it may be counted in; it may stand behind.

    Returns
    -------
    Decimal
        Exactly what was written.

    Raises
    ------
    NumberError
        If it is no number, or can mean two; then the error holds both.
    """
    return decided(look_at(text, units), currency, decimal, digits, low, high, percent=percent)


def read_numbers(
    texts: Sequence[str],
    *,
    currency: str = "",
    units: Collection[str] = (),
    digits: int | None = None,
    low: float | None = None,
    high: float | None = None,
) -> tuple[Decimal, ...]:
    """Read numbers that one person wrote side by side, such as a range: one of them may settle what the others mean.

    See `read_number` for what may be known of each.

    Raises
    ------
    NumberError
        If one is no number, or together they can mean two things.
    """
    marks = decimal_marks(texts, digits)
    settled = marks[0] if len(marks) == 1 else None
    return tuple(decided(look_at(text, units), currency, settled, digits, low, high) for text in texts)


def decimal_marks(texts: Iterable[object], digits: int | None = None) -> tuple[str, ...]:
    """Give the decimal marks that a column of numbers allows, the point first: one where any of them settles it.

    What is no number, and what is no text, is passed over.

    Parameters
    ----------
    texts : iterable
    digits : int, optional
        How many decimals there can be; 0 settles that marks part thousands.
    """
    legal = list(MARKS)
    for text in texts:
        readings = look_at(text).readings if isinstance(text, str) else {}
        if len(set(readings.values())) > 1 and digits == 0:
            readings = {mark: value for mark, value in readings.items() if _exponent(value) >= 0} or readings
        if readings:
            legal = [mark for mark in legal if mark in readings]
    return tuple(legal)


def doubtful(texts: Iterable[object], digits: int | None = None) -> str:
    """Name the first of a column's numbers that nothing in the column settles: ``'4.200' can mean 4200 or 4.2``.

    Parameters
    ----------
    texts, digits
        As for `decimal_marks`.

    Returns
    -------
    str
        Empty where all can be read.
    """
    listed = [text for text in texts if isinstance(text, str)]
    if len(decimal_marks(listed, digits)) == 1:
        return ""
    looked = (look_at(text) for text in listed)
    return next((f"{item.text!r} {item.doubt}" for item in looked if item.doubt), "")


def decided(
    item: WrittenNumber,
    currency: str = "",
    decimal: str | None = None,
    digits: int | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    percent: bool = False,
) -> Decimal:
    """Decide what a number means, by what is known besides; see `read_number`.

    Raises
    ------
    NumberError
    """
    if item.currency and (not currency or currency not in item.currency):
        _refuse_currency(item, currency)
    if item.percent and not percent:
        raise NumberError(item.text, "is a percentage", "Write a plain number.")
    if decimal is not None:
        item = item.under(decimal)
    if not item.readings:
        raise NumberError(item.text, item.wrong, "Write it like 1234 or 1234.50.")
    values = item.values
    if len(values) > 1 and digits == 0:
        values = tuple(value for value in values if _exponent(value) >= 0) or values
    if len(values) > 1:
        between = tuple(value for value in values if _inside(value, low, high))
        values = between or values
    if len(values) > 1:
        first, second = sorted(values, key=abs, reverse=True)
        mend = f"Write {plainly(first)}, or {plainly(second)}."
        raise NumberError(item.text, item.doubt, mend, (first, second))
    (value,) = values
    return value / 100 if item.percent else value


_NEAR, _ELSEWHERE = 10.0, 100.0
"""Of two readings one is meant where it is at most so many times what is expected, or no less than such a part of it,
and the other is a hundred times as much or as little: a shop that asks several times what was thought happens, and a
first payment of a tenth (our choice)."""


def meant_of(readings: Sequence[Decimal], expected: Collection[float]) -> Decimal | None:
    """Give the one of two readings that what is expected decides; None where it decides nothing.

    Parameters
    ----------
    readings : sequence of Decimal
        As a `NumberError` holds them.
    expected : collection of float
        What the number may be about, each in its own way, such as a line's price and what is left of it to pay.
    """
    sums = [one for one in expected if one > 0]
    if len(readings) != 2 or not sums:
        return None
    first, second = (abs(float(one)) for one in readings)
    for near, far, value in ((first, second, readings[0]), (second, first, readings[1])):
        meant = any(about / _NEAR <= near <= about * _NEAR for about in sums)
        if meant and not any(about / _ELSEWHERE <= far <= about * _ELSEWHERE for about in sums):
            return value
    return None


def currency_beside(text: str, own: str, others: Collection[str] = ()) -> str:
    """Give the currency that stands beside a sum, else the own one; a sign that several have means the one known."""
    beside = look_at(text).currency
    meant = beside if len(beside) == 1 or own in beside else beside & set(others)
    return next(iter(meant)) if len(meant) == 1 else own


def plainly(value: Decimal) -> str:
    """Write a number so that it can be read in one way only: ``4200``, ``4.2``, ``1.2340``."""
    number = value.normalize()
    text = f"{number:f}"
    return text if len(look_at(text).values) == 1 else f"{text}0"


def shown(value: float) -> str:
    """Write a number as a field shows it: thousands parted by narrow spaces, which can be read in one way only."""
    text = f"{value:,.12g}".replace(",", "\u202f")
    return text if len(look_at(text).values) == 1 else f"{text}0"


def _times_thousand(value: Decimal) -> Decimal:
    number = value.scaleb(3)
    return number.to_integral_value() if number == number.to_integral_value() else number


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _inside(value: Decimal, low: float | None, high: float | None) -> bool:
    return (low is None or value >= Decimal(low)) and (high is None or value <= Decimal(high))


def _refuse_currency(item: WrittenNumber, currency: str) -> None:
    if not currency:
        raise NumberError(item.text, f"has {item.beside} beside it", "Write the number alone.")
    mend = f"Write what it comes to in {currency}; where a currency can be chosen beside it, choose that one."
    raise NumberError(item.text, f"is in {item.beside}, but {currency} is counted here", mend)


def _whole(body: str) -> str:
    """Write out what stands for no cents: ``1.250,-`` is ``1.250,00``."""
    return _WHOLE_SUM.sub(r"\g<1>00", body)


def _signed(body: str) -> tuple[str, bool, int]:
    """Take a sign off, before or behind; give whether it is a minus, and how many there were."""
    minus, count = False, 0
    if body[:1] in ("-", "+"):
        minus, count, body = body[0] == "-", 1, body[1:].strip()
    if body[-1:] in ("-", "+"):
        minus, count, body = minus or body[-1] == "-", count + 1, body[:-1].strip()
    return body, minus, count


@cache
def _tokens() -> tuple[tuple[str, frozenset[str]], ...]:
    """Give signs and words by their small letters, the longest first."""
    return tuple(
        sorted(((sign.casefold(), codes) for sign, codes in signs().items()), key=lambda item: -len(item[0]))
    )


def _currency(body: str) -> tuple[str, str, frozenset[str]]:
    """Take a currency's code, sign or word off, before or behind."""
    if _BARE.fullmatch(body):  # as most are: no need to hold every sign of every currency against it
        return body, "", frozenset()
    small = body.casefold()
    if match := re.match(r"([A-Za-z]{3})(?=[\s\d.,+-])", body) or re.search(
        r"(?<=[\s\d.,+-])([A-Za-z]{3})$", body
    ):
        code = match[1].upper()
        if is_currency(code):
            return _without(body, match.start(1), match.end(1)), code, frozenset({code})
    for token, codes in _tokens():
        letter = token[-1].isalpha()
        if small.startswith(token) and not (letter and small[len(token) : len(token) + 1].isalpha()):
            return _without(body, 0, len(token)), body[: len(token)], codes
        start = len(body) - len(token)
        if small.endswith(token) and start > 0 and not (token[0].isalpha() and small[start - 1].isalpha()):
            return _without(body, start, len(body)), body[start:], codes
    return body, "", frozenset()


def _without(body: str, start: int, end: int) -> str:
    return (body[:start] + body[end:]).strip()


def _under(body: str, decimal: str) -> Decimal | None:
    """Read digits with one mark as the decimal one; None where they make no sense then."""
    whole, mark, fraction = body.partition(decimal)
    if mark and not (fraction.isascii() and fraction.isdigit()):
        return None
    if not whole:
        return Decimal(f"0.{fraction}") if mark else None
    parts = set(whole) - set("0123456789")
    if len(parts) > 1:
        return None
    if parts:
        (part,) = parts
        if not _grouped(whole, part):
            return None
        whole = whole.replace(part, "")
    return Decimal(f"{whole}.{fraction}" if fraction else whole)


def _grouped(whole: str, part: str) -> bool:
    """Tell whether digits stand in threes, or with commas in lakhs (``12,34,567``), and do not begin with nothing."""
    return bool(
        re.fullmatch(rf"[1-9]\d{{0,2}}(?:{re.escape(part)}\d{{3}})+", whole, re.ASCII)
        or (part == "," and re.fullmatch(r"[1-9]\d?(?:,\d\d)+,\d{3}", whole, re.ASCII))
    )


def _why_not(body: str) -> str:
    if body[-1] in MARKS:
        return "has no digit behind the decimal mark"
    return "has digits that are not grouped in threes"


__all__ = [
    "MARKS",
    "WrittenNumber",
    "decided",
    "decimal_marks",
    "doubtful",
    "look_at",
    "meant_of",
    "plainly",
    "read_number",
    "read_numbers",
    "shown",
]
