"""Columns and numbers of a builder's own list of lines: what a heading means, and how a cell is read."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, TypeAlias

from forecast.buildfile.checks import nearest
from forecast.errors import BuildFileError, NumberError, Problem
from forecast.words.numbers import read_number

Cell: TypeAlias = str | date | Decimal
"""Text from a CSV file; a day or a number where a spreadsheet says so itself."""

ROLES: Mapping[str, str] = {
    "name": "what the line is called", "group": "its group", "low": "low amount", "middle": "amount (middle)",
    "high": "high amount", "quantity": "quantity", "unit": "unit of the quantity", "price": "price of one",
    "quantity_low": "low quantity", "quantity_high": "high quantity", "price_low": "low price of one",
    "price_high": "high price of one", "chance": "chance that it is needed", "supplier": "where it is bought",
    "package": "work package", "route": "self or shop", "note": "note", "id": "id in the build file",
}  # fmt: skip
"""What a column may hold."""

# Words that builders commonly put above their columns (common practice, no source).
_HEADINGS: Mapping[str, tuple[str, ...]] = {
    "price_low": ("price low", "low price", "unit price low", "min price", "price min"),
    "price_high": ("price high", "high price", "unit price high", "max price", "price max"),
    "quantity_low": ("quantity low", "low quantity", "qty low", "min qty", "qty min"),
    "quantity_high": ("quantity high", "high quantity", "qty high", "max qty", "qty max"),
    "quantity": ("quantity", "qty", "count", "pieces", "pcs", "number of", "menge", "anzahl", "stuck", "quantite",
                 "cantidad", "quantita", "aantal", "hoeveelheid"),
    "unit": ("unit", "units", "uom", "einheit", "unite", "unidad", "unita", "eenheid"),
    "price": ("price", "unit price", "unit cost", "price each", "price of one", "each", "einzelpreis", "preis",
              "stuckpreis", "prix unitaire", "prix", "precio", "precio unitario", "prezzo", "prijs", "stukprijs"),
    "low": ("low", "min", "minimum", "best case", "cheapest", "p10", "niedrig", "bas", "bajo", "basso", "laag"),
    "high": ("high", "max", "maximum", "worst case", "dearest", "p90", "hoch", "haut", "alto", "hoog"),
    "middle": ("middle", "likely", "most likely", "expected", "estimate", "amount", "cost", "total", "sum", "p50",
               "mid", "mitte", "betrag", "kosten", "gesamt", "summe", "montant", "cout", "importe", "costo", "coste",
               "importo", "bedrag", "totaal", "value"),
    "name": ("name", "line", "item", "line item", "description", "part", "what", "position", "bezeichnung", "artikel",
             "teil", "beschreibung", "designation", "libelle", "articulo", "descripcion", "descrizione", "articolo",
             "omschrijving", "naam", "nom", "nombre", "nome"),
    "group": ("group", "category", "section", "type", "gruppe", "kategorie", "groupe", "categorie", "categoria",
              "grupo", "gruppo", "groep"),
    "chance": ("chance", "probability", "likelihood", "wahrscheinlichkeit", "probabilite", "probabilidad",
               "probabilita", "kans"),
    "supplier": ("supplier", "shop", "seller", "vendor", "where", "lieferant", "fournisseur", "proveedor",
                 "fornitore", "leverancier"),
    "package": ("package", "work package"),
    "route": ("route", "who"),
    "note": ("note", "notes", "comment", "remark", "remarks", "bemerkung", "notiz", "remarque", "nota",
             "opmerking"),
    "id": ("id", "line id"),
}  # fmt: skip


def plain(heading: object) -> str:
    """Give a heading in small letters without accents, punctuation and what stands in brackets."""
    text = re.sub(r"[(\[].*?[)\]]", " ", str(heading).casefold())
    letters = unicodedata.normalize("NFKD", text)
    return re.sub(r"[^a-z0-9]+", " ", "".join(c for c in letters if not unicodedata.combining(c))).strip()


def guess_columns(header: Sequence[Cell]) -> dict[str, int]:
    """Guess which column holds what from the headings, whole headings before single words of them.

    Returns
    -------
    dict of str to int
        Column number, from 0, by role.
    """
    names = [plain(cell) for cell in header]
    found: dict[str, int] = {}
    for whole in (True, False):
        for role, words in _HEADINGS.items():
            for place, name in enumerate(names):
                fits = name in words if whole else any(re.search(rf"\b{word}\b", name) for word in words)
                if role not in found and place not in found.values() and fits:
                    found[role] = place
    return found


def find_header(rows: Sequence[Sequence[Cell]], decided: Collection[str] = ()) -> int:
    """Find the row of headings among the first: the one in which most headings are known, a name among them.

    Parameters
    ----------
    rows : sequence of rows
    decided : collection of str
        Headings that the builder named: the row that has them all is the one.

    Raises
    ------
    BuildFileError
        Where there is none.
    """
    for place, row in enumerate(rows[:60]):
        if decided and set(decided) <= {str(cell).strip() for cell in row}:
            return place
    known = [len(found) if "name" in (found := guess_columns(row)) else 0 for row in rows[:60]]
    if not known or max(known) < 2:
        heading, found_, mend = (
            "list of lines", "no row of headings was found",
            "Put one above the first line, such as: name, group, low, middle, high, quantity, unit, price.",
        )  # fmt: skip
        raise BuildFileError(heading, [Problem("first rows", found_, mend)])
    return known.index(max(known))


def choose_columns(header: Sequence[Cell], decided: Mapping[str, str]) -> dict[str, int]:
    """Give the column of each role: as guessed, or as decided by heading; an empty heading takes a role away.

    Raises
    ------
    BuildFileError
        Where a role or a heading is not there, or none says what the lines are called and what they cost.
    """
    names = [str(cell).strip() for cell in header]
    columns, problems = guess_columns(header), []
    for role, heading in decided.items():
        if role not in ROLES:
            problems.append(Problem(f"column {role!r}", "no such role", nearest(role, ROLES)))
        elif heading and heading not in names:
            found = f"no column is headed {heading!r}"
            problems.append(Problem(role, found, nearest(heading, filter(None, names))))
        else:
            place = names.index(heading) if heading else -1
            columns = {other: at for other, at in columns.items() if at != place and other != role}
            if heading:
                columns[role] = place
    if not problems:
        if "name" not in columns:
            problems.append(Problem("name", "no column says what a line is called", "Say which one does."))
        if not {"low", "middle", "high", "price"} & set(columns):
            problems.append(Problem("amount", "no column says what a line costs", "Say which one does."))
    if problems:
        heading = "list of lines"
        raise BuildFileError(heading, problems)
    return columns


def cell_number(cell: Cell, decimal: str, currency: str = "", *, percent: bool = False) -> float | str:
    """Read the number of a cell; where it is none, say why and what is legal.

    Parameters
    ----------
    cell : str, date or Decimal
    decimal : {".", ","}
    currency : str
        Whose code or sign may stand beside it.
    percent : bool
        Whether it may be written as a percentage.
    """
    if isinstance(cell, Decimal):
        return float(cell) if cell.is_finite() else "Write a number."
    if isinstance(cell, date):
        return "It is a date: write a number, and format the cell as one."
    try:
        return float(read_number(cell, currency=currency, decimal=decimal, percent=percent))
    except NumberError as error:
        return f"It {error.found}. {error.mend}"


def figure_of(given: Mapping[str, float | None], unit: str = "") -> Any:
    """Write low, middle and high as the build file does; a middle alone is a plain number."""
    numbers: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
    if set(numbers) == {"middle"} and not unit:
        return numbers["middle"]
    if set(numbers) == {"middle"}:
        numbers = {"value": numbers["middle"]}
    return numbers | ({"unit": unit} if unit else {})


__all__ = [
    "ROLES",
    "Cell",
    "cell_number",
    "choose_columns",
    "figure_of",
    "find_header",
    "guess_columns",
    "plain",
]
