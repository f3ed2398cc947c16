"""Sum, day, supplier and currency out of the text of a paper: proposals, each with where it stood.

Numbers and days are read by the readers that all of the program uses. Where one can mean two, the rest of the paper may
settle it; else both are handed on, and the builder is asked.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from forecast.ledger.matching import plain_name
from forecast.ledger.papers import cues
from forecast.ledger.papers.paper import Found, Kind, Paper
from forecast.tables.sniff import DateOrder, find_date_orders, parse_day
from forecast.words.currencies import is_currency, minor_digits
from forecast.words.months import month_of
from forecast.words.numbers import WrittenNumber, decided, look_at, plainly

OLDEST_YEARS = 15
"""A day further back is no day of a receipt: it is when a shop was founded."""
_FIRST_LINES = 14
"""Within so many lines a bill says whose it is."""
_LONGEST_LINE, _LONGEST_QUOTE = 400, 48

_BLANK = r"[ \u00a0\u202f']"
_WHOLE = rf"(?<![\w.,/-])-?(?:\d{{1,3}}(?:{_BLANK}\d{{3}})+|\d+(?:[.,]\d{{3}})*)"
_SUM = re.compile(
    rf"{_WHOLE}(?:[.,](?:\d{{1,2}}|-{{1,2}}))?(?![\w/]|[.,]\d| ?%)"
    rf"|{_WHOLE}[.,]\d{{2}}(?=[A-Za-z€£$]{{1,3}}\b)"  # 12.50EUR
)
_NUMERIC_DAY = re.compile(
    r"(?<![\d./-])(\d{4}([./-])\d{1,2}\2\d{1,2}|\d{1,2}([./-]) ?\d{1,2}\3 ?(?:\d{4}|\d{2}))(?:(?![\d/-])|(?=\d\d:\d\d))"
)
_DAY_FIRST = re.compile(
    r"(?<!\d)(\d{1,2})(?:st|nd|rd|th|\.|º)?[ -](?:de )?([^\W\d_]{3,12})\.?,?[ -](?:de )?(\d{4}|\d{2})(?!\d)"
)
_MONTH_FIRST = re.compile(r"\b([^\W\d_]{3,12})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})(?!\d)")


@dataclass(frozen=True)
class PaperLine:
    """A line of a paper: as it is laid out, on one page, as words alone."""

    text: str
    page: int
    words: str

    @property
    def plain(self) -> str:
        """The line with single spaces."""
        return " ".join(self.text.split())


@dataclass(frozen=True)
class SumOnPaper:
    """A number on a line, with the currencies that stand beside it may mean."""

    written: WrittenNumber
    line: PaperLine
    currencies: frozenset[str]

    @property
    def value(self) -> Decimal:
        """Its likelier reading."""
        return self.written.values[0]

    @property
    def has_cents(self) -> bool:
        """Whether two digits stand behind its last mark."""
        return re.search(r"[.,](\d{2}|-{1,2})$", self.written.text) is not None


def read_text(
    pages: Sequence[Sequence[str]],
    name: str,
    kind: Kind,
    *,
    home: str,
    others: Collection[str] = (),
    known: Iterable[str] = (),
    today: dt.date,
) -> Paper:
    """Propose what a receipt needs from the text of a paper.

    Parameters
    ----------
    pages : sequence of sequences of str
        The lines of each page.
    name : str
        Of the file.
    kind : {"text", "photo"}
    home : str
        The build's currency: a sign that several currencies share means it.
    others : collection of str
        Further currencies of the build, for signs that are not the home currency's.
    known : iterable of str
        Suppliers that were paid before.
    today : datetime.date
        No receipt is of a later day.
    """
    lines = [
        PaperLine(text[:_LONGEST_LINE], page, cues.plainly(text[:_LONGEST_LINE]))
        for page, texts in enumerate(pages, start=1)
        for text in texts
        if text.strip()
    ]
    several = len(pages) > 1 or kind == "text"
    sums = [found for line in lines for found in _sums(line)]
    currency = _currency(lines, sums, home, others)
    digits = minor_digits(currency.said if currency else home)
    sums = _settled(sums, digits)
    best = _amount(lines, sums)
    amount = (
        None
        if best is None
        else Found(_said(best[0].written, digits), best[1] + _where(best[0].line, several))
    )
    days, day_line = _day(lines, today)
    number = next((match[1] for line in lines if (match := cues.NUMBER.search(line.plain))), None)
    numbered = None if number is None else Found(number, "")
    back = any(cues.names(line.words, cues.BACK) and len(line.plain) < 40 for line in lines[:10])
    found_day = Found(days[0].isoformat(), _where(day_line, several)) if day_line and len(days) == 1 else None
    return Paper(
        name, kind,
        amount, currency, found_day, _supplier(lines, known, several), numbered,
        days if found_day is None else (), refund=back,
    )  # fmt: skip


def _where(line: PaperLine, several: bool) -> str:
    quote = line.plain
    if len(quote) > _LONGEST_QUOTE:
        quote = f"{quote[: _LONGEST_QUOTE // 2].rstrip()} … {quote[-_LONGEST_QUOTE // 2 :].lstrip()}"
    return f"“{quote}”" + (f" on page {line.page}" if several else "")


def _said(written: WrittenNumber, digits: int) -> str:
    """Give a sum so that it reads in one way, or as it stands where it can mean two."""
    if len(written.values) > 1:
        return written.text.lstrip("-")
    value = abs(written.values[0])
    return plainly(value) if value != round(value, digits) else f"{value:.{digits}f}"


def _sums(line: PaperLine) -> Iterator[SumOnPaper]:
    text = _NUMERIC_DAY.sub(lambda match: "#" * len(match[0]), line.text)
    for match in _SUM.finditer(text):
        written = look_at(match[0])
        if not written.readings:
            continue
        codes: frozenset[str] = frozenset()
        before = re.search(r"([^\s\d:.,]{1,4}|[A-Za-z]{3})[.:]?\s?$", text[: match.start()])
        after = re.match(r"\s?([^\s\d:,()]{1,4})", text[match.end() :])
        for beside in (before, after):
            if (
                beside
                and not codes
                and (len(beside[1]) < 3 or beside[1].isupper() or not beside[1].isalpha())
            ):
                codes = look_at(f"{beside[1]} {match[0]}").currency
        yield SumOnPaper(written, line, codes)


def _settled(sums: Sequence[SumOnPaper], digits: int) -> list[SumOnPaper]:
    """Settle what the numbers mean by the decimal mark that most of those use which can mean one thing only."""
    votes = Counter(
        mark
        for item in sums
        if len(item.written.values) == 1 and item.has_cents and digits
        for mark in item.written.readings
    )
    ranked = votes.most_common()
    mark = ranked[0][0] if ranked and (len(ranked) == 1 or ranked[0][1] > ranked[1][1]) else None
    found = []
    for item in sums:
        written = item.written
        if len(written.values) > 1 and mark is not None:
            settled = written.under(mark)
            fits = settled.readings and round(settled.values[0], digits) == settled.values[0] and digits
            thousands = all(value == value.to_integral_value() for value in settled.readings.values())
            written = (
                settled if fits and (thousands or item.has_cents) else written
            )  # 4.200 is no 4.20 on a bill
        elif len(written.values) > 1 and not digits:
            whole = decided(WrittenNumber(written.text, written.readings), digits=0)
            written = WrittenNumber(written.text, {".": whole}, written.currency, written.beside)
        if written.readings:
            found.append(SumOnPaper(written, item.line, item.currencies))
    return found


def _rank(words: str) -> int:
    """Tell how surely a line names the sum to pay; 0 where it does not."""
    due = cues.names(words, cues.DUE)
    if not due and cues.names(words, cues.NOT_ALL):
        return 0
    if not due and cues.names(words, cues.TAX) and not cues.names(words, cues.WITH_TAX):
        return 0
    ranks = (cues.WEAK, cues.TOTAL, cues.GRAND, cues.DUE)
    return max((rank for rank, group in enumerate(ranks, start=1) if cues.names(words, group)), default=0)


def _amount(lines: Sequence[PaperLine], sums: Sequence[SumOnPaper]) -> tuple[SumOnPaper, str] | None:
    """Find the sum that the paper is about, and what to say before where it stood."""
    by_line: dict[int, list[SumOnPaper]] = {}
    for item in sums:
        if item.value:
            by_line.setdefault(id(item.line), []).append(item)
    best: tuple[tuple[int, bool, Decimal], SumOnPaper] | None = None
    for place, line in enumerate(lines):
        rank = _rank(line.words)
        if not rank:
            continue
        there = by_line.get(id(line), [])
        if not there and place + 1 < len(lines) and not lines[place + 1].words.strip():
            there = by_line.get(id(lines[place + 1]), [])  # the figure stands below its word
        for item in there:
            key = (rank, item.has_cents, abs(item.value))
            if best is None or key > best[0]:
                best = (key, item)
    if best is not None:
        return best[1], ""
    money = [
        item
        for items in by_line.values()
        for item in items
        if (item.has_cents or item.currencies) and not cues.names(item.line.words, cues.NOT_ALL)
    ]
    if not money:
        return None
    return max(money, key=lambda item: abs(item.value)), "the largest sum, as no line names a total: "


def _currency(
    lines: Sequence[PaperLine], sums: Sequence[SumOnPaper], home: str, others: Collection[str]
) -> Found | None:
    """Find the currency: beside the sums, most often; a sign of several means the home one or another of the build."""
    votes: Counter[str] = Counter()
    told: dict[str, PaperLine] = {}
    for item in sums:
        for code in _meant(item.currencies, home, others):
            votes[code] += 1 + 5 * (_rank(item.line.words) > 0)
            told.setdefault(code, item.line)
    for line in lines:
        for code in re.findall(r"(?:in|:|\()\s?([A-Z]{3})\b", line.plain):
            if is_currency(code) and cues.names(line.words, cues.MONEY):
                votes[code] += 2
                told.setdefault(code, line)
    if not votes:
        return None
    code = votes.most_common(1)[0][0]
    return Found(code, _where(told[code], several=False))


def _meant(codes: frozenset[str], home: str, others: Collection[str]) -> tuple[str, ...]:
    for own in (home, *others):
        if own in codes:
            return (own,)
    return tuple(codes) if len(codes) == 1 else ()


def _day(lines: Sequence[PaperLine], today: dt.date) -> tuple[tuple[dt.date, ...], PaperLine | None]:
    """Find the day of the paper: one, or both that it can mean; the line that says it."""
    found: list[tuple[int, tuple[dt.date, ...], PaperLine]] = []
    orders = find_date_orders(match[0] for line in lines for match in _NUMERIC_DAY.finditer(line.text))
    for place, line in enumerate(lines):
        label = lines[place - 1].words if place and not line.words.strip() else ""  # the word stands above
        for days in _days_in(line.text, orders):
            legal = tuple(
                day
                for day in days
                if today - dt.timedelta(days=366 * OLDEST_YEARS) <= day <= today + dt.timedelta(days=1)
            )
            if legal:
                words = line.words + label
                score = 2 * cues.names(words, cues.DAY) - 3 * cues.names(words, cues.NOT_DAY)
                found.append((score, legal, line))
    if not found:
        return (), None
    _, days, line = max(found, key=lambda item: item[0])  # the first of equals
    return days, line


def _days_in(text: str, orders: tuple[DateOrder, ...]) -> Iterator[tuple[dt.date, ...]]:
    for match in _NUMERIC_DAY.finditer(text):
        written = match[0].replace(" ", "")
        every: tuple[DateOrder, ...] = ("ymd", "dmy", "mdy")
        for legal in (orders, every):  # where no order fits all, such as after a slip, each is read by itself
            days = tuple(
                dict.fromkeys(day for order in legal if (day := parse_day(written, order)) is not None)
            )
            if days:
                yield days
                break
    for pattern, places in ((_DAY_FIRST, (3, 2, 1)), (_MONTH_FIRST, (3, 1, 2))):
        for match in pattern.finditer(text):
            year, word, number = (match[place] for place in places)
            month = month_of(word)
            if month is not None:
                read = parse_day(f"{year if len(year) == 4 else f'20{year}'}-{month}-{number}", "ymd")
                if read is not None:
                    yield (read,)


def days_meant(text: str) -> tuple[dt.date, ...]:
    """Give the days that a text can mean as people write them, the day before the month first; none where it is no day.

    ``28-11-2026``, ``28.11.2026``, ``28/11/2026``, ``2026-11-28``, ``28 Nov 2026``, ``Nov 28, 2026``.
    """
    said = " ".join(text.split())
    if not any(pattern.fullmatch(said) for pattern in (_NUMERIC_DAY, _DAY_FIRST, _MONTH_FIRST)):
        return ()
    return next(_days_in(said, ("ymd", "dmy", "mdy")), ())


def _supplier(lines: Sequence[PaperLine], known: Iterable[str], several: bool) -> Found | None:
    """Find who is paid: a name that was paid before, else a firm's near the top, else the first line that is a name."""
    by_name = {plain_name(one): one for one in known}
    for name in sorted((one for one in by_name if len(one) > 3), key=len, reverse=True):
        for line in lines:
            if f" {name} " in f" {plain_name(line.plain)} ":
                return Found(by_name[name], f"paid before, and named in {_where(line, several)}")
    first: tuple[str, PaperLine] | None = None
    for line in lines[:_FIRST_LINES]:
        for part in re.split(r"\s{3,}|\t", line.text):
            part = part.strip(" *=-_#|:;")
            if not _is_name(part):
                continue
            if cues.FIRM.search(part):
                return Found(part, _where(line, several))
            first = first or (part, line)
    return None if first is None else Found(first[0], _where(first[1], several))


def _is_name(part: str) -> bool:
    words = cues.plainly(part)
    letters = sum(sign.isalpha() for sign in part)
    if letters < 3 or len(part) > 60 or sum(sign.isdigit() for sign in part) > letters / 2:
        return False
    if re.search(r"@|www\.|https?:|\btel\b|\bphone\b|\bvat\b|:\s*\S", part, re.IGNORECASE):
        return False
    if words.strip() and f"{words.strip()}" in cues.HEADINGS:
        return False
    return not any(words.startswith(f" {heading} ") for heading in cues.HEADINGS if len(heading) > 4)


__all__ = ["OLDEST_YEARS", "read_text"]
