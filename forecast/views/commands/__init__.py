"""One module for each group of commands; ``COMMANDS`` is the list that the parser is built from."""

from __future__ import annotations

from forecast.views.commands import (
    adding,
    advice,
    app,
    budget,
    check,
    commitments,
    completion,
    copies,
    demo,
    listing,
    new,
    opening,
    quotes,
    receipts,
    schema,
    settling,
    story,
    watch,
)
from forecast.views.commands.common import Adder

COMMANDS: tuple[Adder, ...] = (
    new.add,
    check.add,
    adding.add,
    listing.add,
    budget.add,
    advice.add,
    quotes.add,
    opening.add,
    receipts.add,
    settling.add,
    commitments.add,
    watch.add,
    story.add,
    copies.add,
    demo.add,
    app.add,
    schema.add,
    completion.add,
)
"""In the order of the job."""
