"""Electronic invoices by EN 16931, read exactly and within bounds, in both of its syntaxes: UBL 2.1 and UN/CEFACT CII.

Python's own parser is asked to hand out each element as it comes. A document type is refused when it begins: with it
goes everything that entities could do, such as growing a thousandfold or naming another file.

Where each business term (BT) stands follows the bindings of CEN/TS 16931-3-2 (UBL) and 16931-3-3 (CII).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NoReturn
from xml.parsers import expat

from forecast.errors import ForecastError, LedgerError
from forecast.ledger.papers.paper import Found, Paper
from forecast.words.minor_units import exponent, format_plain, parse_money

MOST_ELEMENTS, DEEPEST = 150_000, 60
"""An invoice of a thousand lines has about 60,000 elements; none of them lies deeper than 14."""
LONGEST_TEXT = 10_000
"""Characters of one element that are kept: a document that is packed into an invoice is of no use here."""


@dataclass
class Element:
    """One element: its name without namespace, that namespace, its attributes, its text, what stands in it."""

    name: str
    space: str
    attributes: dict[str, str]
    children: list[Element] = field(default_factory=list)
    text: str = ""

    def all(self, path: str) -> Iterator[Element]:
        """Give every element at a path of names, such as ``Party/PartyName/Name``."""
        name, _, rest = path.partition("/")
        for child in self.children:
            if child.name == name:
                yield from child.all(rest) if rest else (child,)

    def words(self, *paths: str) -> str:
        """Give the text at the first of these paths that has any, on one line; empty where none has."""
        for path in paths:
            for found in self.all(path):
                if text := " ".join(found.text.split()):
                    return text
        return ""


class _Stopped(Exception):
    """Reading was given up; the message says why."""


def read_elements(content: bytes, name: str) -> Element:
    """Read XML.

    Parameters
    ----------
    content : bytes
    name : str
        Of the file, for messages.

    Raises
    ------
    LedgerError
        If it is no whole XML, has a document type, or is larger than an invoice can be.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    top = Element("", "", {})
    stack, count = [top], 0

    def begin(tag: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if count > MOST_ELEMENTS or len(stack) > DEEPEST:
            message = "has more elements, or deeper ones, than an invoice can have"
            raise _Stopped(message)
        space, _, local = tag.rpartition(" ")
        element = Element(local, space, attributes)
        stack[-1].children.append(element)
        stack.append(element)

    def end(_: str) -> None:
        stack.pop()

    def characters(text: str) -> None:
        element = stack[-1]
        if len(element.text) < LONGEST_TEXT:
            element.text += text[:LONGEST_TEXT]

    def document_type(*_: object) -> None:
        message = "has a document type, which an electronic invoice never has"
        raise _Stopped(message)

    parser.StartElementHandler = begin
    parser.EndElementHandler = end
    parser.CharacterDataHandler = characters
    parser.StartDoctypeDeclHandler = document_type
    try:
        parser.Parse(content, True)
    except (_Stopped, expat.ExpatError, LookupError, ValueError) as error:
        why = str(error) if isinstance(error, _Stopped) else f"is no whole XML ({error})"
        message = f"{name}: {why}. Ask the supplier for the file again, or enter the receipt by hand."
        raise LedgerError(message) from None
    return top.children[0]


CREDIT_CODES = frozenset(
    {"81", "83", "261", "262", "296", "308", "381", "396", "420", "458", "502", "503", "532"}
)
"""Codes of UNTDID 1001 by which a document is a credit note, as the code lists of EN 16931 have them."""

_UBL = "urn:oasis:names:specification:ubl:schema:xsd"
_TRADE = "SupplyChainTradeTransaction"
_SELLER = f"{_TRADE}/ApplicableHeaderTradeAgreement/SellerTradeParty"
_SETTLED = f"{_TRADE}/ApplicableHeaderTradeSettlement"
_SUMS = f"{_SETTLED}/SpecifiedTradeSettlementHeaderMonetarySummation"
_DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)  # xs:decimal


@dataclass(frozen=True)
class Syntax:
    """Where a syntax keeps what is read.

    Attributes
    ----------
    space, root : str
        Namespace and name of the outermost element.
    number, day, currency, code, supplier : tuple of str
        Paths to BT-1, BT-2, BT-5, BT-3 and BT-27 (the name traded under, BT-28, where that is empty).
    due, total, before : str
        Paths to BT-115, BT-112 and BT-113.
    items : str
        Path to BT-153, the name of what was bought.
    """

    space: str
    root: str
    number: str
    day: str
    currency: str
    code: str
    supplier: tuple[str, ...]
    due: str
    total: str
    before: str
    items: str


def _ubl(root: str) -> Syntax:
    seller = "AccountingSupplierParty/Party"
    return Syntax(
        f"{_UBL}:{root}-2", root, "ID", "IssueDate", "DocumentCurrencyCode", f"{root}TypeCode",
        (f"{seller}/PartyLegalEntity/RegistrationName", f"{seller}/PartyName/Name"),
        "LegalMonetaryTotal/PayableAmount", "LegalMonetaryTotal/TaxInclusiveAmount",
        "LegalMonetaryTotal/PrepaidAmount", f"{root}Line/Item/Name",
    )  # fmt: skip


