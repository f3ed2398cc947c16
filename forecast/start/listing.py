"""Lines from the builder's own list: rows of a spreadsheet become lines of a build by their headings, all or none."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Literal, TypeAlias

from forecast.buildfile.cautions import mentions
from forecast.buildfile.changes import AddItem
from forecast.buildfile.checks import nearest
from forecast.buildfile.edit import changed
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.reader import MOST_LINES, assemble
from forecast.buildfile.rulefiles import unknown_country
from forecast.buildfile.schema import GROUPS, Build
from forecast.buildfile.sheet import free_id
from forecast.buildfile.toml import toml_value
from forecast.errors import BuildFileError, NumberError, Problem
from forecast.start.toml_text import comment
from forecast.words.numbers import read_number
from forecast.words.text import bare_words

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


_AMONG = {role: re.compile(rf"\b(?:{'|'.join(words)})\b") for role, words in _HEADINGS.items()}


_LONGEST_HEADING = 200
"""So many characters of a heading are looked at: what is longer is none."""


def heading_words(heading: object) -> str:
    """Give a heading in small letters without accents, punctuation and what stands in brackets."""
    return bare_words(re.sub(r"[(\[].*?[)\]]", " ", str(heading)[:_LONGEST_HEADING]))


def guess_columns(header: Sequence[Cell]) -> dict[str, int]:
    """Guess which column holds what from the headings, whole headings before single words of them.

    Returns
    -------
    dict of str to int
        Column number, from 0, by role.
    """
    names = [heading_words(cell) for cell in header]
    found: dict[str, int] = {}
    left = {place: name for place, name in enumerate(names) if name}
    for whole in (True, False):
        for role, words in _HEADINGS.items():
            if role in found:
                continue
            among = _AMONG[role]
            for place, name in left.items():
                if name in words if whole else among.search(name):
                    found[role] = place
                    del left[place]
                    break
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


State = Literal["new", "bad", "sum", "left out"]

BELOW, ABOVE = 0.85, 1.35
"""Factors on a price that stands alone, for P10 and P90: invented starting values, the builder's to overwrite."""

SPREAD_NOTE = (
    "The list had one price here: a starting range of 15 % less to 35 % more was put around it, invented."
)

_NOTHING = "list of lines: nothing was taken"
_SUMS = ("total", "totals", "sum", "subtotal", "sub-total", "grand total", "summe", "gesamt", "zwischensumme", "totaal",
         "total general", "totale", "somme")  # fmt: skip

# How builders commonly call what stands in a group (common practice, no source).
_GROUP_WORDS: Mapping[str, tuple[str, ...]] = {
    "kit": ("kit", "body kit", "panels", "parts kit"),
    "freight": ("freight", "shipping", "transport", "delivery", "carriage"),
    "import": ("import", "customs", "duty", "tax", "taxes", "vat", "gst"),
    "consumables": ("consumables", "consumable", "materials", "material", "supplies"),
    "wheels": ("wheels", "wheel", "tyres", "tires"),
    "hardware": ("hardware", "fixings", "fasteners", "fittings", "brackets"),
    "labour": ("labour", "labor", "work", "services", "shop"),
    "finish": ("finish", "paint", "painting", "film", "wrap", "coating"),
    "other": ("other", "others", "misc", "miscellaneous", "tools", "various"),
}


@dataclass(frozen=True)
class Listed:
    """One row of the list, and what becomes of it.

    Attributes
    ----------
    number : int
        Of the row in the file, from 1.
    name, group : str
    state : str
        new: a line comes of it; bad: it has mistakes; sum: it only adds others up; left out: the builder's wish.
    table : mapping
        The line as the build file has it; empty where none comes of it.
    problems : tuple of Problem
    """

    number: int
    name: str
    group: str
    state: State
    table: Mapping[str, Any] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()

    @property
    def why(self) -> str:
        """What is wrong, or why nothing comes of it."""
        if self.state == "sum":
            return "adds up other rows"
        return " ".join(
            f"{item.where.partition(', ')[2]}: {item.found}. {item.mend}" for item in self.problems
        )


