"""One module for each group of commands; ``COMMANDS`` is the list that the parser is built from."""

from __future__ import annotations

from forecast.views.commands import app, budget, check, demo, opening, receipts
from forecast.views.commands.common import Adder

COMMANDS: tuple[Adder, ...] = (check.add, budget.add, opening.add, receipts.add, demo.add, app.add)
"""In the order of the job."""
