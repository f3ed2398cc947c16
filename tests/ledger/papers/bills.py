"""Bills of invented shops for tests: what they say, as text, and the text as a PDF."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

TODAY = dt.date(2026, 11, 27)


@dataclass(frozen=True)
class Bill:
    """The lines of a bill and what a builder would enter from it."""

    lines: tuple[str, ...]
    amount: str
    day: str
    currency: str
    supplier: str
    home: str = "EUR"


BILLS: dict[str, Bill] = {
    "till in English": Bill((
        "Plainly Invented Paints", "12 Nowhere Street", "Tel 01 555 0100", "03/04/26   14:12   Till 2",
        "Primer 2K 1 l          24.90", "Tape 48 mm x 3          7.50", "SUBTOTAL               32.40",
        "VAT 23%                 6.06", "TOTAL                 £32.40", "CASH                  £40.00",
        "CHANGE                 £7.60", "Thank you, 25/04/26 returns until",
    ), "32.40", "2026-04-03", "GBP", "Plainly Invented Paints", "GBP"),
    "bill in German": Bill((
        "Harz und Matte Erfunden GmbH        Rechnung", "Irgendweg 1, 00000 Nirgends", "Rechnung Nr. R-2026-0815",
        "Rechnungsdatum: 31.05.2026      Lieferdatum: 28.05.2026", "Fällig bis 14.06.2026",
        "5 kg Harz           2 Stk   60,00    120,00", "Zwischensumme                        1.200,00 €",
        "19 % MwSt                              228,00 €", "Gesamtbetrag                         1.428,00 €",
    ), "1428.00", "2026-05-31", "EUR", "Harz und Matte Erfunden GmbH"),
    "bill in French": Bill((
        "FACTURE", "Ateliers Fictifs SARL", "Date : 3 août 2026", "Échéance : 3 septembre 2026",
        "Total HT                    1 000,00", "TVA 20 %                      200,00",
        "Total TTC          1 200,00 EUR",
    ), "1200.00", "2026-08-03", "EUR", "Ateliers Fictifs SARL"),
    "bill in Polish": Bill((
        "Zmyślony Sklep sp. z o.o.", "Faktura nr FV/12/2026", "Data wystawienia: 2026-02-17",
        "Termin płatności: 2026-03-03", "Razem netto   1 000,00 zł", "VAT 23%         230,00 zł",
        "Do zapłaty    1 230,00 zł",
    ), "1230.00", "2026-02-17", "PLN", "Zmyślony Sklep sp. z o.o.", "PLN"),
    "bill in dollars": Bill((
        "INVOICE", "Imaginary Kit Foundry LLC", "Invoice # 4711", "Invoice date: March 9, 2026",
        "Due date: April 8, 2026", "Box arch kit        1     $2,950.00", "Crate               1       $185.00",
        "Subtotal                  $3,135.00", "Sales tax 8.25%             $258.64",
        "Amount due                $3,393.64",
    ), "3393.64", "2026-03-09", "USD", "Imaginary Kit Foundry LLC", "USD"),
    "bill from far away in yen": Bill((
        "Made-up Aero Parts Co. Ltd", "Tax invoice", "Date 2026/06/05", "Front lip   1   JPY 84,000",
        "Total       JPY 84,000",
    ), "84000", "2026-06-05", "JPY", "Made-up Aero Parts Co. Ltd"),
    "a deposit paid before": Bill((
        "Nonesuch Body Shop Ltd", "Date of issue 11 Sept 2026", "Grand total       €4,200.00",
        "Deposit received    €1,000.00", "Balance due         €3,200.00",
    ), "3200.00", "2026-09-11", "EUR", "Nonesuch Body Shop Ltd"),
    "the figure below its word": Bill((
        "Nobody's Fasteners", "Date", "2026-01-15", "Amount due", "64.20 EUR",
    ), "64.20", "2026-01-15", "EUR", "Nobody's Fasteners"),
    "bill in Dutch": Bill((
        "Verzonnen Lakken B.V.", "Factuurnummer: 20260117", "Factuurdatum 17-01-2026", "Vervaldatum 31-01-2026",
        "Subtotaal € 413,22", "BTW 21% € 86,78", "Totaal incl. BTW € 500,-",
    ), "500.00", "2026-01-17", "EUR", "Verzonnen Lakken B.V."),
}  # fmt: skip


def text_pdf(*pages: Sequence[str]) -> bytes:
    """Write text as a PDF by hand, one page for each: Courier, a line below the other (PDF 1.4, ISO 32000-1)."""
    objects: list[bytes] = []

    def add(body: bytes) -> int:
        objects.append(body)
        return len(objects)

    font = add(b"<< /Type /Font /Subtype /Type1 /BaseFont /Courier /Encoding /WinAnsiEncoding >>")
    tree = len(objects) + 2 * len(pages) + 1
    leaves = []
    for lines in pages:
        shown = "".join(
            f"({line.translate(str.maketrans({'(': '[', ')': ']', chr(92): '/'}))}) Tj 0 -14 Td\n"
            for line in lines
        )
        stream = f"BT /F1 10 Tf 40 780 Td\n{shown}ET".encode("cp1252", "replace")
        content = add(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream))
        fonts = b"/Resources << /Font << /F1 %d 0 R >> >>" % font
        page = b"<< /Type /Page /Parent %d 0 R /MediaBox [0 0 595 842] /Contents %d 0 R %s >>"
        leaves.append(add(page % (tree, content, fonts)))
    kids = b" ".join(b"%d 0 R" % leaf for leaf in leaves)
    assert add(b"<< /Type /Pages /Kids [%s] /Count %d >>" % (kids, len(leaves))) == tree
    root = add(b"<< /Type /Catalog /Pages %d 0 R >>" % tree)
    whole, places = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, start=1):
        places.append(len(whole))
        whole += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    start = len(whole)
    whole += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    whole += b"".join(b"%010d 00000 n \n" % place for place in places)
    return whole + b"trailer\n<< /Size %d /Root %d 0 R >>\nstartxref\n%d\n%%%%EOF" % (
        len(objects) + 1,
        root,
        start,
    )
