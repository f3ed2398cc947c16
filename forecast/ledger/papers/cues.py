"""Words by which a bill tells what stands beside them, in several languages (common practice, no source)."""

from __future__ import annotations

import re
from functools import cache

from forecast.words.text import without_accents

DUE = (
    "amount due", "balance due", "total due", "amount payable", "total payable", "to pay", "please pay",
    "pay this amount",
    "zu zahlen", "zahlbetrag", "zahlungsbetrag", "net a payer", "a payer", "te betalen", "totale da pagare",
    "da pagare",
    "total a pagar", "a pagar", "do zaplaty", "k uhrade", "att betala", "at betale", "a betale", "maksettava",
    "fizetendo", "de plata",
)  # fmt: skip
"""What is to be paid, before any other sum."""
GRAND = (
    "grand total", "invoice total", "total amount", "total incl", "total inc", "gesamtbetrag", "endbetrag",
    "rechnungsbetrag",
    "gesamtsumme", "total ttc", "montant ttc", "totaal incl", "totale fattura", "totale documento", "total general",
    "razem brutto", "celkem s dph", "total iva incluido",
)  # fmt: skip
TOTAL = (
    "total", "summe", "gesamt", "totaal", "totale", "suma", "razem", "lacznie", "celkem", "spolu", "summa",
    "i alt", "sum",
    "yhteensa", "osszesen", "ukupno", "skupaj", "is viso", "importe",
)  # fmt: skip
WEAK = (
    "amount",
    "betrag",
    "montant",
    "bedrag",
    "importo",
    "kwota",
    "castka",
    "belopp",
    "belob",
    "paid",
    "bezahlt",
    "paye",
)
"""What often names a sum that is paid; also one among others."""
NOT_ALL = (
    "subtotal", "sub total", "zwischensumme", "sous total", "subtotaal", "subtotale", "parcial", "netto",
    "net", "nett",
    "excl", "excluding", "ex vat", "before tax", "exkl", "hors taxe", "ht", "bez dph", "discount", "rabatt", "remise",
    "korting", "sconto", "descuento", "rabat", "saved", "savings", "you save", "items", "artikel",
    "articles", "change",
    "ruckgeld", "wechselgeld", "rendu", "wisselgeld", "resto", "cambio", "reszta", "cash", "bar", "gegeben",
    "especes",
    "contant", "contanti", "efectivo", "gotowka", "tendered", "received", "deposit", "anzahlung", "acompte", "points",
    "shipping", "freight", "weight", "hours", "quantity",
)  # fmt: skip
"""Beside these stands a part, or what was handed over."""
TAX = (
    "vat",
    "tax",
    "gst",
    "mwst",
    "ust",
    "tva",
    "iva",
    "btw",
    "moms",
    "mva",
    "dph",
    "pdv",
    "afa",
    "alv",
    "ptu",
    "tvq",
)
WITH_TAX = (
    "incl",
    "inc",
    "including",
    "included",
    "inkl",
    "ttc",
    "brutto",
    "gross",
    "compris",
    "compresa",
    "incluido",
    "s dph",
    "z",
)
DAY = (
    "date", "datum", "fecha", "data", "dato", "paivays", "dag", "issued", "issue", "invoice date",
    "rechnungsdatum", "tag",
    "am", "du", "del", "kelt", "wystawienia", "vystaveni", "leverdatum",
)  # fmt: skip
NOT_DAY = (
    "due", "delivery", "delivered", "shipped", "order", "ordered", "fallig", "lieferdatum", "liefertermin",
    "bestellt",
    "echeance", "livraison", "commande", "vervaldatum", "leverdatum", "scadenza", "consegna", "vencimiento",
    "entrega",
    "termin", "platnosci", "splatnosti", "valid", "gultig", "until", "bis", "expires", "forfallo", "forfalder",
    "warranty", "garantie", "member", "since",
)  # fmt: skip
HEADINGS = (
    "invoice", "tax invoice", "receipt", "sales receipt", "bill", "rechnung", "quittung", "kassenbon", "bon", "beleg",
    "facture", "recu", "ticket", "factuur", "kassabon", "fattura", "scontrino", "ricevuta", "factura",
    "recibo", "paragon",
    "faktura", "paragon fiskalny", "kvitto", "kvittering", "kuitti", "uctenka", "szamla", "nyugta", "page", "seite",
    "welcome", "thank you", "danke", "merci", "copy", "kopie", "original", "credit note", "gutschrift", "statement",
    "bill to", "to", "an", "ship to", "customer", "kunde", "client", "quote", "order", "your receipt", "date",
)  # fmt: skip
"""What stands above a bill and is nobody's name."""
MONEY = (
    "currency", "amounts", "total", "price", "prices", "wahrung", "betrag", "betrage", "devise", "montant",
    "montants",
    "valuta", "moneda", "waluta",
)  # fmt: skip
"""On such a line three capitals may be a currency."""
BACK = (
    "credit note",
    "refund",
    "gutschrift",
    "creditnota",
    "nota di credito",
    "nota de credito",
    "erstattung",
    "remboursement",
)
FIRM = re.compile(
    r"\b(ltd|limited|plc|llp|llc|inc|corp|pty|gmbh|ag|kg|ohg|ug|e\.?\s?k|sarl|sas|sa|bv|b\.v|nv|n\.v|ab|as|aps|oy|oyj"
    r"|spa|s\.p\.a|srl|s\.r\.l|s\.l|lda|sp\.? ?z ?o\.? ?o|s\.r\.o|kft|d\.o\.o|uab)\.?$",
    re.IGNORECASE,
)
NUMBER = re.compile(
    r"\b(?:invoice|receipt|rechnungs?|facture|factuur|fattura|faktura|factura|bon|beleg|kvitto|ticket)[\s.-]{0,3}"
    r"(?:no|nr|num|number|nummer|n°|nº|#|id)?[\s.:#°º-]{1,4}((?=[\w/-]*\d)[A-Z0-9][\w/-]{1,29})",
    re.IGNORECASE,
)


def plainly(text: str) -> str:
    """Give text as words in small letters without accents and marks, one space between and around them."""
    return f" {' '.join(re.findall(r'[a-z]+', without_accents(text)))} "


@cache
def _pattern(words: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(re.escape(f" {word} ") for word in sorted(words, key=len, reverse=True)))


def names(text: str, words: tuple[str, ...]) -> bool:
    """Tell whether one of the words stands in a text that `plainly` gave."""
    return _pattern(words).search(text) is not None


__all__ = [
    "BACK", "DAY", "DUE", "FIRM", "GRAND", "HEADINGS", "MONEY", "NOT_ALL", "NOT_DAY", "NUMBER", "TAX",
    "TOTAL", "WEAK", "WITH_TAX",
    "names", "plainly",
]  # fmt: skip
