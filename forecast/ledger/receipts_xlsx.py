"""The receipts as a spreadsheet, one row for each part of a receipt, for reckoning elsewhere."""

from __future__ import annotations

import io
from collections.abc import Mapping

from forecast.ledger import Ledger
from forecast.ledger.store import clean
from forecast.words.minor_units import exponent, to_decimal

HEADINGS = (
    "No.",
    "Date",
    "Supplier",
    "Kind",
    "Line",
    "Amount",
    "Charged by the supplier",
    "Note",
    "Taken back",
)


def receipts_xlsx(ledger: Ledger, currency: str, names: Mapping[str, str] | None = None) -> bytes:
    """Write all receipts as a spreadsheet; those taken back say so and why, and do not count in the sum.

    Parameters
    ----------
    ledger : Ledger
    currency : str
        The build's, in which the parts are.
    names : mapping of str to str, optional
        Name of each line by id; the id where there is none.

    Returns
    -------
    bytes
        An XLSX file.
    """
    from openpyxl import Workbook  # loaded late: only spreadsheets need it
    from openpyxl.styles import Font

    receipts = ledger.list_receipts(include_void=True)
    voids = {receipt.voids: receipt for receipt in receipts if receipt.voids is not None}
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Receipts"
    sheet.append([heading if heading != "Amount" else f"Amount {currency}" for heading in HEADINGS])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    money = "#,##0" + (f".{'0' * exponent(currency)}" if exponent(currency) else "")
    row = 1
    for receipt in receipts:
        if receipt.voids is not None:
            continue
        void = voids.get(receipt.id)
        charged = (
            f"{to_decimal(receipt.amount_minor, receipt.currency)} {receipt.currency}"
            if receipt.charged_minor is not None
            else ""
        )
        for split in receipt.splits:
            row += 1
            texts = {
                3: receipt.supplier, 4: receipt.kind, 5: (names or {}).get(split.line_id, split.line_id),
                7: charged, 8: receipt.note, 9: "" if void is None else f"{void.date}: {void.note}",
            }  # fmt: skip
            sheet.cell(row, 1, receipt.id)
            sheet.cell(row, 2, receipt.date).number_format = "yyyy-mm-dd"
            # What was taken back costs nothing, so that a sum over the column is what was paid.
            paid = 0 if void is not None else split.amount_minor
            sheet.cell(row, 6, to_decimal(paid, currency)).number_format = money
            for column, text in texts.items():
                cell = sheet.cell(row, column)
                cell.value = clean(text, lines=True)
                cell.data_type = "s"  # a note that begins with "=" is text and no formula
    for letter, width in zip("ABCDEFGHI", (6, 12, 28, 11, 30, 14, 20, 40, 30), strict=True):
        sheet.column_dimensions[letter].width = width
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()
