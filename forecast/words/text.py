"""Text that came from elsewhere, made so that no terminal, page or spreadsheet takes a part of it for a command."""

from __future__ import annotations

import re
import unicodedata

_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"  # what colours, moves and wipes
    r"|(?:\x1b\]|\x9d)[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"  # what sets titles, links and the clipboard
    r"|\x1b[PX^_][^\x1b\x9c]*(?:\x1b\\|\x9c)?"
    r"|\x1b[ -/]*[0-~]"
)
"""Control sequences of a terminal (ECMA-48, from memory)."""
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Signs that turn the direction of what follows, so that it reads otherwise than it is (Unicode UAX 9)."""

STRONG = "\ue000"
"""Stands before and after what a sentence stresses, until a page writes it as its toolkit has it. It is of no alphabet,
and `plain` takes it out, so that no name stresses anything."""


def plain(text: str, *, lines: bool = True) -> str:
    """Give text without control characters, a terminal's control sequences, and signs that turn its direction.

    Parameters
    ----------
    text : str
    lines : bool
        Whether it may have several lines, and tabs; where not, each becomes a blank.
    """
    if text.isascii() and text.isprintable():
        return text
    text = _SEQUENCE.sub("", text).replace("\r\n", "\n").replace("\r", "\n")
    return "".join(_shown(sign, lines) for sign in text)


def _shown(sign: str, lines: bool) -> str:
    if sign in "\n\t":
        return sign if lines else " "
    category = unicodedata.category(sign)
    if category == "Cs":  # half of a pair, which cannot be written
        return "\ufffd"
    return "" if category == "Cc" or sign in _TURNING or sign == STRONG else sign


_LETTERS = str.maketrans(
    {"\u0131": "i", "\u0142": "l", "\u00f8": "o", "\u0111": "d", "\u00e6": "ae", "\u0153": "oe"}
)
"""What decomposes into nothing simpler: the dotless i, letters with a stroke, and two that are written as one."""


def without_accents(text: str) -> str:
    """Give text in small letters without accents (Unicode UAX 15): ``größe`` is ``grosse``, ``beløb`` is ``belob``."""
    if text.isascii():
        return text.lower()
    parts = unicodedata.normalize("NFKD", text.casefold().translate(_LETTERS))
    return "".join(sign for sign in parts if not unicodedata.combining(sign))


def folded(text: str) -> str:
    """Give a name as it is compared: in small letters, without accents, dots and further blanks."""
    return " ".join(without_accents(text.replace(".", "")).split())


def bare_words(text: str) -> str:
    """Give the words and numbers of a heading: small letters without accents and punctuation, one blank between."""
    return re.sub(r"[^a-z0-9]+", " ", without_accents(text)).strip()


def ended(sentence: str) -> str:
    """End a sentence with a full stop, unless its last word has one: a firm's ``sp. z o.o.``, a note written out."""
    return sentence if sentence.endswith((".", "\u2026")) else f"{sentence}."


__all__ = ["STRONG", "bare_words", "ended", "folded", "plain", "without_accents"]
