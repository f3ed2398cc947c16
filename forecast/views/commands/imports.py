"""``forecast receipt import``: receipts from a bank or card file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    pass
