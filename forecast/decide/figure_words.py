"""Names of uncertain figures in words."""

from __future__ import annotations

from collections.abc import Mapping

_KEYS = {
    "amount": "",
    "price": "price",
    "quantity": "quantity",
    "percent": "percentage",
    "minimum": "least charge",
    "maximum": "most charged",
    "own_hours": "own hours",
    "cost": "cost if it happens",
    "resale": "resale",
    "share": "share of the work still open",
    "penalty": "factor for work taken over",
}


def figure_words(name: str, titles: Mapping[str, str] | None = None) -> str:
    """Name a figure such as ``filler.quantity`` in words: the line's title and what of it.

    Parameters
    ----------
    name : str
    titles : mapping, optional
        Title by id of line, event or consignment.
    """
    id, _, rest = name.partition(".")
    title = (titles or {}).get(id) or id.replace("_", " ").replace("-", " ")
    if id == "fx":
        code, _, what = rest.partition(".")
        return f"{code} rate" if what in ("", "rate") else f"{code} rate until payment"
    words = [_KEYS.get(part, part.replace("_", " ")) for part in rest.split(".")]
    kept = [word for word in words if word]
    return ", ".join([title, *kept]) if kept else title
