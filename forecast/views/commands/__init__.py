"""One module for each group of commands; ``COMMANDS`` is the list that the parser is built from."""

from __future__ import annotations

from forecast.views.commands import (
    adding,
    advice,
    agreements,
    app,
    at_the_door,
    budget,
    check,
    closing,
    completion,
    copies,
    ends,
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
    adding.add_lists,
    budget.add,
    advice.add,
    quotes.add,
    opening.add,
    at_the_door.add,
    receipt.add,
    closing.add,
    agreements.add,
    ends.add,
    story.add,
    copies.add,
    new.add_demo,
    app.add,
    completion.add_schema,
    completion.add,
)
"""In the order of the job."""
