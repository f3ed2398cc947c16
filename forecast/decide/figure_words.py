"""Names of uncertain figures in words."""

from __future__ import annotations

from collections.abc import Mapping

from forecast.buildfile.schema import Build
from forecast.trade.rules import called
from forecast.words.countries import country_names

_KEYS = {
    "amount": "",
    "goods": "",  # of a consignment that has one price for everything
    "price": "price",
    "quantity": "quantity",
    "percent": "percentage",
    "minimum": "least charge",
    "maximum": "most charged",
    "own_hours": "own hours",
    "wait_weeks": "weeks of waiting",
    "cost": "cost if it happens",
    "resale": "resale",
    "share": "share of the work still open",
    "penalty": "factor for work taken over",
    "returned": "sent back",
    "refund": "share of the price that comes back",
    "dues_back": "share of duty and tax that comes back",
}


_LAW = "overrides."
"""How the keys begin of figures of law, in a consignment."""


def _of_law(key: str) -> str:
    """Name a figure of law: by what the goods of its tariff code are, where they were made, or by its id."""
    id = key.removeprefix(_LAW)
    duty, is_total, origin = id.partition(".total.")
    if is_total:
        made_in = country_names().get(origin, origin)
        return f"duty in all on goods made in {made_in}, {duty}"
    if id in ("vat", "gst"):
        return id.upper()
    if not id.startswith("duty."):
        return id.replace("_", " ").replace(".", " ")
    hs = id.removeprefix("duty.")
    return f"rate of duty on {called(hs)} ({hs})" if called(hs) != hs else f"rate of duty on {hs}"


def figure_words(name: str, titles: Mapping[str, str] | None = None, *, came: bool = False) -> str:
    """Name a figure such as ``filler.quantity`` in words: the line's title and what of it.

    Parameters
    ----------
    name : str
    titles : mapping, optional
        Title by id of line, event or consignment.
    came : bool
        Whether it is of an event that has happened.
    """
    id, _, rest = name.partition(".")
    title = (titles or {}).get(id) or id.replace("_", " ").replace("-", " ")
    if id == "fx":
        code, _, what = rest.partition(".")
        return f"{code} rate" if what in ("", "rate") else f"{code} rate until payment"
    if rest.startswith(_LAW):
        return f"{title}, {_of_law(rest)}"
    keys = _KEYS | ({"cost": "what it will cost"} if came else {})
    words = [keys.get(part, part.replace("_", " ")) for part in rest.split(".")]
    kept = [word for word in words if word]
    return ", ".join([title, *kept]) if kept else title


def figure_phrase(name: str, titles: Mapping[str, str] | None = None, *, came: bool = False) -> str:
    """Name a figure so that it fits into a sentence: ``the price of “Sea freight”``, ``“Kit”``.

    Parameters
    ----------
    name : str
    titles : mapping, optional
        Title by id of line, event or consignment.
    came : bool
        Whether it is of an event that has happened.
    """
    if name.startswith("fx."):
        return f"the {figure_words(name)}"
    id, _, rest = name.partition(".")
    if rest.startswith(_LAW):
        return f"the {_of_law(rest)} of \u201c{figure_words(id, titles)}\u201d"
    thing, _, key = name.rpartition(".") if "." in name else (name, "", "amount")
    title = f"\u201c{figure_words(thing, titles)}\u201d"
    if key == "cost":
        return f"what {title} will cost" if came else f"what {title} costs if it happens"
    what = _KEYS.get(key, key.replace("_", " "))
    return f"the {what} of {title}" if what else title


_ONE = {"h": "hour", "hr": "hour", "hrs": "hour", "pcs": "piece"}


def per_words(unit: str) -> str:
    """Say behind a price what it is for: ``per hour`` for ``h``, ``per box``; ``for one`` where no unit is told."""
    if not unit:
        return "for one"
    if unit in _ONE or len(unit) < len("days") or not unit.isalpha():
        return f"per {_ONE.get(unit, unit)}"
    short = "es" if unit.endswith(("xes", "ches", "shes", "sses")) else "" if unit.endswith("ss") else "s"
    return f"per {unit.removesuffix(short)}"


def titles_in_figures(build: Build) -> dict[str, str]:
    """Give the title of every line, event and consignment by id."""
    found = {item.id: item.title for item in (*build.line, *build.event)}
    found |= {surface.id: surface.title for surface in build.surface}
    return found | {item.id: item.name or figure_words(f"{item.id}.amount") for item in build.consignment}
