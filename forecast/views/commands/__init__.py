"""One module for each group of commands; ``COMMANDS`` is the list that the parser is built from."""

from __future__ import annotations

from forecast.views.commands import (
    add_lines,
    adding,
    advice,
    agreements,
    app,
    budget,
    check,
    closing,
    completion,
    copies,
    demo,
    ends,
    json_schema,
    new,
    opening,
    quotes,
    receipt,
    story,
)
from forecast.views.commands.common import Adder

COMMANDS: tuple[Adder, ...] = (
    new.add,
    check.add,
    adding.add,
    add_lines.add,
    budget.add,
    advice.add,
    quotes.add,
    opening.add,
    receipt.add,
    closing.add,
    agreements.add,
    ends.add,
    story.add,
    copies.add,
    demo.add,
    app.add,
    json_schema.add,
    completion.add,
)
"""In the order of the job."""