def read_rows(
    rows: Iterable[tuple[int, Sequence[Cell]]],
    columns: Mapping[str, int],
    headings: Sequence[str],
    decimal: str,
    currency: str,
    *,
    known: bool = False,
    leave_out: Collection[int] = (),
    build: Build | None = None,
) -> tuple[Listed, ...]:
    """Read rows as lines.

    Parameters
    ----------
    rows : iterable of (int, cells)
        With their numbers in the file; empty ones taken out.
    columns : mapping
        Column, from 0, by role; see `ROLES`.
    headings : sequence of str
        As they stand in the file.
    decimal : {".", ","}
    currency : str
        In which the prices are.
    known : bool
        Whether a price that stands alone is known; otherwise it gets a starting range.
    leave_out : collection of int
        Numbers of rows not to take.
    build : Build, optional
        The build that the lines are for: an id or a name that it has already is a mistake.

    Returns
    -------
    tuple of Listed

    Raises
    ------
    BuildFileError
        If there are more rows than a build has lines.
    """
    rows = list(rows)
    if len(rows) > MOST_LINES:
        problem = Problem("list", f"has {len(rows):,} rows", f"A build has {MOST_LINES:,} lines at most.")
        raise BuildFileError(_NOTHING, [problem])
    items = [*build.line, *build.event] if build is not None else []
    taken = {item.id for item in items}
    names = {item.title.casefold() for item in items}
    found = []
    for number, cells in rows:
        row = _Row(number, cells, columns, headings, decimal, currency)
        listed = _listed(row, taken, names, known=known, skip=number in leave_out)
        if listed.state == "new":
            taken.add(listed.table["id"])
        found.append(listed)
    return tuple(found)


@dataclass
class _Row:
    """One row while it is read: its cells by role, and what is wrong with them."""

    number: int
    cells: Sequence[Cell]
    columns: Mapping[str, int]
    headings: Sequence[str]
    decimal: str
    currency: str
    problems: list[Problem] = field(default_factory=list)

    def text(self, role: str) -> str:
        place = self.columns.get(role)
        cell = self.cells[place] if place is not None and place < len(self.cells) else ""
        return " ".join(str(cell).split())

    def note(self, role: str, found: str, mend: str) -> None:
        place = self.columns.get(role)
        where = f"column {self.headings[place]!r}" if place is not None else role.replace("_", " ")
        self.problems.append(Problem(f"row {self.number}, {where}", found, mend))

    def number_in(self, role: str) -> float | None:
        place = self.columns.get(role)
        if place is None or place >= len(self.cells) or not self.text(role):
            return None
        money = self.currency if not role.startswith(("quantity", "chance")) else ""
        value = cell_number(self.cells[place], self.decimal, money, percent=role == "chance")
        if isinstance(value, str):
            self.note(role, f"found {self.text(role)!r}", value)
            return None
        return value


def _listed(row: _Row, taken: set[str], names: set[str], *, known: bool, skip: bool) -> Listed:
    name, group = row.text("name"), row.text("group")
    if skip:
        return Listed(row.number, name, group, "left out")
    if name.strip(" :").casefold() in _SUMS:
        return Listed(row.number, name, group, "sum")
    table = _table(row, taken, names, known=known)
    if not row.problems:
        _, raised = assemble(
            {
                "build": {"name": "list", "currency": row.currency, "country": unknown_country().country},
                "line": [table],
            }
        )
        for path, found, mend in raised:
            row.note(_role_of(path), found, mend)
    if row.problems:
        return Listed(row.number, name, table["group"], "bad", {}, tuple(row.problems))
    return Listed(row.number, name, table["group"], "new", table)


def _role_of(path: Sequence[str | int]) -> str:
    """Give the role of the column from which a part of a line came."""
    parts = [str(part) for part in path[2:]]
    if not parts:
        return "name"
    end = parts[-1] if parts[-1] in ("low", "middle", "high") else ""
    role = {"amount": end or "middle", "price": f"price_{end}", "quantity": f"quantity_{end}"}.get(
        parts[0], parts[0]
    )
    return role if role in ROLES else parts[0] if parts[0] in ROLES else "name"


def _table(row: _Row, taken: set[str], names: set[str], *, known: bool) -> dict[str, Any]:
    name = row.text("name")
    if not name:
        row.note("name", "is empty", "Write what the line is called, or leave the row out.")
    elif name.casefold() in names:
        row.note("name", f"{name!r} is in the build already", "Leave the row out, or give it another name.")
    id = row.text("id")
    if id in taken:
        row.note("id", f"{id!r} is taken already", "Give it another one, or none: it follows from the name.")
    table: dict[str, Any] = {"id": id or free_id(name, taken), "name": name, "group": _group(row)}
    _costs(row, table, known=known)
    chance = row.number_in("chance")
    if chance is not None and not 0 < chance <= 1:
        row.note("chance", f"found {row.text('chance')!r}", "Write it from 0 to 1, such as 0.3, or as 30 %.")
    elif chance is not None and chance < 1:
        table["chance"] = chance
    for role in ("supplier", "package", "route", "note"):
        if words := row.text(role):
            table[role] = f"{words} {table[role]}" if role in table else words
    return table


