"""An XML file as plain elements, read within bounds: no entities, no nesting without end, nothing fetched.

Python's own parser is asked to hand out each element as it comes. A document type is refused when it begins: with it
goes everything that entities could do, such as growing a thousandfold or naming another file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from forecast.errors import LedgerError

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


__all__ = ["DEEPEST", "LONGEST_TEXT", "MOST_ELEMENTS", "Element", "read_elements"]
