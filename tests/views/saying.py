"""What tests of sentences share."""

from __future__ import annotations

from forecast.views.moves import entry_reasons
from forecast.watching.reforecast import Reforecast


def why_it_moved(earlier: Reforecast | None, now: Reforecast, change: float) -> str:
    """Give all that is said of why an entry moved P80."""
    return " ".join(one.sentence for one in entry_reasons(earlier, now, change))