def _group(row: _Row) -> str:
    written = row.text("group")
    if not written:
        return "other"
    plain = written.casefold()
    if plain in GROUPS:
        return plain
    fits = [group for group, words in _GROUP_WORDS.items() if mentions(written, words)]
    if len(fits) == 1:
        return fits[0]
    row.note("group", f"found {written!r}", nearest(plain, GROUPS))
    return "other"


def _costs(row: _Row, table: dict[str, Any], *, known: bool) -> None:
    """Put what the line costs into its table: an amount, or quantity × price."""
    wrong = len(row.problems)
    amount, price, quantity = (
        {end: row.number_in(role) for end, role in roles.items()}
        for roles in (
            {"low": "low", "middle": "middle", "high": "high"},
            {"low": "price_low", "middle": "price", "high": "price_high"},
            {"low": "quantity_low", "middle": "quantity", "high": "quantity_high"},
        )
    )
    if len(row.problems) > wrong:
        return
    priced, counted, summed = (
        any(value is not None for value in given.values()) for given in (price, quantity, amount)
    )
    if priced and not counted and (not summed or amount == price):  # the price of one thing
        amount, summed, priced = price, True, False
    if counted and priced:
        if summed and not _agrees(row, amount, quantity, price):
            return
        table["quantity"] = figure_of(quantity, unit=row.text("unit"))
        table["price"] = figure_of(price)
        certain = (
            isinstance(table["quantity"], dict) and "low" in table["quantity"]
        )  # the range is there already
        _spread(table, "price", known=known or certain)
    elif counted and summed and not priced:
        row.note(
            "quantity", "a quantity without a price of one",
            "Give the price of one, or leave the quantity empty if the amounts are those of the whole line.",
        )  # fmt: skip
    elif priced:
        row.note("price", "a price of one as well as an amount, without a quantity", "Keep one of the two.")
    elif counted:
        row.note("quantity", "a quantity without a price", "Give the price of one.")
    elif summed:
        table["amount"] = figure_of(amount)
        _spread(table, "amount", known=known)
    else:
        role = "middle" if "middle" in row.columns else "price" if "price" in row.columns else "name"
        row.note(role, "no price", "Give one, or leave the row out.")


def _agrees(
    row: _Row,
    amount: Mapping[str, float | None],
    quantity: Mapping[str, float | None],
    price: Mapping[str, float | None],
) -> bool:
    """Tell whether an amount is what quantity × price makes: spreadsheets often hold both."""
    whole, count, one = amount["middle"], quantity["middle"], price["middle"]
    alone = amount["low"] is None and amount["high"] is None
    if alone and whole is not None and count is not None and one is not None:
        if abs(whole - count * one) <= max(0.01 * abs(count * one), 0.011):
            return True
        found = f"the amount {whole:g} is not {count:g} × {one:g} = {count * one:g}"
        row.note("middle", found, "Mend one of the three, or leave the amount empty.")
        return False
    row.note("middle", "amounts as well as quantity and price", "Keep one way, and leave the other empty.")
    return False


def _spread(table: dict[str, Any], key: str, *, known: bool) -> None:
    """Put a starting range around a figure that stands alone, unless it is known."""
    value = table[key]
    if known or not isinstance(value, int | float) or value <= 0:
        return
    low, high = rounded(value * BELOW), rounded(value * ABOVE)
    if low < value < high:
        table[key] = {"low": low, "middle": value, "high": high}
        table["note"] = SPREAD_NOTE


def lines_to_add(listed: Sequence[Listed]) -> list[AddItem]:
    """Give the changes that add all new lines.

    Raises
    ------
    BuildFileError
        With every bad row; nothing is to be added then.
    """
    problems = [problem for row in listed for problem in row.problems]
    if not problems and not any(row.state == "new" for row in listed):
        problems = [Problem("list", "no row becomes a line", "Look at the columns, and at what is left out.")]
    if problems:
        raise BuildFileError(_NOTHING, problems)
    return [AddItem("line", row.table) for row in listed if row.state == "new"]


def build_of_list(name: str, currency: str, country: str, listed: Sequence[Listed]) -> str:
    """Give the text of a new build file with the lines of a list.

    Raises
    ------
    BuildFileError
        With every bad row.
    """
    added = lines_to_add(listed)
    opening = (
        f"{name}: begun from a list of lines.\n\n"
        "How to read a range: { low, middle, high }. In 10 of 100 builds it is less than low, in half less than "
        "middle, in 90 of 100 less than high. A plain number is known. `forecast check` says what may have been left "
        "out."
    )
    plain = " ".join(name.split())
    lines = [
        *comment(opening.replace(name, plain)), "", "[build]", f"name = {toml_value(plain)}",
        f"currency = {toml_value(currency)}", f"country = {toml_value(country)}  # whose customs and tax rules hold",
        "", "",
    ]  # fmt: skip
    return changed("\n".join(lines), added)