SYNTAXES = (
    _ubl("Invoice"),
    _ubl("CreditNote"),
    Syntax(
        "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100", "CrossIndustryInvoice",
        "ExchangedDocument/ID", "ExchangedDocument/IssueDateTime/DateTimeString",
        f"{_SETTLED}/InvoiceCurrencyCode", "ExchangedDocument/TypeCode",
        (f"{_SELLER}/Name", f"{_SELLER}/SpecifiedLegalOrganization/TradingBusinessName"),
        f"{_SUMS}/DuePayableAmount", f"{_SUMS}/GrandTotalAmount", f"{_SUMS}/TotalPrepaidAmount",
        f"{_TRADE}/IncludedSupplyChainTradeLineItem/SpecifiedTradeProduct/Name",
    ),
)  # fmt: skip


def is_invoice(head: bytes) -> bool:
    """Tell by how a file begins whether it is an electronic invoice: XML that names one of the namespaces."""
    head = head[:4096]
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    return start.startswith(b"<") and any(one.space.encode() in head for one in SYNTAXES)


def read_invoice(content: bytes, name: str) -> Paper:
    """Read an electronic invoice.

    The sum is what is due (BT-115). Where nothing is due because all of it was paid before, it is what was paid: a
    receipt is about money that went.

    Parameters
    ----------
    content : bytes
        XML.
    name : str
        Of the file, for messages.

    Raises
    ------
    LedgerError
        If it is no invoice of these kinds, or lacks what the standard demands.
    """
    top = read_elements(content, name)
    syntax = next((one for one in SYNTAXES if (top.space, top.name) == (one.space, one.root)), None)
    if syntax is None:
        message = (
            f"{name}: is XML and no electronic invoice by EN 16931 (it begins with {top.name[:60]}). "
            "Enter it by hand, or ask the supplier for a PDF."
        )
        raise LedgerError(message)
    code = top.words(syntax.code)
    currency = top.words(syntax.currency) or _lacks(name, "currency", "BT-5")
    _known(currency, name)
    due = _sum(top, syntax.due, currency, name)
    if due is None:
        _lacks(name, "amount due for payment", "BT-115")
    before = _sum(top, syntax.before, currency, name) or 0
    total = _sum(top, syntax.total, currency, name)
    remarks, where, minor = [], "amount due for payment (BT-115)", due
    if not due and (before or total):
        minor, where = before or total or 0, "amount paid before (BT-113): nothing is due any more"
    elif before:
        paid = f"{format_plain(before, currency)} {currency}"
        remarks.append(f"{paid} of it were paid before and are not in this sum.")
    supplier, number = top.words(*syntax.supplier), top.words(syntax.number)
    return Paper(
        name, "invoice", Found(format_plain(abs(minor), currency), where), Found(currency, "BT-5"),
        Found(_day(top, syntax.day, name).isoformat(), "day of the invoice (BT-2)"),
        Found(supplier[:200], "seller (BT-27)") if supplier else _lacks(name, "name of the seller", "BT-27"),
        Found(number[:100], "BT-1") if number else _lacks(name, "number", "BT-1"),
        items=tuple(filter(None, (" ".join(item.text.split()) for item in top.all(syntax.items)))),
        # What comes back is written positive in a credit note; negative, it is what is due the other way round.
        refund=(syntax.root == "CreditNote" or code in CREDIT_CODES) != (minor < 0), remarks=tuple(remarks),
    )  # fmt: skip


def _lacks(name: str, what: str, term: str) -> NoReturn:
    message = (
        f"{name}: an electronic invoice without the {what} ({term}), which EN 16931 demands. "
        "Enter it by hand, or ask the supplier for a whole one."
    )
    raise LedgerError(message)


def _known(currency: str, name: str) -> None:
    try:
        exponent(currency)
    except LedgerError as error:
        message = f"{name}: {error} Or enter it by hand."
        raise LedgerError(message) from None


def _sum(top: Element, path: str, currency: str, name: str) -> int | None:
    """Give the sum at a path in the invoice's own currency; None where there is none."""
    found = [item for item in top.all(path) if item.attributes.get("currencyID", currency) == currency]
    if not found:
        if other := next(top.all(path), None):
            message = (
                f"{name}: a sum is in {other.attributes['currencyID'][:10]}, and the invoice in {currency}. "
                "Enter it by hand."
            )
            raise LedgerError(message)
        return None
    text = found[0].text.strip()
    try:
        if not _DECIMAL.fullmatch(text):
            message = f"{text[:40]!r} is no sum"
            raise LedgerError(message)
        return parse_money(text.removesuffix("."), currency, decimal=".")
    except ForecastError as error:
        message = f"{name}: {error}".rstrip(".") + ". Enter it by hand."
        raise LedgerError(message) from None


def _day(top: Element, path: str, name: str) -> date:
    """Read BT-2: ``2026-05-31`` in UBL, ``20260531`` with format 102 in CII."""
    text = top.words(path) or _lacks(name, "day", "BT-2")
    for form in ("%Y-%m-%d", "%Y%m%d"):
        try:
            return datetime.strptime(text[:10], form).date()
        except ValueError:
            continue
    message = f"{name}: {text[:40]!r} is no day (BT-2). Enter it by hand."
    raise LedgerError(message)
